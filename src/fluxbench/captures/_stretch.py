"""A stretch of a capture: its samples block by block, in parts, or of a few tracks at a time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._header import Header
from fluxbench.captures._scan import Scan
from fluxbench.captures._source import Source

_ABSURD = 1e4
_AT_ONCE = 1 << 23
"""Frames times tracks of a multitone or sweep that are held at once: 32 MB."""


@dataclass(frozen=True, slots=True)
class Capture:
    """What measuring a section needs to know of the file that it lies in."""

    path: str
    header: Header
    tracks: tuple[int, ...]
    first_frame: int
    """Of what is read; the scan's first hop begins here."""
    scan: Scan
    flutter_hz: tuple[float, ...] = ()
    """Tones that flutter is read from as well as from speed tones."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The frames of a section that are measured."""

    capture: Capture
    first: int
    last: int
    told: Callable[[int], None]

    @property
    def rate_hz(self) -> int:
        """Frames a second."""
        return self.capture.header.rate_hz

    @property
    def seconds(self) -> float:
        """How long it is."""
        return (self.last - self.first) / self.rate_hz

    def parts(self, seconds: float, hop_frames: int, more_frames: int) -> list["Stretch"]:
        """Parts of about so long; each begins a multiple of hops after the first.

        Those before another have so many frames more than up to where it begins.
        """
        length = -(-round(seconds * self.rate_hz) // hop_frames) * hop_frames
        count = max((self.last - self.first) // length, 1)
        ends = [self.first + k * length + more_frames for k in range(1, count)]
        return [
            replace(self, first=self.first + k * length, last=min(last, self.last))
            for k, last in enumerate([*ends, self.last])
        ]

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """All of it, block by block."""
        with Source(self.capture.path, self.capture.header, self.capture.tracks) as source:
            for block in source.blocks(self.first, self.last):
                yield block
                self.told(len(block))

    def groups(self, at_once: int = _AT_ONCE) -> Iterator[NDArray[np.float32]]:
        """All frames of a few tracks at a time, so many as can be held: frames times tracks."""
        tracks, frames = self.capture.tracks, self.last - self.first
        many = max(at_once // max(frames, 1), 1)
        for at in range(0, len(tracks), many):
            some = tracks[at : at + many]
            with Source(self.capture.path, self.capture.header, some) as source:
                whole = np.empty((len(some), frames), np.float32).T
                at = 0
                for block in source.blocks(self.first, self.last):
                    fit = np.abs(block) < _ABSURD
                    whole[at : at + len(block)] = np.where(fit, block, np.float32(np.nan))
                    at += len(block)
            yield whole
            self.told(frames * len(some) // len(tracks))
