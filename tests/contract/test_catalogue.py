"""`fluxbench catalogue`: planted faults found, none invented; killed and interrupted runs go on."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import suppress
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from fluxbench.captures.catalogue._declared import (
    Declared,
    chain_of,
    equalisation_of,
    with_history,
)
from fluxbench.captures.catalogue._facts import facts_of
from fluxbench.captures.catalogue._judge import judge
from fluxbench.cli import main
from fluxbench.trade import Equalisation, format_named
from tests.captures import faulty, made

SCHEMA = json.loads(
    files("fluxbench.captures.catalogue").joinpath("catalogue.schema.json").read_text()
)
OUTPUTS = ("catalogue.csv", "catalogue.jsonl", "catalogue.html")


def declared_for(reel: faulty.Reel) -> Declared:
    return Declared(
        reel.speed_ips,
        Equalisation(*reel.played),
        faulty.REFERENCE_DBFS,
        faulty.SPEED_TONE_HZ,
        format_named(faulty.FORMATS[reel.tracks]),
    )


@pytest.mark.timeout(3600)
def test_planted_faults_are_found_and_none_is_invented(
    tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    """The verdict of at least 99 of 100 is right; so few reels allow of no mistake."""
    reels = int(pytestconfig.getoption("--reels"))
    wrong, wrong_verdicts = [], 0
    for seed in range(reels):
        reel = faulty.reel(seed)
        path = faulty.write(reel, tmp_path / f"{seed}.wav")
        judgement = judge(facts_of(str(path)), declared_for(reel))
        path.unlink()
        found = {fault.kind.value for fault in judgement.faults}
        wrong_verdicts += judgement.verdict != reel.verdict
        if found != reel.faults:
            wrong.append((seed, reel.faults, found))
    print(f"{reels} reels: {wrong_verdicts} verdicts wrong, faults wrong of {wrong}")
    assert wrong_verdicts <= reels // 100
    assert len(wrong) <= reels // 100


def test_a_reel_played_with_another_equalisation_is_told_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """15 in/s, 3180/50 for ∞/35: by the formula of clause 15, +2.50 dB at 10 kHz, -1.16 at 100."""
    reel = faulty.Reel(1, recorded=(None, 35.0), played=(3180.0, 50.0))
    tones = [
        made.tone(2.5, 48_000, hz, -18.0 + faulty.read_db(reel.recorded, reel.played, hz))
        for hz in (1000.0, 10_000.0, 100.0)
    ]
    made.written(tmp_path / "a.wav", np.concatenate(tones), 48_000)
    code = main([
        "catalogue", "--json", "--workers", "1", "--speed", "15", "--played", "NAB",
        "--chain", "320@-18", "--to", str(tmp_path / "out"), str(tmp_path / "a.wav"),
    ])  # fmt: skip
    (line,) = map(json.loads, capsys.readouterr().out.splitlines())
    jsonschema.validate(line, SCHEMA)
    assert code == 0
    assert line["verdict"] == "repair"
    assert line["remedy"] == (
        "played with 3180/50, recorded to ∞/35: high end 2.5 dB high at 10 kHz,"
        " low end 1.2 dB low at 100 Hz: correct by the difference"
    )
    assert line["equalisation"]["confidence"] > 0.9
    assert line["fluxivity_nwb_per_m"] == [pytest.approx(320.0, abs=0.5)]


def _three(level_dbfs: float | list[float] = -18.0, times: float = 1.0) -> list[made.F64]:
    """The usual tones; on as many tracks as there are levels."""
    levels = level_dbfs if isinstance(level_dbfs, list) else [level_dbfs] * 2
    delays = [0.0] * len(levels)
    return [
        made.tone(2.5, 48_000, times * hz, levels, delays_us=delays)
        for hz in (1000.0, 10_000.0 / times, 100.0)
    ]


def _of(frequencies_hz: tuple[float, ...], level_dbfs: float) -> list[made.F64]:
    """Tones of one level, as a deck in order plays them."""
    return [
        made.tone(2.5, 48_000, hz, [level_dbfs] * 2, delays_us=(0.0, 0.0)) for hz in frequencies_hz
    ]


def _humming(level_dbfs: float, hz: float = 50.0) -> list[made.F64]:
    """Tones, half a second between them and 3 s at the end, and hum beneath it all."""
    pause = np.zeros((24_000, 2))
    whole = np.concatenate([np.concatenate([tone, pause]) for tone in _three()] + [pause] * 5)
    line = made.tone(len(whole) / 48_000, 48_000, hz, [level_dbfs] * 2, delays_us=(0.0, 0.0))
    return [whole + line]


def _fluttering() -> list[made.F64]:
    """A speed tone that three parts spread until it is no line, and hum of a deck in order."""
    parts = [
        made.flutter_warp_s(hz, percent) for hz, percent in ((12.1, 0.3), (3.0, 0.3), (37, 0.2))
    ]
    speed = made.tone(
        6.0, 48_000, 3150.0, [-18.0] * 2, delays_us=(0.0, 0.0),
        warp_s=lambda time_s: np.sum([part(time_s) for part in parts], axis=0),
    )  # fmt: skip
    whole = np.concatenate([*_three(), speed])
    lines = [made.tone(len(whole) / 48_000, 48_000, hz, -90.0) for hz in (50.0, 100.0)]
    return [whole + np.sum(lines, axis=0)]


def _with_hum(pieces: list[made.F64]) -> list[made.F64]:
    whole = np.concatenate(pieces)
    hum = made.tone(len(whole) / 48_000, 48_000, 150.0, [-63.0] * 2, delays_us=(0.0, 0.0))
    return [whole + hum]


def _swelling(seconds: float, hz: float | None = None) -> made.F64:
    """Noise, or a note far too loud, that comes and goes, as programme does."""
    swell = np.abs(np.sin(2.0 * np.pi * 0.7 * made.times(seconds, 48_000)))[:, None]
    if hz is None:
        return made.noise(seconds, 48_000, -20.0, 2) * swell
    return made.tone(seconds, 48_000, hz, [12.0] * 2, delays_us=(0.0, 0.0)) * swell


@pytest.mark.parametrize(
    ("pieces", "verdict", "remedy"),
    [
        # Hum of 50 Hz where nothing is sent is no tone of a line-up, weak or strong.
        (_humming(-63.0), "look", "hum of 50 Hz at -45.0 dB re the tone:"),
        (_humming(-38.0), "look", "hum of 50 Hz at -20.0 dB re the tone:"),
        # Nor is 60 Hz, which is no tone of ISO 266 either.
        (_humming(-58.0, 60.0), "look", "hum of 60 Hz at -40.0 dB re the tone:"),
        # The same tones again, 1.5 dB lower: which of them counts is said; 20 dB lower is meant so.
        (_three() + _three(-19.5), "look", "1 kHz at 0:07 1.5 dB low against 0:00:"),
        (_three() + _three(-38.0), "good", "nothing to do"),
        # No tone on track 2, once with programme on it and once without.
        (
            [*_three([-18.0, -140.0]), _swelling(3.0)],
            "look",
            "programme, but no tone on track 2:",
        ),
        (_three([-18.0, -140.0]), "repeat", "no tone on track 2:"),
        # All tones an octave high.
        (_three(times=2.0), "repeat", "tones at 200 Hz, 2 kHz, 10 kHz: as if played at twice"),
        # One low track of four moves no other.
        (_three([-18.0, -18.0, -20.0, -18.0]), "repair", "1 kHz: track 3 2.0 dB low: balance"),
        # Of two the one that does not read what was declared.
        (_three([-18.0, -16.5]), "repair", "1 kHz: track 2 1.5 dB high: balance"),
        # Hum beneath tones that nothing quiet lies between.
        (_with_hum(_three()), "look", "hum of 150 Hz at -45.0 dB re the tone:"),
        # Without a speed tone 1 kHz tells flutter: 0.3 % of 4 Hz, 2 sigma is 0.9969 of it.
        (
            [
                made.tone(
                    6.0,
                    48_000,
                    1000.0,
                    [-18.0] * 2,
                    delays_us=(0.0, 0.0),
                    warp_s=made.flutter_warp_s(4.0, 0.3),
                )
            ],
            "repeat",
            "flutter 0.30 %",
        ),
        # Clipped at full scale, and made 1 dB quieter after.
        ([*_three(), 0.9 * np.clip(_swelling(2.0, 440.0), -1.0, 1.0)], "repeat", "clipped:"),
        # However much flutter there is, and hum with its even harmonic.
        (_fluttering(), "repeat", "flutter 0."),
        # 400 Hz as reference.
        (_of((400.0, 10_000.0, 100.0), -16.0), "repair", "400 Hz 2.0 dB high: change the gain"),
    ],
    ids=[
        "weak hum",
        "strong hum",
        "60 Hz",
        "twice",
        "lower",
        "one side",
        "dead",
        "octave",
        "one of four",
        "one of two",
        "beneath",
        "flutter",
        "clipped before",
        "much flutter",
        "400 Hz",
    ],
)
def test_what_an_archive_meets_is_told_and_nothing_else(
    tmp_path: Path, pieces: list[made.F64], verdict: str, remedy: str
) -> None:
    """By formulas alone; hiss of 90 dB below full scale under all of it."""
    whole = np.concatenate(pieces)
    whole = whole + made.noise(len(whole) / 48_000, 48_000, -90.0, whole.shape[1])
    path = made.written(tmp_path / "a.wav", whole, 48_000)
    declared = Declared(15.0, Equalisation(3180.0, 50.0), -18.0, None, None)
    judgement = judge(facts_of(str(path)), declared)
    assert judgement.remedy.startswith(remedy)
    assert judgement.verdict == verdict
    assert len(judgement.faults) == (verdict != "good")


def test_where_several_standards_fit_it_says_that_what_was_played_does_not(tmp_path: Path) -> None:
    """3.75 in/s, ∞/200 played with 3180/90: 3180/200 differs from it only below 200 Hz."""
    recorded, played = (None, 200.0), (3180.0, 90.0)
    tones = [
        made.tone(2.5, 48_000, hz, -18.0 + off_db + faulty.read_db(recorded, played, hz))
        for hz, off_db in ((1000.0, 0.0), (10_000.0, 0.0), (100.0, 0.3))
    ]
    path = made.written(tmp_path / "a.wav", np.concatenate(tones), 48_000)
    judgement = judge(facts_of(str(path)), Declared(3.75, Equalisation(*played)))
    assert judgement.verdict == "repair"
    assert judgement.remedy.startswith("played with 3180/90, recorded to ∞/200 or 3180/200: ")
    assert judgement.corrections is not None
    assert not judgement.corrections.changes


def test_the_coding_history_declares_what_nobody_else_does() -> None:
    history = [{"A": "ANALOGUE", "M": "stereo", "T": "deck 3; 38 cm/s; NAB"}, {"A": "PCM"}]
    found = with_history(Declared(), history)
    assert (found.speed_ips, found.played) == (15.0, Equalisation(3180.0, 50.0))
    assert found.by_history == ("speed", "played equalisation")
    said = with_history(Declared(7.5, Equalisation(None, 70.0)), history)
    assert (said.speed_ips, said.played, said.by_history) == (7.5, Equalisation(None, 70.0), ())
    assert with_history(Declared(), [{"A": "PCM", "T": "15 ips NAB"}]) == Declared()


def test_declarations_are_read_or_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert equalisation_of("inf/17.5", None) == Equalisation(None, 17.5)
    assert equalisation_of("NAB", 3.75) == Equalisation(3180.0, 90.0)
    assert chain_of("320 @ -18.5").level_dbfs == -18.5
    for wrong in (["--played", "NAB"], ["--speed", "14"], ["--chain", "320"], ["--level", "7"]):
        assert main(["catalogue", *wrong, "/"]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert line.startswith("fluxbench: ")


def archive_of(folder: Path, count: int) -> None:
    folder.mkdir()
    for number in range(count):
        wave = made.tone(2.5, 48_000, 1000.0, [-20.0 - number, -20.0], delays_us=(0.0, 0.0))
        made.written(folder / f"{number:02d}.wav", wave, 48_000)


def start(archive: Path, out: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "fluxbench", "catalogue", "--workers", "2", "--to", out, archive],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def journalled(out: Path) -> int:
    journal = out / "journal.txt"
    return journal.read_bytes().count(b"\n") if journal.exists() else 0


def children_of(pid: int) -> list[int]:
    told = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(child) for child in told.read_text().split()]


def alive(pid: int) -> bool:
    """Not gone, and not only waiting to be counted as gone."""
    try:
        return bool(Path(f"/proc/{pid}/cmdline").read_bytes())
    except OSError:
        return False


def here(archive: Path, out: Path) -> None:
    """A run in this process, to its end."""
    assert main(["catalogue", "--workers", "1", "--to", str(out), str(archive)]) == 0


@pytest.fixture(scope="module")
def catalogued(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Path:
    """An archive, and beside it the catalogue that an undisturbed run makes of it."""
    place = tmp_path_factory.mktemp("catalogued")
    archive_of(place / "archive", 3 + int(pytestconfig.getoption("--kills")))
    here(place / "archive", place / "undisturbed")
    return place


@pytest.mark.timeout(1500)
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_run_that_was_ended_anywhere_gives_the_catalogue_of_one_that_was_not(
    tmp_path: Path,
    pytestconfig: pytest.Config,
    catalogued: Path,
    capsys: pytest.CaptureFixture[str],
    how: signal.Signals,
) -> None:
    kills = int(pytestconfig.getoption("--kills")) if how is signal.SIGKILL else 1
    archive, out = catalogued / "archive", tmp_path / "out"
    chance = random.Random(kills)
    for _ in range(kills):
        before = journalled(out)
        run = start(archive, out)
        deadline = time.monotonic() + 500
        while journalled(out) == before and run.poll() is None and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 0.2))
        workers: list[int] = []
        with suppress(OSError):  # it has just ended
            workers = children_of(run.pid)
        os.kill(run.pid, how)
        _, err = run.communicate(timeout=500)
        if how is signal.SIGINT and run.returncode != 0:
            assert run.returncode == 130
            assert err.decode().splitlines()[-1] == "fluxbench: interrupted"
        while any(alive(pid) for pid in workers):
            assert time.monotonic() < deadline + 100, "workers outlive the one that started them"
            time.sleep(0.05)
    capsys.readouterr()
    here(archive, out)
    assert capsys.readouterr().err == ""
    assert journalled(out) == len(list(archive.iterdir()))  # every content once, none missed
    for name in OUTPUTS:
        assert (out / name).read_bytes() == (catalogued / "undisturbed" / name).read_bytes()
