"""A calibration of a made-up interface: meter and cables against what it is made of."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from fluxbench import links
from fluxbench.base import MisuseError
from fluxbench.book import Records
from fluxbench.cli._interfaces import app
from fluxbench.engine import level_dbu
from fluxbench.links import Interface as Named
from tests.unit.engine.test_loop_check import Interface

OUT_DBU = np.array([18.0, 18.3])
"""Full scale of the outputs of the made-up interface; its inputs' is 0.4 dB below, 1 dB above."""
GAINS_DB = np.array([0.4, -1.0])


@pytest.fixture
def desk(monkeypatch: pytest.MonkeyPatch) -> Interface:
    made = Interface(np.diag(10.0 ** (GAINS_DB / 20.0)))
    made.interface = Named("desk", "made up", 2, 2, made.rate_hz)  # type: ignore[attr-defined]
    monkeypatch.setattr(links, "PortAudioLink", lambda *_: made)
    return made


def run(book: Path, *given: str, typed: str | None = None) -> Any:
    words = ["calibrate", "--interface", "desk", "--meter", "M 1", "--book", str(book), *given]
    return CliRunner().invoke(app, words, input=typed, catch_exceptions=False)


def kept(book: Path) -> dict[str, Any]:
    records = Records(book)
    try:
        assert [v.facts["name"] for v in records.things("interfaces")] == ["desk"]
        newest = max(records.things("calibrations"), key=lambda version: version.row)
        return dict(newest.facts)
    finally:
        records.close()


def test_outputs_by_the_meter_and_inputs_by_their_cables(desk: Interface, tmp_path: Path) -> None:
    read = OUT_DBU - 14.0
    given = ("--agreed", "--json", "--reads", f"{read[0]} dBu,{0.774597 * 10 ** (read[1] / 20)}V")
    told = json.loads(run(tmp_path / "book.db", *given).stdout)
    assert told["uncalibrated_inputs"] == []
    facts = kept(tmp_path / "book.db")
    found = {(c["side"], c["channel"]): c["full_scale_dbu"] for c in facts["channels"]}
    for n in (0, 1):
        assert found["out", n + 1] == pytest.approx(OUT_DBU[n], abs=0.001)
        # What is full scale less the gain leaves full scale at the input.
        assert found["in", n + 1] == pytest.approx(OUT_DBU[n] - GAINS_DB[n], abs=0.003)
    assert "M 1" in facts["how"]
    assert facts["uncertainty_db"] == pytest.approx(0.1, abs=0.001)


def test_readings_are_typed_while_the_tone_stands(desk: Interface, tmp_path: Path) -> None:
    desk.cabling[1, 1] = 0.0
    result = run(tmp_path / "book.db", typed="y\nfour\n4.0 dBu\n\n")
    assert "'four' is no level" in result.stderr
    assert "output 1: full scale is +18.00 dBu" in result.stdout
    assert "output 2: full scale is +18.00 dBu" in result.stdout
    assert "no cable of a calibrated output leads there: input 2" in result.stdout
    again = run(tmp_path / "book.db", "--agreed", "--reads", "4.5")
    assert "output 1: full scale is +18.50 dBu" in again.stdout
    assert kept(tmp_path / "book.db")["channels"][0]["full_scale_dbu"] == 18.5


def test_nothing_is_sent_or_written_before_somebody_agrees(desk: Interface, tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="nothing was sent"):
        run(tmp_path / "book.db", typed="n\n")
    assert desk._frame == 0
    assert not (tmp_path / "book.db").exists()


@pytest.mark.parametrize(
    ("word", "dbu"),
    # 0 dBu is 0.7746 V and 0 dBV 1 V: 20 lg(1/0.7746) = 2.218 dB (IEC 60268-15, from memory).
    [("4", 4.0), (" 4.0 dBu", 4.0), ("1V", 2.218), ("1000 mV", 2.218), ("0 dBV", 2.218)],
)
def test_levels_are_read_as_meters_tell_them(word: str, dbu: float) -> None:
    assert level_dbu(word) == pytest.approx(dbu, abs=0.001)


@pytest.mark.parametrize("word", ["", "loud", "0 V", "nan", "1e9 V", "120 dBu", "1 kV"])
def test_what_no_meter_reads_is_refused(word: str) -> None:
    with pytest.raises(MisuseError, match=r"no level|cannot be what"):
        level_dbu(word)
