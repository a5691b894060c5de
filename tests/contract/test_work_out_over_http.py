"""Work out over HTTP: what the command answers, and all that follows of it side by side."""

import json
import math
import shlex
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from fluxbench.cli import main
from fluxbench.web import _work_out
from fluxbench.web._app import _misread, _refused

CONTRACT = Path(__file__).parents[1] / "reference" / "work-out.json"
EXAMPLES: dict[str, dict[str, object]] = json.loads(CONTRACT.read_text())["examples"]
ARGUMENTS = {"flux": "fluxivity_nwb_per_m", "level": "value"}


@pytest.fixture(scope="module")
def bench() -> TestClient:
    from fastapi.exceptions import RequestValidationError

    from fluxbench.base import FluxbenchError

    app = FastAPI()
    app.include_router(_work_out.router)
    app.add_exception_handler(FluxbenchError, _refused)
    app.add_exception_handler(RequestValidationError, _misread)
    return TestClient(app)


def query_of(words: list[str]) -> tuple[str, dict[str, str]]:
    """The call that asks what a command asks."""
    what, *rest = words
    query: dict[str, str] = {}
    if not rest[0].startswith("--"):
        query[ARGUMENTS[what]] = rest.pop(0)
    for option, value in zip(rest[::2], rest[1::2], strict=True):
        name = option.removeprefix("--").replace("-", "_")
        query["re_nwb_per_m" if (what, name) == ("flux", "re") else name] = value
    if what == "equalisation":
        query["of"] = f"{query.pop('t1_us')}/{query.pop('t2_us')}"
    return what, query


@pytest.mark.parametrize("example", EXAMPLES)
def test_it_answers_what_the_command_answers(
    bench: TestClient, capsys: pytest.CaptureFixture[str], example: str
) -> None:
    words = shlex.split(example.partition(" [")[0])
    assert main([*words, "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    what, query = query_of(words[1:])
    told = bench.get(f"/api/work-out/{what}", params=query).json()
    assert told["facts"] == facts
    assert told["sentences"]
    assert told["source"]


def beside(bench: TestClient, page: str, **query: object) -> dict[str, Any]:
    answer = bench.get(f"/api/work-out/beside/{page}", params={k: str(v) for k, v in query.items()})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    assert all(len(row) == len(told["heads"]) for row in told["rows"])
    assert told["sure"]
    if told["curves"]:
        assert all(len(c["values"]) == len(told["curves"]["at"]) for c in told["curves"]["lines"])
    return told


def row_of(told: dict[str, Any], first: object) -> dict[str, Any]:
    return next(dict(zip(told["heads"], r, strict=True)) for r in told["rows"] if r[0] == first)


def test_equalisations_differ_by_their_formula(bench: TestClient) -> None:
    """IEC 60094-1 clause 15, written out here: 10 lg (1 + (w t2)^2), and the long waves' part."""

    def flux(hz: float, t1_us: float, t2_us: float) -> float:
        w = 2e-6 * math.pi * hz
        return 10 * math.log10(1 + 1 / (w * t1_us) ** 2) - 10 * math.log10(1 + (w * t2_us) ** 2)

    told = beside(bench, "equalisation", one="inf/35", other="3180/50", speed_ips=15)
    for hz in (40.0, 15_000.0):
        wanted = [flux(hz, *t) - flux(1000.0, *t) for t in ((math.inf, 35.0), (3180.0, 50.0))]
        assert row_of(told, hz)["difference, dB"] == pytest.approx(wanted[0] - wanted[1], abs=1e-4)


def test_over_bias_goes_with_speed_as_the_trade_has_it(bench: TestClient) -> None:
    """10 kHz: about half at 30 in/s, 1.5 to 2 times at 7.5 (common practice, no source)."""
    told = beside(bench, "over-bias", drop_db=3, frequency_hz=10_000, speed_ips=15, gap_um=9)
    drops = {(row[0], row[1]): row[told["heads"].index("gap 9 um, dB")] for row in told["rows"]}
    assert drops[15.0, 10_000.0] == pytest.approx(3.0, abs=1e-6)
    assert 0.4 < drops[30.0, 10_000.0] / 3.0 < 0.65
    assert 1.5 < drops[7.5, 10_000.0] / 3.0 < 2.0


def test_azimuth_turns_between_the_outer_tracks_of_two_inches(bench: TestClient) -> None:
    """0.11 arc-min are some 15 degrees at 10 kHz, 15 in/s (common practice)."""
    told = beside(bench, "azimuth", arcmin=0.11, format="2-inch 24-track", speed_ips=15)
    assert row_of(told, 10_000.0)["first to last, degrees"] == pytest.approx(15.0, abs=0.5)
    alone = beside(bench, "azimuth", arcmin=1, format="1/4-inch full track", speed_ips=15)
    assert row_of(alone, 10_000.0)["first to last, us"] is None


def test_losses_levels_and_reels_by_closed_forms(bench: TestClient) -> None:
    told = beside(bench, "losses", speed_ips=15, frequency_hz=10_000, spacing_um=38.1, gap_um=0.1,
                  coating_um=0, azimuth_arcmin=0, track_width_mm=1)  # fmt: skip
    # 54.6 dB a wavelength: Wallace 1951
    assert row_of(told, 10_000.0)["spacing, dB"] == pytest.approx(54.575, abs=0.01)
    told = beside(bench, "levels", fluxivity_nwb_per_m=370)
    assert row_of(told, "NAB or 0 dB or old operating level")["re it, dB"] == pytest.approx(6.0206)
    told = beside(bench, "reels", length_ft=2500)
    assert row_of(told, "as given")["15 in/s, min"] == pytest.approx(2500 * 12 / 15 / 60)


@pytest.mark.parametrize(
    ("page", "query", "said"),
    [
        ("reels", {"length_ft": "0"}, "length_ft: "),
        ("equalisation", {"one": "IEC1", "other": "no", "speed_ips": "15"}, "no equalisation 'no'"),
        ("azimuth", {"arcmin": "1", "format": "no", "speed_ips": "15"}, "no track format 'no'"),
    ],
)
def test_what_cannot_be_is_one_line(
    bench: TestClient, page: str, query: dict[str, str], said: str
) -> None:
    answer = bench.get(f"/api/work-out/beside/{page}", params=query)
    assert answer.status_code == 400
    assert answer.json()["error"].startswith(said)
    assert "\n" not in answer.json()["error"]
