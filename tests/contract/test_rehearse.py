"""The contract of `fluxbench rehearse`: its line, its journal, its tables, its refusals."""

import io
import json
import math
import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from rich.console import Console

from fluxbench.cli import main
from fluxbench.cli._rehearsal_shown import Shown
from fluxbench.deck import FAULTS, STOCKS
from fluxbench.lineup import Advice, Ask, Verdict, View
from fluxbench.links import HttpControls
from fluxbench.rehearsal import Rehearsed

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "tests" / "reference" / "rehearse.schema.json").read_text())

Record = Callable[[Mapping[str, Any]], None]
Watch = Callable[[View], None]


# A whole rehearsal, and beside it the same once more until hands have set a trimmer, in processes
# of their own; with FLUXBENCH_LONG=1 that one goes on to its end, too.

LONG = bool(os.environ.get("FLUXBENCH_LONG"))
FAR_ENOUGH = b'"what": "taken"'


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, bytes]]:
    """What two rehearsals of one seed printed and what they reported."""
    reports = [tmp_path_factory.mktemp("rehearsed") / "journal.jsonl" for _ in range(2)]
    command = "-m fluxbench rehearse --tracks 1 --speed 30 --rate 44100 --seed 3 --json --report"
    running = [
        subprocess.Popen(
            [sys.executable, *command.split(), f"{report}"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for report in reports
    ]
    try:
        while running[1].poll() is None and (LONG or not has_come_far(reports[1])):
            time.sleep(0.2)
        if not LONG:
            running[1].send_signal(signal.SIGINT)
        printed = [child.communicate(timeout=1000) for child in running]
    finally:
        for child in running:
            child.kill()
            child.wait()
    assert [child.returncode for child in running] == [0, 0 if LONG else 130], printed
    return [(out, path.read_bytes()) for (out, _), path in zip(printed, reports, strict=True)]


def has_come_far(report: Path) -> bool:
    return report.exists() and FAR_ENOUGH in report.read_bytes()


@pytest.mark.timeout(1200)
def test_the_line_is_the_schema_s(twice: list[tuple[str, bytes]]) -> None:
    for out, _ in twice if LONG else twice[:1]:
        assert out.count("\n") == 1
        line = json.loads(out, parse_constant=pytest.fail)
        jsonschema.validate(line, SCHEMA)
        assert (line["seed"], line["tracks"], line["speed_ips"]) == (3, 1, 30.0)
        assert line["method"] == "guided"
        assert all(len(each) == 1 for each in line["visits"].values())
        assert all(len(each) == 1 for name, each in line["residual"].items() if "_db" in name)
        assert all(math.isfinite(value) for value in numbers(line))
        assert line["tape_time_s"] > 60.0
        assert line["wall_s"] > 0.0


def numbers(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for each in value:
            yield from numbers(each)
    elif isinstance(value, int | float):
        yield value


@pytest.mark.timeout(1200)
def test_the_same_seed_is_the_same_rehearsal_to_the_byte(twice: list[tuple[str, bytes]]) -> None:
    (first, journal), (second, again) = twice
    assert FAR_ENOUGH in again
    again = again[: again.rindex(b"\n") + 1]
    assert journal[: len(again)] == again
    if not LONG:
        return
    assert journal == again
    lines = [json.loads(out) for out in (first, second)]
    for line in lines:
        del line["wall_s"]
    assert lines[0] == lines[1]


@pytest.mark.timeout(1200)
def test_the_journal_is_json_lines_from_plan_to_close(twice: list[tuple[str, bytes]]) -> None:
    entries = [json.loads(line, parse_constant=pytest.fail) for line in twice[0][1].splitlines()]
    assert (entries[0]["what"], entries[-1]["what"]) == ("plan", "closed")
    times_s = [entry["t"] for entry in entries]
    assert times_s == sorted(times_s)
    stages = [entry["name"] for entry in entries if entry["what"] == "stage"]
    assert {"input check", "reproduce", "sync", "load", "bias", "verify", "close"} <= set(stages)


def test_a_line_up_that_cannot_go_on_is_one_line_and_no_json(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    report = tmp_path / "journal.jsonl"
    command = f"rehearse --tracks 2 --speed 30 --fault monitor_input --json --report {report}"
    assert main(shlex.split(command)) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fluxbench: ")
    assert "monitor stands on input" in err
    assert err.count("\n") == 1
    last = json.loads(report.read_bytes().splitlines()[-1])
    assert last["what"] == "stopped"
    assert "monitor stands on input" in last["reason"]


# Everything around it, with a line-up that is written down here, on a deck that is made here: that
# one in a process of its own refuses the same is the contract of its link.


class DeckHere:
    """Stands for `DeckApart`, whose process takes long to start."""

    inputs = outputs = 2

    def __init__(self, factory: Callable[[], Any]) -> None:
        factory()

    def __enter__(self) -> "DeckHere":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """There is nothing to end."""


@pytest.fixture
def deck_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fluxbench.links.DeckApart", DeckHere)


JOURNAL = ({"t": 0.0, "what": "plan"}, {"t": 1.5, "what": "note"}, {"t": 600.0, "what": "closed"})
RESIDUAL = {
    **{name: [0.0, 0.0] for name in SCHEMA["properties"]["residual"]["required"]},
    "over_bias_db": [0.3, -0.4],
    "reproduce_azimuth_arcmin": -0.25,
    "record_azimuth_arcmin": 0.0,
}
LINE = {
    "seed": 1, "tracks": 2, "speed_ips": 15.0, "method": "guided", "tape_time_s": 550.0,
    "wall_s": 60.0, "visits": {"bias": [1, 2], "record_azimuth": [2]}, "residual": RESIDUAL,
}  # fmt: skip


class WrittenDown:
    """Stands for `rehearse_guided` and `rehearse_needle`."""

    def __init__(self) -> None:
        self.done = Rehearsed(LINE, JOURNAL, ("track 2 is dead", "the tape is short"), None)
        self.views: list[View] = []
        self.meanwhile: Callable[[Record | None], None] = lambda record: None

    def __call__(
        self,
        link: Any,
        deck: Any,
        seed: int,
        watch: Watch,
        record: Record | None = None,
        channels: tuple[int, int] | None = None,
    ) -> Rehearsed:
        for view in self.views:
            watch(view)
        self.meanwhile(record)
        return self.done


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch, deck_here: None) -> WrittenDown:
    written = WrittenDown()
    monkeypatch.setattr("fluxbench.rehearsal.rehearse_guided", written)
    return written


def rehearse(*arguments: str) -> int:
    return main(["rehearse", "--tracks", "2", *arguments])


def test_for_people_it_says_what_is_left_and_what_it_took(
    written: WrittenDown, capsys: pytest.CaptureFixture[str]
) -> None:
    """sqrt((0.3² + 0.4²) / 2) = 0.354; 600 s in 60 s is 10 x real time."""
    assert rehearse() == 0
    out, err = capsys.readouterr()
    rows = [" ".join(line.split()) for line in out.splitlines()]
    assert err == ""
    assert "over bias 0.354 -0.400 dB track 2" in rows
    assert "reproduce azimuth 0.250 -0.250 arc-min" in rows
    assert "bias 2 3 1.50 2" in rows
    assert "record azimuth 1 2 2.00 2" in rows
    assert rows[-3].startswith("2 tracks at 15 in/s, guided, seed 1, tape time 9:10, ")
    assert rows[-3].endswith("10:00 at the deck in 1:00 (10.0 x real time)")
    assert rows[-2:] == ["note: track 2 is dead", "note: the tape is short"]


def test_as_json_the_notes_go_to_standard_error(
    written: WrittenDown, capsys: pytest.CaptureFixture[str]
) -> None:
    assert rehearse("--json") == 0
    out, err = capsys.readouterr()
    assert json.loads(out) == LINE
    assert err == "track 2 is dead\nthe tape is short\n"


@pytest.mark.parametrize("as_json", [["--json"], []])
def test_when_it_stops_the_notes_come_before_the_reason(
    written: WrittenDown, capsys: pytest.CaptureFixture[str], as_json: list[str]
) -> None:
    notes = ("track 2 is dead", "wrong tape")
    written.done = Rehearsed(LINE, JOURNAL, notes, "wrong tape")
    assert rehearse(*as_json) == 1
    assert capsys.readouterr() == ("", "track 2 is dead\nfluxbench: wrong tape\n")


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_truth_that_is_not_finite_is_told_not_printed(
    written: WrittenDown, capsys: pytest.CaptureFixture[str], value: float
) -> None:
    written.done = Rehearsed({**LINE, "tape_time_s": value}, JOURNAL, (), None)
    assert rehearse("--json") == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "not finite" in err


def test_the_journal_is_in_the_file_as_soon_as_it_is_written(
    written: WrittenDown, tmp_path: Path
) -> None:
    report = tmp_path / "journal.jsonl"
    report.write_text("older\n")
    seen: list[str] = []

    def meanwhile(record: Record | None) -> None:
        assert record is not None
        for entry in JOURNAL:
            record(entry)
            seen.append(report.read_text())

    written.meanwhile = meanwhile
    assert rehearse("--report", f"{report}", "--json") == 0
    lines = [json.dumps(entry) + "\n" for entry in JOURNAL]
    assert seen == ["".join(lines[: count + 1]) for count in range(3)]
    assert report.read_text() == "".join(lines)


def test_an_interrupt_keeps_what_is_written(written: WrittenDown, tmp_path: Path) -> None:
    def meanwhile(record: Record | None) -> None:
        assert record is not None
        record(JOURNAL[0])
        raise KeyboardInterrupt

    written.meanwhile = meanwhile
    report = tmp_path / "journal.jsonl"
    assert rehearse("--report", f"{report}") == 130
    assert report.read_text() == json.dumps(JOURNAL[0]) + "\n"


def test_a_full_disk_is_one_line(written: WrittenDown, capsys: pytest.CaptureFixture[str]) -> None:
    """/dev/full is where every write fails."""
    assert rehearse("--report", "/dev/full", "--json") == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "fluxbench: /dev/full cannot be written: No space left on device\n"


@pytest.mark.usefixtures("deck_here")
def test_by_needle_the_whole_journal_is_reported_as_well(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("fluxbench.rehearsal.rehearse_needle", WrittenDown())
    report = tmp_path / "journal.jsonl"
    assert rehearse("--method", "needle", "--report", f"{report}") == 0
    assert [json.loads(line) for line in report.read_text().splitlines()] == [*JOURNAL]


# Progress.

ADVICE = Advice("bias", 2, Verdict.OUT, 1, 0.5, "dB", 0.02, 1.0, "bias 2: raise 0.50 dB")
VIEWS = [
    View("prepare", 4.0, ask=Ask(1, "load", "load scrap tape")),
    View("prepare", 5.0),
    View("bias", 125.0, advice=ADVICE, done=1, due=3),
]


def test_without_a_terminal_every_stage_is_a_line(
    written: WrittenDown, capsys: pytest.CaptureFixture[str]
) -> None:
    written.views = VIEWS
    assert rehearse() == 0
    assert capsys.readouterr().out.splitlines()[:2] == ["   0:04  prepare", "   2:05  bias"]


def shown_on_a_terminal(
    views: list[View], monkeypatch: pytest.MonkeyPatch, quiet: bool = False
) -> str:
    monkeypatch.setattr("fluxbench.cli._rehearsal_shown.PICTURE_EVERY_S", 0.0)
    terminal = io.StringIO()
    console = Console(file=terminal, force_terminal=True, color_system=None, width=80)
    with Shown(quiet=quiet, console=console) as shown:
        for view in views:
            shown.watch(view)
    return terminal.getvalue()


def test_on_a_terminal_it_shows_what_is_asked_and_the_advice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = shown_on_a_terminal(VIEWS[:2], monkeypatch)
    assert "load scrap tape" in asked
    assert "bias" not in asked
    advised = shown_on_a_terminal(VIEWS, monkeypatch)
    for words in ("bias 2: raise 0.50 dB", "1 done, 3 due", "2:05 at the deck", "x real time"):
        assert words in advised


def test_as_json_nothing_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    assert shown_on_a_terminal(VIEWS, monkeypatch, quiet=True) == ""


# What cannot be.


@pytest.mark.usefixtures("deck_here")
@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ("--tracks 0", 2, "'--tracks'"),
        ("--tracks 500", 2, "'--tracks'"),
        ("--speed 14", 2, "does not run at 14 in/s; use 7.5, 15, 30"),
        ("--speed nan", 2, "does not run at nan in/s"),
        ("--seed -1", 2, "'--seed'"),
        ("--method ear", 2, "'guided', 'needle'"),
        ("--stock nosuch", 2, "there are even,"),
        ("--fault nosuch", 2, "there are dirty,"),
        ("--tracks 2 --fault card:3", 2, "tracks from 1 to 2"),
        ("--rate 100", 2, "cannot run at 100 Hz"),
        ("--rate 32000", 2, "--rate 44100 or more"),
        ("--report nosuch/journal", 2, "nosuch/journal cannot be written"),
        ("--interface deck", 2, "give --controls as well"),
        ("--controls http://127.0.0.1:1", 2, "give --interface as well"),
        ("--interface deck --controls nosuch", 2, "no address of deck controls"),
        ("--interface deck --controls http://127.0.0.1:1", 1, "no deck answers"),
        ("--interface deck --controls http://127.0.0.1:1 --rate 96000", 2, "--rate is for the"),
        ("--interface deck --controls http://127.0.0.1:1 --fault dirty", 2, "--fault is for the"),
        ("--interface deck --controls http://127.0.0.1:1 --inputs 2", 2, "--inputs is for the"),
        ("--inputs 0", 2, "'--inputs'"),
        ("--method needle --outputs 1", 2, "leave out --inputs and --outputs"),
    ],
)
def test_what_cannot_be_is_one_line(
    capsys: pytest.CaptureFixture[str], arguments: str, code: int, says: str
) -> None:
    assert main(["rehearse", *arguments.split(), "--json"]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fluxbench: ")
    assert err.count("\n") == 1
    assert says in err


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ("--tracks 8", 2, "has 4 tracks; leave out --tracks 8"),
        ("--speed 30", 2, "runs at 15 in/s; leave out --speed 30"),
        ("--tracks 4 --speed 15", 1, "'nobody'"),
    ],
)
def test_a_deck_outside_says_its_own_tracks_and_speed(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: str,
    code: int,
    says: str,
) -> None:
    """Where all agrees it goes on to the interface, which is not there."""
    plate = {"tracks": 4, "speed_ips": 15.0, "rate_hz": 96_000}
    monkeypatch.setattr(HttpControls, "state", lambda self: plate)
    monkeypatch.setattr("fluxbench.links._portaudio.devices", lambda sounddevice: [])
    command = f"rehearse --interface nobody --controls http://127.0.0.1:1 {arguments}"
    assert main(command.split()) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert says in err


def test_what_answers_like_no_deck_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(HttpControls, "state", lambda self: {"tracks": "many"})
    assert main(["rehearse", "--interface", "deck", "--controls", "http://127.0.0.1:1"]) == 1
    assert "does not tell its tracks" in capsys.readouterr().err


def test_the_reference_names_every_stock_and_fault() -> None:
    page = (ROOT / "docs" / "reference" / "commands.md").read_text()
    assert [name for name in (*STOCKS, *FAULTS) if f"`{name}`" not in page] == []
