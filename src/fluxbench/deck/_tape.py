"""What has been recorded: the newest 30 s of flux, with where on the tape each frame lies."""

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

KEPT_S = 30


class TapeMemory:
    """Flux by frames, in chunks of a second.

    A frame n lies at n/rate + lead, in seconds of even motion, since the tape did not move evenly
    while it was recorded. `untouched` is what unrecorded tape reads: 0, or not-a-number for a tape
    that has a signal of its own. Older recordings than 30 s read as erased.
    """

    def __init__(self, rate_hz: int, tracks: int, untouched: float) -> None:
        self._rate_hz = rate_hz
        self._tracks = tracks
        self._untouched = untouched
        self._flux: dict[int, F32] = {}
        self._lead_s: dict[int, F64] = {}
        self._slant_arcmin: dict[int, float] = {}
        self._forgotten: dict[int, NDArray[np.bool_]] = {}

    @property
    def empty(self) -> bool:
        """Whether nothing was ever recorded."""
        return not self._flux

    def write(
        self, first: int, flux: F32, lead_s: F64, slant_arcmin: float, tracks: NDArray[np.int_]
    ) -> None:
        """Lay down frames (frames, all tracks) on some tracks, counted from 0."""
        every = len(tracks) == self._tracks
        for chunk, here, there in self._pieces(first, len(flux)):
            kept = self._chunk(chunk)
            if every:
                kept[there] = flux[here]
            else:
                kept[there, tracks] = flux[here, tracks]
            self._lead_s[chunk][there] = lead_s[here]
            self._slant_arcmin[chunk] = slant_arcmin

    def read(self, first: int, frames: int) -> F32:
        """The flux (frames, tracks) from a frame on."""
        pieces = [
            self._flux[chunk][there] if chunk in self._flux else self._gone(chunk, there)
            for chunk, _, there in self._pieces(first, frames)
        ]
        return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)

    def frame_of(self, place_s: F64) -> F64:
        """The fractional frames (frames,) that lie at places, which ascend."""
        rate = self._rate_hz
        guess = place_s[0] * rate
        guess -= self._lead_at(int(guess)) * rate
        guess -= (guess / rate + self._lead_at(int(guess)) - place_s[0]) * rate
        first = int(guess) - 64
        count = int((place_s[-1] - place_s[0]) * rate) + 192
        lead = np.zeros(count)
        for chunk, here, there in self._pieces(first, count):
            if chunk in self._lead_s:
                lead[here] = self._lead_s[chunk][there]
        frames = first + np.arange(count)
        return np.interp(place_s, frames / rate + lead, frames)

    def slant_at(self, frame: int) -> float:
        """Azimuth of the recording at a frame (the last one of its second), arc-minutes."""
        return self._slant_arcmin.get(frame // self._rate_hz, 0.0)

    def _lead_at(self, frame: int) -> float:
        chunk = self._lead_s.get(frame // self._rate_hz)
        return 0.0 if chunk is None else float(chunk[frame % self._rate_hz])

    def _pieces(self, first: int, frames: int) -> list[tuple[int, slice, slice]]:
        """Chunk number, slice of the request, slice of the chunk."""
        size = self._rate_hz
        pieces = []
        at = first
        while at < first + frames:
            chunk, begin = divmod(at, size)
            end = min(size, begin + first + frames - at)
            pieces.append((chunk, slice(at - first, at - first + end - begin), slice(begin, end)))
            at += end - begin
        return pieces

    def _chunk(self, chunk: int) -> F32:
        if chunk not in self._flux:
            spare = None
            if len(self._flux) >= KEPT_S:
                oldest = next(iter(self._flux))
                spare = self._flux.pop(oldest)
                self._forgotten[oldest] = ~np.isnan(spare).all(axis=0)
            blank = self._gone(chunk, slice(0, self._rate_hz))
            if spare is None:
                spare = blank.copy()
            else:
                spare[:] = blank
            self._forgotten.pop(chunk, None)
            self._flux[chunk] = spare
            self._lead_s.setdefault(chunk, np.zeros(self._rate_hz))
        else:
            self._flux[chunk] = self._flux.pop(chunk)  # the newest stands last
        return self._flux[chunk]

    def _gone(self, chunk: int, there: slice) -> F32:
        """What reads where no flux is kept."""
        row = np.full(self._tracks, self._untouched, np.float32)
        if chunk in self._forgotten:
            row[self._forgotten[chunk]] = 0.0
        return np.broadcast_to(row, (there.stop - there.start, self._tracks))
