"""What has been recorded: the newest 30 s of flux, with where on the tape each frame lies."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._product import product
from fluxbench.deck._random import between

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

KEPT_S = 30
KNOTS_PER_S = 200


class TapeMemory:
    """Flux by frames, in chunks of a second.

    A frame n lies at n/rate + lead, in seconds of even motion, since the tape did not move evenly
    while it was recorded. Unrecorded tape reads 0, or not-a-number on a tape with a signal of its
    own. Older recordings than 30 s read as erased.
    """

    def __init__(self, rate_hz: int, tracks: int, *, own_signal: bool) -> None:
        self._rate_hz = rate_hz
        self._tracks = tracks
        self._untouched = np.nan if own_signal else 0.0
        self._flux: dict[int, F32] = {}
        self._lead_s: dict[int, F64] = {}
        self._slant_arcmin: dict[int, float] = {}
        self._written: dict[int, int] = {}
        self._touched: dict[int, NDArray[np.bool_]] = {}
        """Which tracks were ever recorded on in each second; its flux may be gone by now."""

    @property
    def empty(self) -> bool:
        """Whether nothing was ever recorded."""
        return not self._touched

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
            self._touched[chunk][tracks] = True
            self._lead_s[chunk][there] = lead_s[here]
            self._slant_arcmin[chunk] = slant_arcmin
            self._written[chunk] = max(self._written.get(chunk, 0), there.stop)

    @property
    def touched_chunks(self) -> dict[int, list[int]]:
        """Tracks (from 0) that were recorded on in each second."""
        return {chunk: np.flatnonzero(mask).tolist() for chunk, mask in self._touched.items()}

    def forget(self, touched_chunks: dict[int, list[int]]) -> None:
        """Take these tracks in these seconds for recorded over, with nothing left to read."""
        for chunk, tracks in touched_chunks.items():
            mask = np.zeros(self._tracks, np.bool_)
            mask[tracks] = True
            self._touched[chunk] = mask

    def touched(self, first: int, frames: int) -> bool:
        """Whether anything was ever recorded there."""
        return any(
            chunk in self._touched
            and (chunk not in self._flux or there.start < self._written.get(chunk, 0))
            for chunk, _, there in self._pieces(first, frames)
        )

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

    def slant_at(self, frame: int, untouched_arcmin: float) -> float:
        """Azimuth of the recording at a frame (the last one of its second), arc-minutes."""
        return self._slant_arcmin.get(frame // self._rate_hz, untouched_arcmin)

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
                spare = self._flux.pop(next(iter(self._flux)))
            blank = self._gone(chunk, slice(0, self._rate_hz))
            if spare is None:
                spare = blank.copy()
            else:
                spare[:] = blank
            self._flux[chunk] = spare
            self._touched.setdefault(chunk, np.zeros(self._tracks, np.bool_))
            self._lead_s.setdefault(chunk, np.zeros(self._rate_hz))
        else:
            self._flux[chunk] = self._flux.pop(chunk)  # the newest stands last
        return self._flux[chunk]

    def _gone(self, chunk: int, there: slice) -> F32:
        """What reads where no flux is kept."""
        row = np.full(self._tracks, self._untouched, np.float32)
        if chunk in self._touched:
            row[self._touched[chunk]] = 0.0
        return np.broadcast_to(row, (there.stop - there.start, self._tracks))


class LaidDown:
    """How the tape ran over the record head: spacing and delay of each track, 200 knots a second.

    Both commute with everything behind the bend, so they are carried out at the reproduce head,
    for what lies under it: one filter does for both heads.
    """

    def __init__(self, rate_hz: int, tracks: int) -> None:
        self.step_frames = rate_hz // KNOTS_PER_S
        self._tracks = tracks
        self._knots: dict[int, F32] = {}
        self._nothing = np.zeros((2, tracks), np.float32)

    @property
    def empty(self) -> bool:
        """Whether nothing was ever recorded."""
        return not self._knots

    def knots_in(self, first: int, frames: int) -> range:
        """The knots that lie in some frames."""
        step = self.step_frames
        return range(-(-first // step), -(-(first + frames) // step))

    def write(self, knots: range, spacing_um: F32, delay_s: F64, tracks: NDArray[np.int_]) -> None:
        """Remember knots: spacing (knots, tracks) and delay (tracks,) of some tracks, from 0."""
        for row, knot in enumerate(knots):
            place = self._place(knot)
            place[0, tracks] = spacing_um[row, tracks]
            place[1, tracks] = delay_s[tracks]

    def read(self, at: F64) -> tuple[F32, F64]:
        """Spacing in um (frames, tracks) at fractional frames, and delay in s at the last one."""
        where = at / self.step_frames
        low, high = int(np.floor(where[0])), int(np.floor(where[-1])) + 2
        values = np.stack([self._value(knot) for knot in range(low, high)])
        weights = between(where - low, high - low)
        delay_s = np.asarray(weights[-1] @ values[:, 1], np.float64)
        return product(weights, values[:, 0]), delay_s

    def _value(self, knot: int) -> F32:
        block = self._knots.get(knot // KNOTS_PER_S)
        return self._nothing if block is None else np.asarray(block[knot % KNOTS_PER_S])

    def _place(self, knot: int) -> F32:
        number = knot // KNOTS_PER_S
        if number not in self._knots:
            if len(self._knots) > 2 * KEPT_S:
                self._knots.pop(next(iter(self._knots)))
            self._knots[number] = np.zeros((KNOTS_PER_S, 2, self._tracks), np.float32)
        return np.asarray(self._knots[number][knot % KNOTS_PER_S])
