"""The link through PortAudio on a real sound server: 24 + 24 channels at 96 kHz."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import jack
import numpy as np
import pytest

from fluxbench.base import ChannelsError, Flag, LinkError, MisuseError, NoServerError
from fluxbench.links import Interface, Link, PortAudioLink, interfaces
from tests.benches.lateness import Lateness
from tests.contract.test_links import LinkContract
from tests.sound.server import PATIENCE_S, PERIOD_FRAMES, RATE_HZ, SoundServer, first_line

pytestmark = [pytest.mark.sound, pytest.mark.timeout(900)]

BLOCK = 1920  # 20 ms
MOST_BLOCKS = 3000
"""A stream that loses much, on a busy machine, is looked at for a minute."""
JACK = "JACK Audio Connection Kit"


@pytest.fixture(scope="module", autouse=True)
def loopback(server: SoundServer) -> "subprocess.Popen[str]":
    return server.loopback("deck", 24)


@pytest.fixture
def link() -> Iterator[PortAudioLink]:
    link = PortAudioLink("deck")
    yield link
    link.close()


class TestPortAudioLink(LinkContract):
    """The contract of all links, through the loop-back client."""

    TOLD_LATE_BLOCKS = 20  # a server tells of a late client by a thread of no haste
    MOST_BLOCKS = 3000

    @pytest.fixture
    def link(self) -> Iterator[Link]:
        link = PortAudioLink("deck", host_api="jack")
        yield link
        link.close()


def test_it_is_listed_by_name_and_host_api_with_the_servers_rate() -> None:
    listed = interfaces()
    assert Interface("deck", JACK, 24, 24, RATE_HZ) in listed
    assert Interface("system", JACK, 32, 32, RATE_HZ) in listed


def test_a_client_that_comes_later_is_seen(server: SoundServer) -> None:
    server.loopback("late", 2)
    assert Interface("late", JACK, 2, 2, RATE_HZ) in interfaces()
    link = PortAudioLink("late")
    assert (link.inputs, link.outputs) == (2, 2)
    link.close()


@pytest.fixture
def faults(server: SoundServer) -> Iterator[list[float]]:
    """What the server itself tells of periods that it, or a client, was late for."""
    told: list[float] = []
    client = jack.Client("who counts faults", no_start_server=True, servername=server.name)
    client.set_xrun_callback(told.append)
    client.activate()
    yield told
    client.deactivate()
    client.close()


def test_no_lost_frame_stays_unreported_in_four_seconds(
    link: PortAudioLink, faults: list[float]
) -> None:
    contract = LinkContract()
    frame, seen, told, lost = 0, [], [], 0
    while len(told) < 200 or (told.count(False) < 100 and len(told) < MOST_BLOCKS):
        block = link.exchange(contract.send_numbers(link, frame, BLOCK))
        frame += BLOCK
        numbers = contract.numbers(block.samples)
        numbers[~np.any(block.samples != 0.0, axis=1)] = -1
        seen.append(numbers)
        told.append(bool(block.flags))
        lost += Flag.INPUT_LOST in block.flags
    numbers = np.concatenate(seen)
    begin = int(np.argmax(numbers[:, 0] >= 0))
    assert begin < 0.2 * RATE_HZ or any(told[: begin // BLOCK + 1])
    breaks = begin + np.flatnonzero(np.any(np.diff(numbers[begin:], axis=0) != 1, axis=1))
    for place in breaks + 1:
        # A period that left too late comes back with the next one, and ends with that; a server
        # tells of a late client when it comes to that: within 0.2 s.
        first, last = (place - 4 * PERIOD_FRAMES) // BLOCK, place // BLOCK + 10
        assert any(told[max(first, 0) : last + 1]), f"frame {place} is broken without a flag"
    assert told.count(False) >= 100
    # One fault is told with three periods, in four blocks at most.
    assert lost < 0.1 * len(told) + 4 * len(faults)


def test_the_delay_stays_when_the_caller_was_late(link: PortAudioLink) -> None:
    """60 ms lead and one period of the loop; the same after 0.2 s and 1.5 s of absence."""
    contract = LinkContract()
    frame, lost = 0, Flag.NONE
    for absence_s in (0.0, 0.2, 1.5):
        time.sleep(absence_s)
        behind, clean = list[int](), 0
        while len(behind) < 30 or (clean < 10 and len(behind) < MOST_BLOCKS):
            block = link.exchange(contract.send_numbers(link, frame, BLOCK))
            behind.append(frame - int(contract.numbers(block.samples)[0, 0]))
            frame += BLOCK
            lost |= block.flags
            clean = 0 if block.flags else clean + 1
        assert clean >= 10
        assert np.median(behind[-10:]) == round(0.06 * RATE_HZ) + PERIOD_FRAMES
    assert Flag.INPUT_LOST in lost
    assert Flag.OUTPUT_LOST in lost


def until_it_sounds(link: PortAudioLink, send: np.ndarray) -> None:
    for _ in range(MOST_BLOCKS):
        if link.exchange(send).samples.all():
            return
    pytest.fail("nothing comes back")


def test_the_silence_key_silences_at_once() -> None:
    key = threading.Event()
    link = PortAudioLink("deck", silence=key)
    send = np.full((BLOCK, 24), 0.25, np.float32)
    for _ in range(10):
        until_it_sounds(link, send)
    key.set()
    # By the frames, not by the calls: those may be of what came long before. Two periods are on
    # their way; one that the server has lost comes once more.
    silent_from = link._ring.clock + 4 * BLOCK
    silent = 0
    for _ in range(MOST_BLOCKS):
        block = link.exchange(send)
        if block.first_frame >= silent_from and not block.flags:
            assert not block.samples.any()
            silent += 1
        if silent == 20:
            break
    link.close()
    assert silent == 20


def test_fewer_channels_and_no_sends_are_possible() -> None:
    link = PortAudioLink("deck", inputs=8, outputs=0)
    block = link.exchange(np.zeros((BLOCK, 0), np.float32))
    assert block.samples.shape == (BLOCK, 8)
    link.close()


def test_what_cannot_be_had_is_one_line() -> None:
    with pytest.raises(ChannelsError, match="deck has 24 inputs and 24 outputs, not 25 and 24"):
        PortAudioLink("deck", inputs=25)
    with pytest.raises(NoServerError, match="there are system, deck"):
        PortAudioLink("dekc")
    with pytest.raises(MisuseError, match="runs at 96000 Hz"):
        PortAudioLink("deck", rate_hz=48_000)


def test_a_block_longer_than_the_ring_is_refused(link: PortAudioLink) -> None:
    with pytest.raises(MisuseError, match="too many for one block"):
        link.exchange(np.zeros((RATE_HZ, 24), np.float32))


def test_closing_leaves_no_thread() -> None:
    def threads() -> int:
        return len(os.listdir("/proc/self/task"))

    PortAudioLink("deck").close()
    # Where the system lists a thread that has just ended, more are listed than there are.
    time.sleep(0.5)
    before = threads()
    for _ in range(3):
        link = PortAudioLink("deck")
        link.exchange(np.zeros((BLOCK, 24), np.float32))
        link.close()
    given_up_at = time.monotonic() + PATIENCE_S
    while threads() > before:
        assert time.monotonic() < given_up_at, f"{threads() - before} threads are left"
        time.sleep(0.05)


EXCHANGING = str(Path(__file__).with_name("exchanging.py"))


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL, signal.SIGSTOP])
def test_a_server_that_goes_away_is_told_within_a_second(
    own_server: SoundServer, how: signal.Signals
) -> None:
    own_server.loopback("deck", 24)
    child, line = own_server.client([EXCHANGING, "deck"])
    assert line == "running"
    with Lateness() as lateness:
        own_server.process.send_signal(how)
        after_s, message = first_line(child).split(" ", 1)
        closing_s = float(first_line(child))
        again = first_line(child)
    child.wait(PATIENCE_S)
    if how == signal.SIGSTOP:
        own_server.process.send_signal(signal.SIGCONT)
    assert float(after_s) < 1.3 + lateness.excused_s
    assert message.startswith("deck has")
    assert closing_s < 1.0 + lateness.excused_s
    assert again == "the sound server went away under this process; start a new one"


def test_a_client_that_is_killed_is_silence_within_a_second(own_server: SoundServer) -> None:
    own_server.loopback("deck", 24)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("JACK_DEFAULT_SERVER", own_server.name)
        link = PortAudioLink("deck")
    try:
        send = np.full((BLOCK, 24), 0.25, np.float32)
        for _ in range(10):
            until_it_sounds(link, send)
        own_server.clients[0].kill()
        own_server.clients[0].wait(PATIENCE_S)
        killed_at = link._ring.clock  # a second of the stream: who calls may be late
        while (block := link.exchange(send)).samples.any():
            assert block.first_frame < killed_at + RATE_HZ
    finally:
        link.close()


def test_no_server_is_one_line() -> None:
    code = "from fluxbench.links import PortAudioLink\nPortAudioLink('deck')"
    environment = os.environ | {"JACK_DEFAULT_SERVER": "nobody-runs-this"}
    child = subprocess.run(
        [sys.executable, "-c", code],
        env=environment,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )
    last = child.stderr.strip().splitlines()[-1]
    assert NoServerError.__name__ in last
    assert "start the sound server" in last
    assert LinkError in NoServerError.__mro__
