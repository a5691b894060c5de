"""Drop-outs, counted while short waves are read for other reasons; they never move a reading."""

import numpy as np
from numpy.typing import NDArray

DEEP_DB = 3.0
SHORT_HZ = 5000.0
"""A drop-out is a spacing for a moment: longer waves hardly show it."""


class DropoutCount:
    """How often each track falls by 3 dB and more for some milliseconds, by what the tape does."""

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self._count: dict[str, NDArray[np.int_]] = {}
        self._minutes: dict[str, NDArray[np.float64]] = {}

    def see(
        self,
        envelope: NDArray[np.complex64],
        tones_hz: tuple[float, ...],
        source: str,
        live: NDArray[np.bool_],
    ) -> None:
        """Take 0.1 s of envelopes (points, tones, tracks) of the tracks that are live (tracks,)."""
        shortest = int(np.argmax(tones_hz))
        if tones_hz[shortest] < SHORT_HZ:
            return
        size = np.abs(envelope[:, shortest])
        deep = size < 10.0 ** (-DEEP_DB / 20.0) * np.median(size, axis=0)
        falls = np.where(live, (deep[1:] & ~deep[:-1]).sum(axis=0), 0)
        self._count[source] = self._count.get(source, np.zeros(self._tracks, int)) + falls
        self._minutes[source] = self._heard(source) + live * (0.1 / 60.0)

    def per_minute(self, source: str) -> tuple[NDArray[np.float64], float]:
        """Drop-outs a minute (tracks,), and over how many minutes at most they were counted."""
        minutes = self._heard(source)
        count = self._count.get(source, np.zeros(self._tracks, int))
        return count / np.maximum(minutes, 1e-9), float(minutes.max())

    def _heard(self, source: str) -> NDArray[np.float64]:
        return self._minutes.get(source, np.zeros(self._tracks))
