"""The session's end of the engine: starts it, keeps it alive, notices when it is not."""

import multiprocessing
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from multiprocessing.connection import Connection
from typing import Any

from fluxbench.base import Cables
from fluxbench.engine import ChannelTrims, Listening
from fluxbench.measure import Wanted
from fluxbench.session._engine_process import (
    Failed,
    LinkFactory,
    Message,
    Overhear,
    Ready,
    Settings,
    SharedSilence,
    run_engine,
)
from fluxbench.signals import Signal, Silence

STARTS_WITHIN_S = 300.0
"""On a machine that is busy with other things its libraries take long to load."""
SILENT_S = 1.0
"""An engine that says nothing for so long, while it is waited for, is dead."""
SUMS_S = 60.0
"""So long may the sums of a loop-back check take on a slow machine."""

Run = Callable[[LinkFactory, Connection, Connection, Any], None]
"""What the process does; has to be picklable."""

_SPAWN = multiprocessing.get_context("spawn")


class EngineHost:
    """One engine process at a time; all methods are for one thread."""

    def __init__(
        self,
        open_link: LinkFactory,
        run: Run = run_engine,
        silence: SharedSilence | None = None,
        silent_s: float = SILENT_S,
    ) -> None:
        self._open_link, self._run, self._silent_s = open_link, run, silent_s
        self.silence = SharedSilence(_SPAWN.RawValue("b", 0)) if silence is None else silence
        self.settings = Settings(0, Silence(), (1000.0,))
        self._overhear = Overhear(None)
        self._process: multiprocessing.process.BaseProcess | None = None
        self.pid: int | None = None
        """The number of its process, None if there is none; any thread may read it."""
        self._commands: Connection | None = None
        self._answers: Connection | None = None
        self._waited_s = 0.0
        self._is_ready = False

    def start(self) -> None:
        """Start a new engine; it answers with `Ready` or `Failed`."""
        self.stop()
        ear, self._commands = _SPAWN.Pipe(duplex=False)
        self._answers, mouth = _SPAWN.Pipe(duplex=False)
        self._process = _SPAWN.Process(
            target=self._run,
            args=(self._open_link, ear, mouth, self.silence),
            name="engine",
            daemon=True,
        )
        self._process.start()
        self.pid = self._process.pid
        ear.close()
        mouth.close()
        self._waited_s, self._is_ready = 0.0, False
        self._say(self.settings)
        if self._overhear.listening is not None:
            self._say(self._overhear)

    def beside(self, open_link: LinkFactory, run: Run) -> "EngineHost":
        """Another one under the same silence key, whose process may be long at its sums."""
        return EngineHost(open_link, run, self.silence, SUMS_S)

    def set(
        self,
        signal: Signal,
        tones_hz: tuple[float, ...],
        stretch: Wanted | None = None,
        cables: Cables | None = None,
        trims: ChannelTrims | None = None,
    ) -> None:
        """Send and listen to something else; hops that come before that have an older number.

        Without `trims` those of before stay.
        """
        trims = self.settings.trims if trims is None else trims
        wanted = Settings(self.settings.number, signal, tones_hz, stretch, cables, trims)
        if wanted != self.settings:
            self.settings = replace(wanted, number=wanted.number + 1)
            self._say(self.settings)

    def overhear(self, listening: Listening | None) -> None:
        """Have what is left of a track beside its tones come with the hops; None: of none."""
        wanted = Overhear(listening)
        if wanted != self._overhear:
            self._overhear = wanted
            self._say(wanted)

    def beat(self) -> None:
        """Say that the session is alive."""
        self._say(())

    def poll(self, timeout_s: float) -> list[Message]:
        """What the engine has said, waiting for the first word; `Failed` when it is dead."""
        if self._answers is None:
            time.sleep(timeout_s)
            return []
        messages: list[Message] = []
        began_s = time.monotonic()
        try:
            while self._answers.poll(0.0 if messages else timeout_s) and len(messages) < 100:
                messages.append(self._answers.recv())
        except (EOFError, OSError):
            messages.append(Failed("measuring has stopped; it is started again", again=True))
        self._is_ready |= any(isinstance(message, Ready) for message in messages)
        limit_s = self._silent_s if self._is_ready else STARTS_WITHIN_S
        # Where the session was busy, or the machine stood still, nobody waited.
        waited_s = min(time.monotonic() - began_s, 2.0 * timeout_s)
        self._waited_s = 0.0 if messages else self._waited_s + waited_s
        if self._waited_s > limit_s:
            messages.append(Failed("measuring does not go on; it is started again", again=True))
        if any(isinstance(message, Failed) for message in messages):
            self.stop()
        return messages

    def stop(self) -> None:
        """End the engine: it ramps to silence; one that does not is killed."""
        if self._process is None:
            return
        self.pid = None
        self._say(None)
        self._process.join(0.5)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()
        for pipe in (self._commands, self._answers):
            if pipe is not None:
                pipe.close()
        self._process = self._commands = self._answers = None

    def _say(self, message: object) -> None:
        if self._commands is not None:
            with suppress(OSError):  # it is dead, and `poll` will tell
                self._commands.send(message)
