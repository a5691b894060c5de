"""Interfaces seen from the bench: listed, checked by loop-back, calibrated by a meter."""

import threading
import uuid
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

from fluxbench.base import FluxbenchError, MisuseError
from fluxbench.engine import (
    CalibratedChannel,
    LoopBack,
    calibrated_inputs,
    calibrated_outputs,
    level_dbu,
)
from fluxbench.links import Interface, Link, SilenceKey, interfaces
from fluxbench.session._calibrations import channels_kept, keep_calibration, kept_interface
from fluxbench.session._commands import Command, NotNowError
from fluxbench.session._engine_host import EngineHost
from fluxbench.session._engine_process import Failed, LinkFactory, Message, Ready, Tried
from fluxbench.session._one_trial import OneTrial, Wish, open_interface, whole_of
from fluxbench.session._pages import now_utc
from fluxbench.session._session import Session
from fluxbench.session._threads import WatchedThread
from fluxbench.session._trial_process import LoopTrial, MeterTrial, Trial, run_trial
from fluxbench.signals import PerTrack, Silence, Tone
from fluxbench.trade import pitch

POLL_S = 0.05
RESTS_WITHIN_S = 8.0


class Trials:
    """At most one trial at a time, and none beside a line-up: the engine rests meanwhile.

    All methods may be called from any thread, and wait.
    """

    def __init__(
        self,
        session: Session,
        listed: Callable[[], list[Interface]] = interfaces,
        opens: Callable[[Wish, SilenceKey], Link] = open_interface,
    ) -> None:
        self._session, self._listed, self._opens = session, listed, opens
        self._lock = threading.RLock()
        self._now: OneTrial | None = None
        self._over = threading.Event()
        self._thread: WatchedThread | None = None

    def interfaces(self) -> list[dict[str, Any]]:
        """Those that can be opened now, with what the book knows of their channels.

        NoServerError if they cannot be listed.
        """
        book, opened = self._session.book, self._session.state["bench"]["link"]["name"]
        told = []
        for one in self._listed():
            known = kept_interface(book, one)
            told.append({
                **asdict(one),
                "opened": one.name == opened,
                "book": None if known is None else known.id,
                "channels": [asdict(channel) for channel in channels_kept(book, one)],
            })  # fmt: skip
        return told

    @property
    def state(self) -> Mapping[str, Any] | None:
        """The trial that runs, or the last one; None before the first."""
        with self._lock:
            return None if self._now is None else self._now.told()

    def begin(self, wish: Wish, trial: Trial) -> None:
        """Let the engine rest and begin; NotNowError while a line-up or another trial runs.

        MisuseError for an interface that is not there.
        """
        with self._lock:
            if self._now is not None and self._now.running:
                raise NotNowError(f"{self._now.interface.name} is being tried; end that first")
            if self._session.state["bench"]["silenced"]:
                raise NotNowError("the silence key is pressed; let it send again first")
            of, wish = whole_of(self._listed(), wish)
            doing = "checked" if isinstance(trial, LoopTrial) else "calibrated"
            line = f"{of.name} is being {doing}; nothing else runs until that is over"
            self._tell("rest", line=line)
            self._now = now = OneTrial(trial, wish, of, now_utc())
            self._over.clear()
            opens: LinkFactory = partial(self._opens, wish)
            host = self._session.host_of(opens, partial(run_trial, trial))
            self._thread = WatchedThread("trial", partial(self._run, host, now), self._broken)
            self._thread.start()

    def stand(self, output: int | None) -> None:
        """Have a tone on one output (from 1) and none on the others; None: on none."""
        with self._lock:
            now = self._metered()
            count = now.wish.outputs or 0
            if output is not None and not 1 <= output <= count:
                raise MisuseError(f"{now.interface.name} has outputs 1 to {count}, not {output}")
            now.standing = output

    def read(self, side: str, channel: int, reads: str) -> None:
        """What a meter reads at a channel now, such as 4.02 dBu: at an output that the tone
        stands on, or of a steady tone from elsewhere that arrives at an input."""
        with self._lock:
            now = self._metered()
            dbu = level_dbu(reads)
            if side == "out":
                if now.standing != channel:
                    raise NotNowError(f"no tone stands on output {channel}; send it there first")
                (one,) = calibrated_outputs({channel: dbu}, now.trial.level_dbfs)
            else:
                one = CalibratedChannel(channel, "in", dbu - now.arriving_dbfs(channel), 0.0)
            now.read[side, channel] = one

    def keep(self, meter: str, uncertainty_db: float, key: str) -> None:
        """Put what was read into the book; after a check, the inputs by their cables.

        Those take the outputs as the book knows them. NotNowError where there is nothing to keep.
        """
        with self._lock:
            now = self._now
            read = [] if now is None else [one for _, one in sorted(now.read.items())]
        if now is None:
            raise NotNowError("no interface was checked or calibrated yet")
        if now.kept == key:
            return
        if now.found is not None:
            channels, how, uncertainty_db = self._by_cables(now, now.found)
        elif isinstance(now.trial, MeterTrial) and read:
            channels = tuple(read)
            how = f"{meter}; {pitch(now.trial.frequency_hz)} at {now.trial.level_dbfs:g} dBFS"
        else:
            raise NotNowError("nothing was read yet; type what the meter reads first")
        keep_calibration(self._session.book, now.interface, channels, how, uncertainty_db, key)
        now.kept = key

    def _by_cables(
        self, now: OneTrial, found: LoopBack
    ) -> tuple[tuple[CalibratedChannel, ...], str, float]:
        if now.wish.send_to is not None:
            raise NotNowError("this check sent by another interface; check this one by itself")
        known = [c for c in channels_kept(self._session.book, now.interface) if c.side == "out"]
        outputs = [CalibratedChannel(c.channel, "out", c.full_scale_dbu, 0.0) for c in known]
        channels = calibrated_inputs(outputs, found.cables)
        if not channels:
            raise NotNowError("no input is cabled to a calibrated output; calibrate outputs first")
        oldest = min(c.on for c in known)
        how = f"by cables from the outputs, which a meter read on {oldest}"
        return channels, how, max(c.uncertainty_db for c in known)

    def end(self) -> None:
        """End the trial that runs, if one does, and wait until the interface is free."""
        with self._lock:
            self._over.set()
            thread = self._thread
        if thread is not None:
            thread.join(5.0)

    # -- the trial's own thread --------------------------------------------------------------

    def _run(self, host: EngineHost, now: OneTrial) -> None:
        try:
            host.start()
            while not self._over.is_set():
                for message in host.poll(POLL_S):
                    with self._lock:
                        self._hear(now, message)
                if self._session.state["bench"]["silenced"]:
                    now.line = now.line or "the silence key was pressed; nothing is sent"
                    self._over.set()
                self._send(host, now)
                host.beat()
        finally:
            host.stop()
            self._tell("wake")  # before it is over: who sees that may begin the next at once
            with self._lock:
                now.running, now.standing = False, None

    def _send(self, host: EngineHost, now: OneTrial) -> None:
        if not isinstance(now.trial, MeterTrial) or now.rate_hz is None:
            return
        channels: list[Silence | Tone] = [Silence()] * (now.wish.outputs or 0)
        if now.standing is not None:
            tone = Tone(now.trial.frequency_hz, now.trial.level_dbfs)
            channels[now.standing - 1] = tone
        if channels:
            host.set(PerTrack(tuple(channels)), ())

    def _hear(self, now: OneTrial, message: Message) -> None:
        if isinstance(message, Ready):
            now.rate_hz = message.rate_hz
        elif isinstance(message, Tried):
            now.doing = message.doing
            now.before_dbfs, now.levels_dbfs = now.levels_dbfs, message.levels_dbfs
            if message.found is not None:
                now.found = message.found
                self._over.set()
        elif isinstance(message, Failed):
            now.line = message.line.split("; it is started")[0].replace("the engine", "the trial")
            self._over.set()

    def _broken(self, line: str) -> None:
        with self._lock:
            if self._now is not None:
                self._now.line, self._now.running = line, False

    def _metered(self) -> OneTrial:
        now = self._now
        if now is None or not now.running or not isinstance(now.trial, MeterTrial):
            raise NotNowError("no calibration runs; begin one")
        return now

    def _tell(self, name: str, **fields: Any) -> None:
        """Have the session let the interface go, or take it back."""
        command = Command(uuid.uuid4().hex, name, fields)
        try:
            self._session.submit(command).result(RESTS_WITHIN_S)
        except TimeoutError:
            if name == "rest":
                raise NotNowError("the bench is busy; try again") from None
        except FluxbenchError:
            if name == "rest":
                raise
