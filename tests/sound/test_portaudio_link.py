"""The link through PortAudio on a real sound server: 24 + 24 channels at 96 kHz."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from fluxbench.base import ChannelsError, Flag, LinkError, MisuseError, NoServerError
from fluxbench.links import Interface, Link, PortAudioLink, interfaces
from tests.contract.test_links import LinkContract
from tests.sound.server import PATIENCE_S, PERIOD_FRAMES, RATE_HZ, SoundServer, first_line

pytestmark = pytest.mark.sound

BLOCK = 1920  # 20 ms
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

    TOLD_LATE_BLOCKS = 2  # a server tells of a late client up to a period of 1024 frames later

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


def test_no_lost_frame_stays_unreported_in_four_seconds(link: PortAudioLink) -> None:
    contract = LinkContract()
    frame, seen, told = 0, [], []
    for _ in range(200):
        block = link.exchange(contract.send_numbers(link, frame, BLOCK))
        frame += BLOCK
        numbers = contract.numbers(block.samples)
        numbers[~np.any(block.samples != 0.0, axis=1)] = -1
        seen.append(numbers)
        told.append(bool(block.flags))
    numbers = np.concatenate(seen)
    begin = int(np.argmax(numbers[:, 0] >= 0))
    assert begin < 0.2 * RATE_HZ
    breaks = begin + np.flatnonzero(np.any(np.diff(numbers[begin:], axis=0) != 1, axis=1))
    for place in breaks + 1:
        # A period that left too late comes back with the next one, and ends with that; a server
        # tells of a late client up to a period after what it spoilt.
        first, last = (place - 2 * PERIOD_FRAMES) // BLOCK, (place + PERIOD_FRAMES) // BLOCK
        assert any(told[max(first, 0) : last + 1]), f"frame {place} is broken without a flag"
    assert np.mean(told) < 0.25


def test_the_delay_stays_when_the_caller_was_late(link: PortAudioLink) -> None:
    """60 ms lead and one period of the loop; the same after 0.2 s and 1.5 s of absence."""
    contract = LinkContract()
    frame, lost = 0, Flag.NONE
    for absence_s in (0.0, 0.2, 1.5):
        time.sleep(absence_s)
        for _ in range(30):
            block = link.exchange(contract.send_numbers(link, frame, BLOCK))
            behind = frame - contract.numbers(block.samples)[0, 0]
            frame += BLOCK
            lost |= block.flags
        assert behind == round(0.06 * RATE_HZ) + PERIOD_FRAMES
    assert Flag.INPUT_LOST in lost
    assert Flag.OUTPUT_LOST in lost


def test_the_silence_key_silences_at_once() -> None:
    key = threading.Event()
    link = PortAudioLink("deck", silence=key)
    send = np.full((BLOCK, 24), 0.25, np.float32)
    for _ in range(20):
        block = link.exchange(send)
    assert block.samples.all()
    key.set()
    for _ in range(4):  # two periods and a block, and one more for a slow machine
        block = link.exchange(send)
    assert not block.samples.any()
    link.close()


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
    before = threads()
    for _ in range(3):
        link = PortAudioLink("deck")
        link.exchange(np.zeros((BLOCK, 24), np.float32))
        link.close()
    assert threads() == before


EXCHANGING = str(Path(__file__).with_name("exchanging.py"))


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL, signal.SIGSTOP])
def test_a_server_that_goes_away_is_told_within_a_second(
    own_server: SoundServer, how: signal.Signals
) -> None:
    own_server.loopback("deck", 24)
    child, line = own_server.client([EXCHANGING, "deck"])
    assert line == "running"
    own_server.process.send_signal(how)
    after_s, message = first_line(child).split(" ", 1)
    closing_s = float(first_line(child))
    again = first_line(child)
    child.wait(5.0)
    if how == signal.SIGSTOP:
        own_server.process.send_signal(signal.SIGCONT)
    assert float(after_s) < 1.3
    assert message.startswith("deck has")
    assert closing_s < 1.0
    assert again == "the sound server went away under this process; start a new one"


def test_a_client_that_is_killed_is_silence_within_a_second(own_server: SoundServer) -> None:
    own_server.loopback("deck", 24)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("JACK_DEFAULT_SERVER", own_server.name)
        link = PortAudioLink("deck")
    try:
        send = np.full((BLOCK, 24), 0.25, np.float32)
        for _ in range(20):
            block = link.exchange(send)
        assert block.samples.all()
        own_server.clients[0].kill()
        start = time.monotonic()
        while block.samples.any() and time.monotonic() - start < 5.0:
            block = link.exchange(send)
        assert time.monotonic() - start < 1.0
    finally:
        link.close()


def test_no_server_is_one_line() -> None:
    code = "from fluxbench.links import PortAudioLink\nPortAudioLink('deck')"
    environment = os.environ | {"JACK_DEFAULT_SERVER": "nobody-runs-this"}
    child = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True,
        timeout=PATIENCE_S,
    )  # fmt: skip
    last = child.stderr.strip().splitlines()[-1]
    assert NoServerError.__name__ in last
    assert "start the sound server" in last
    assert LinkError in NoServerError.__mro__
