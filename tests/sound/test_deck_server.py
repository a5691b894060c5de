"""The served deck on a real sound server: its samples, its hands, and how it ends."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from fluxbench.base import DeckError
from fluxbench.links import HttpControls, PortAudioLink
from tests.contract.test_links import LinkContract
from tests.sound.server import PATIENCE_S, PERIOD_FRAMES, RATE_HZ, SoundServer, first_line

pytestmark = [pytest.mark.sound, pytest.mark.timeout(900)]

BLOCK = 1920
WIRE_DECK = str(Path(__file__).with_name("wire_deck.py"))


class Served:
    """The deck's process and what it printed when it was ready."""

    def __init__(self, process: "subprocess.Popen[str]", line: str) -> None:
        self.process, self.line = process, line
        self.controls = HttpControls(line.rsplit(" ", 1)[-1], timeout_s=PATIENCE_S)

    def silent_blocks(self) -> int:
        """So many blocks may the deck have made silent: a late period of it is in three at most."""
        return 3 * int(self.controls.state()["late_periods"])


@pytest.fixture(scope="module")
def served(server: SoundServer) -> Served:
    return Served(*server.client([WIRE_DECK, "0"]))


@pytest.fixture
def link(served: Served) -> Iterator[PortAudioLink]:
    link = PortAudioLink("deck")
    yield link
    link.close()


def test_it_says_where_its_controls_are(served: Served) -> None:
    assert served.line.startswith("deck: 24 tracks at 96000 Hz, controls at http://127.0.0.1:")
    assert served.controls.state()["rate_hz"] == RATE_HZ


class TestThroughTheDeck(LinkContract):
    """The contract of all links, through the served deck of wires."""

    SPOILT_BLOCKS = 7  # four periods more than without it
    TOLD_LATE_BLOCKS = 20  # a server tells by a thread of no haste
    MOST_BLOCKS = 3000

    @pytest.fixture(autouse=True)
    def deck(self, served: Served) -> None:
        self._served = served

    def excused_blocks(self) -> int:
        return self._served.silent_blocks()

    @pytest.fixture
    def link(self, served: Served) -> Iterator[PortAudioLink]:
        link = PortAudioLink("deck")
        yield link
        link.close()


def test_it_adds_three_periods_always(link: PortAudioLink, served: Served) -> None:
    """The lead, one period of the loop that JACK breaks up, and the deck's three."""
    contract = LinkContract()
    told: list[bool] = []
    behind: list[int | None] = []
    before, checked, silent = served.silent_blocks(), list[int](), 0
    while len(checked) <= 10 and len(told) < 3000:
        first = BLOCK * len(told)
        block = link.exchange(contract.send_numbers(link, first, BLOCK))
        sounds = bool(block.samples.any(axis=1).all())
        told.append(bool(block.flags))
        behind.append(int(first - contract.numbers(block.samples)[0, 0]) if sounds else None)
        # Whatever was lost is told within ten blocks, before or after.
        if len(told) > 40 and not any(told[-21:]):
            of = behind[-11]
            silent += of is None
            checked += [] if of is None else [of]
    assert silent <= served.silent_blocks() - before
    assert len(checked) > 10
    assert set(checked) == {round(0.06 * RATE_HZ) + 4 * PERIOD_FRAMES}


def test_its_hands_change_what_is_heard(link: PortAudioLink, served: Served) -> None:
    send = np.full((BLOCK, 24), 0.25, np.float32)

    def until(heard: bool) -> bool:
        """Whether ten blocks that follow each other come to sound, or to be silent."""
        as_wanted = 0
        for _ in range(3000):
            as_wanted = as_wanted + 1 if link.exchange(send).samples.any() == heard else 0
            if as_wanted == 10:
                return True
        return False

    assert served.controls.transport("play")["transport"] == "play"
    assert until(heard=True)
    assert served.controls.transport("stop")["transport"] == "stop"
    assert until(heard=False)
    served.controls.transport("play")


def test_a_refusal_and_a_mistake_leave_it_running(served: Served) -> None:
    with pytest.raises(DeckError, match="no trimmer 'gain' here"):
        served.controls.turn("gain", 1.0, 1)
    with pytest.raises(DeckError, match="the deck failed at /transport"):
        served.controls.transport("explode")
    assert served.controls.turn("bias", 0.5, 1) == 0.7


def test_a_name_or_port_in_use_is_one_line(server: SoundServer, served: Served) -> None:
    port = served.line.rsplit(":", 1)[1]
    cases = {
        ("0",): "the sound server cannot have another client 'deck'",
        (port, "other"): f"port {port} cannot be had",
    }
    started = [server.started([WIRE_DECK, *arguments]) for arguments in cases]
    for child, says in zip(started, cases.values(), strict=True):
        _, error = child.communicate(timeout=PATIENCE_S)
        assert child.returncode == 1
        assert error.startswith(says)
        assert error.count("\n") == 1


def test_they_end_clean_and_tell_what_came_late(server: SoundServer) -> None:
    how = {"leaving": signal.SIGTERM, "interrupted": signal.SIGINT}
    started = {name: server.started([WIRE_DECK, "0", name]) for name in how}
    for name, child in started.items():
        line = first_line(child)
        assert line.startswith(f"{name}: ")
        time.sleep(0.2)
        child.send_signal(how[name])
        _, error = child.communicate(timeout=PATIENCE_S)
        assert child.returncode == 0
        assert error.startswith("late periods: ")
        assert error.count("\n") == 1
        with socket.socket() as again:
            again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            again.bind(("127.0.0.1", int(line.rsplit(":", 1)[1])))


def test_a_server_that_stops_ends_it_with_one_line(own_server: SoundServer) -> None:
    child, line = own_server.client([WIRE_DECK, "0"])
    assert "controls at" in line
    own_server.process.terminate()
    _, error = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 1
    assert error.rstrip().endswith("the sound server has stopped")


def test_no_server_is_one_line() -> None:
    environment = os.environ | {"JACK_DEFAULT_SERVER": "nobody-runs-this"}
    command = [sys.executable, WIRE_DECK, "0"]
    child = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=PATIENCE_S
    )
    assert child.returncode == 1
    assert child.stderr.startswith("no JACK sound server answers; start one")
    assert child.stderr.count("\n") == 1
