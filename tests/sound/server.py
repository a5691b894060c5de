"""A sound server for one test, with its clients, all of them ended again."""

import contextlib
import os
import select
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Sequence
from pathlib import Path

import jack

RATE_HZ = 96_000
PERIOD_FRAMES = 1024
PATIENCE_S = 240.0  # for a machine that is busy with other things
_ENDS_S = 60.0
_ANSWERS_MS = 20_000
"""So long may a client take to answer the server: its own half second is soon over there."""


class SoundServer:
    """A dummy sound server with a name of its own; clients are stopped before it."""

    def __init__(self, period_frames: int = PERIOD_FRAMES) -> None:
        self.name = f"fluxbench-{uuid.uuid4().hex[:8]}"
        self.environment = os.environ | {
            "JACK_DEFAULT_SERVER": self.name,
            "JACK_NO_AUDIO_RESERVATION": "1",
            "PYTHONUNBUFFERED": "1",
        }
        self._period_frames = period_frames
        self.process = self._started()
        self.clients: list[subprocess.Popen[str]] = []
        self._wait_until_it_answers()

    def _started(self) -> "subprocess.Popen[bytes]":
        command = f"jackd -n {self.name} -r -t {_ANSWERS_MS} -d dummy -r {RATE_HZ} -C 32 -P 32"
        return subprocess.Popen(
            [*command.split(), "-p", f"{self._period_frames}"],
            env=self.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def _wait_until_it_answers(self) -> None:
        jack.set_error_function(lambda message: None)
        jack.set_info_function(lambda message: None)
        given_up_at = time.monotonic() + PATIENCE_S
        while True:
            try:
                jack.Client("probe", no_start_server=True, servername=self.name).close()
                return
            except jack.JackOpenError:
                if time.monotonic() > given_up_at or self.process.poll() is not None:
                    end(self.process)
                    raise
                time.sleep(0.05)

    def client(self, command: Sequence[str]) -> tuple[subprocess.Popen[str], str]:
        """Start a Python process under this server; also the first line that it prints."""
        child = self.started(command)
        return child, first_line(child)

    def started(self, command: Sequence[str]) -> subprocess.Popen[str]:
        """A Python process under this server, not waited for."""
        child = subprocess.Popen(
            [sys.executable, *command],
            env=self.environment,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self.clients.append(child)
        return child

    def loopback(self, name: str = "deck", channels: int = 24) -> subprocess.Popen[str]:
        child, line = self.client(
            [str(Path(__file__).with_name("loopback.py")), name, f"{channels}"]
        )
        assert line == "ready", child.communicate()
        return child

    def stop(self) -> None:
        for child in [*reversed(self.clients), self.process]:
            end(child)
        if self.process.returncode < 0:
            # There are eight places for servers on a machine, and one that was killed keeps its
            # own until another of its name has come and gone.
            self.process = self._started()
            with contextlib.suppress(jack.JackOpenError):
                self._wait_until_it_answers()
            end(self.process)
        for left in Path("/dev/shm").glob(f"*{self.name}*"):
            left.unlink(missing_ok=True)


def first_line(child: subprocess.Popen[str]) -> str:
    """The next line on the child's standard output, "" if it ends or none comes in time.

    A byte at a time, so that nothing of the next line waits where `select` does not see it.
    """
    assert child.stdout is not None
    pipe, given_up_at, line = child.stdout.fileno(), time.monotonic() + PATIENCE_S, b""
    while not line.endswith(b"\n"):
        ready, _, _ = select.select([pipe], [], [], max(0.0, given_up_at - time.monotonic()))
        if not ready or not (byte := os.read(pipe, 1)):
            return ""
        line += byte
    return line.decode().strip()


def end(child: "subprocess.Popen[str] | subprocess.Popen[bytes]") -> None:
    """Have a child end, by force if it must be, and close its pipes."""
    if child.poll() is None:
        child.terminate()
        child.send_signal(signal.SIGCONT)  # one that a test has stopped
    try:
        child.wait(_ENDS_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    for pipe in (child.stdout, child.stderr):
        if pipe is not None:
            pipe.close()
