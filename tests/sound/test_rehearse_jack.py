"""`fluxbench rehearse` on the practice deck as a process of its own, over a real sound server."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fluxbench.cli import main
from fluxbench.links import HttpControls
from tests.sound.server import SoundServer, end

pytestmark = [pytest.mark.sound, pytest.mark.timeout(900)]

TRACKS = 4
PATIENCE_S = 240.0


class Deck:
    """The deck's process, and its hands."""

    def __init__(self, server: SoundServer) -> None:
        command = f"-m fluxbench deck --tracks {TRACKS} --speed 30 --seed 2 --port 0"
        self.process, line = server.client(command.split())
        self.url = line.rpartition(" ")[2]
        self.hands = HttpControls(self.url, timeout_s=PATIENCE_S)


@pytest.fixture(scope="module")
def deck(server: SoundServer) -> Deck:
    return Deck(server)


@pytest.fixture(scope="module")
def narrow(server: SoundServer) -> "subprocess.Popen[str]":
    return server.loopback("narrow", TRACKS - 1)


def start(server: SoundServer, deck: Deck, *arguments: str) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "fluxbench", "rehearse", "--controls", deck.url, *arguments]
    return subprocess.Popen(
        command,
        env=server.environment,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def entries(report: Path) -> list[dict[str, Any]]:
    """What the report holds so far; a line is only there whole."""
    text = report.read_text() if report.exists() else ""
    return [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n")]


def wait_until(holds: Callable[[], bool], rehearsal: "subprocess.Popen[str]") -> None:
    given_up_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert rehearsal.poll() is None, rehearsal.communicate()
        assert time.monotonic() < given_up_s
        time.sleep(0.2)


def test_the_first_stages_pass_and_an_interrupt_ends_it(
    server: SoundServer, deck: Deck, tmp_path: Path
) -> None:
    """A whole line-up takes a quarter of an hour of the deck's own time; this is its beginning."""
    report = tmp_path / "journal.jsonl"
    rehearsal = start(server, deck, "--interface", "deck", "--json", "--report", f"{report}")
    try:
        wait_until(
            lambda: any(entry.get("name") == "reproduce" for entry in entries(report)), rehearsal
        )
        wait_until(lambda: deck.hands.state()["section"] == 1, rehearsal)
        state = deck.hands.state()
        assert (state["transport"], state["tape"]) == ("play", "calibration")
        rehearsal.send_signal(signal.SIGINT)
        out, err = rehearsal.communicate(timeout=PATIENCE_S)
    finally:
        end(rehearsal)
    assert (out, err) == ("", "fluxbench: interrupted\n")
    assert rehearsal.returncode == 130
    journal = entries(report)
    plan, levels = (next(e for e in journal if e["what"] == w) for w in ("plan", "input levels"))
    assert (plan["tracks"], plan["speed_ips"]) == (TRACKS, 30.0)
    assert levels["level_db"] == pytest.approx([0.0] * TRACKS, abs=0.05)
    assert {"what": "safe", "proved": True}.items() <= next(
        entry for entry in journal if entry["what"] == "safe"
    ).items()
    assert deck.process.poll() is None


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ("--interface nosuch", 1, "nosuch"),
        ("--interface narrow", 1, "narrow"),
        ("--interface deck --tracks 8", 2, "has 4 tracks; leave out --tracks 8"),
        ("--interface deck --speed 15", 2, "runs at 30 in/s; leave out --speed 15"),
    ],
)
@pytest.mark.usefixtures("narrow")
def test_an_interface_that_cannot_be_it_is_one_line(
    deck: Deck, capsys: pytest.CaptureFixture[str], arguments: str, code: int, says: str
) -> None:
    assert main(["rehearse", "--controls", deck.url, *arguments.split()]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fluxbench: ")
    assert err.count("\n") == 1
    assert says in err
