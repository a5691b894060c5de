"""A trial of an interface in a process of its own: a loop-back check, or a tone for a meter."""

import signal
from collections import deque
from dataclasses import dataclass
from multiprocessing.connection import Connection

import numpy as np

from fluxbench.engine import LoopCheck
from fluxbench.links import Link
from fluxbench.measure import power_dbfs
from fluxbench.session._engine_process import (
    LinkFactory,
    Ready,
    Room,
    SharedSilence,
    Tried,
)
from fluxbench.signals import Sender, Silence

BLOCK_S = 0.02
LEVELS_BLOCKS = 25
"""Levels are of the last half second."""
TOLD_EVERY = 10
"""Blocks."""
FADE_BLOCKS = 10
TAKEN_WITHIN_S = 10.0


@dataclass(frozen=True, slots=True)
class LoopTrial:
    """A loop-back check, see `engine.LoopCheck`."""

    level_dbfs: float
    tone_s: float


@dataclass(frozen=True, slots=True)
class MeterTrial:
    """Sends what it is told to, and tells the level at every input."""

    level_dbfs: float
    frequency_hz: float


Trial = LoopTrial | MeterTrial


def run_trial(
    trial: Trial,
    open_link: LinkFactory,
    commands: Connection,
    answers: Connection,
    silence: SharedSilence,
) -> None:
    """Run until it is done or told to end, or the session falls silent, or the link fails."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    room = Room(commands, answers)
    room.start()

    def run() -> None:
        link = open_link(silence)
        try:
            room.tell(Ready(link.rate_hz, link.inputs, link.outputs))
            if isinstance(trial, LoopTrial):
                _check(trial, link, room)
            else:
                _stand(link, room)
        finally:
            link.close()

    room.hold(run)


def _check(trial: LoopTrial, link: Link, room: Room) -> None:
    check = LoopCheck(link, trial.level_dbfs, trial.tone_s)
    steps = 0
    while check.result is None and not room.over.is_set():
        if steps % TOLD_EVERY == 0:
            room.tell(Tried(check.doing))
        check.step()
        steps += 1
    if check.result is None:
        _fade(link, Sender(link.rate_hz, link.outputs))
        return
    room.tell(Tried("done", found=check.result))
    room.over.wait(TAKEN_WITHIN_S)


def _stand(link: Link, room: Room) -> None:
    sender, frames = Sender(link.rate_hz, link.outputs), round(BLOCK_S * link.rate_hz)
    powers: deque[np.ndarray] = deque(maxlen=LEVELS_BLOCKS)
    number, blocks = -1, 0
    while not room.over.is_set():
        settings = room.settings
        if settings is not None and settings.number != number:
            number = settings.number
            sender.send(settings.signal)
        returned = link.exchange(sender.block(frames)).samples
        powers.append(2.0 * np.mean(np.square(returned, dtype=np.float64), axis=0))
        blocks += 1
        if blocks % TOLD_EVERY == 0:
            levels_dbfs = power_dbfs(np.mean(powers, axis=0))
            room.tell(Tried("tone", tuple(float(level) for level in levels_dbfs)))
    _fade(link, sender)


def _fade(link: Link, sender: Sender) -> None:
    sender.send(Silence())
    for _ in range(FADE_BLOCKS):
        link.exchange(sender.block(round(BLOCK_S * link.rate_hz)))
