"""A tone of any length from blocks: everything that is asked of it in one pass."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.measure._blocks import Blocks, EnvelopeCut, SpectralBlock, block_seconds
from fluxbench.measure._drop_outs import LOWEST_HZ
from fluxbench.measure._flutter_parts import RotatingPart
from fluxbench.measure._frequency import ORDERS, half_band_hz
from fluxbench.measure._missing import MissingFrames
from fluxbench.measure._spectrum import Samples, checked
from fluxbench.measure._tone_merge import taken_together
from fluxbench.measure._tone_piece import Piece, ToneTake, short_take, work_out
from fluxbench.measure._waveform_stream import WaveformWatch, watched

_SEARCH = 0.01
_LEAST_BLOCK_S = 0.64
_WIDE_HZ = 400.0
_WIDE_TRANSITION_HZ = 80.0
_FINE_RATE_HZ = 4000.0
_PIECE_S = (4.0, 32.0)
_FLUTTER_PIECE_S = 8.0
_MORE_RATIO = 0.25
_PIECE_BYTES = 12e6
"""A piece is worked out at once: 32 s, less where its envelopes would take more than 12 MB; the
last one may be longer by a quarter, or shorter."""


@dataclass(frozen=True, slots=True)
class TonePart:
    """What one stream measured of a take: its pieces, and the state of its waveform.

    `missing_s` is where frames are missing, in s from the start of the take.
    """

    takes: tuple[ToneTake, ...]
    watch: WaveformWatch
    missing_s: tuple[float, ...] = ()


class ToneStream:
    """Measures a tone from blocks of any length; memory does not grow with time.

    Parameters
    ----------
    rate_hz
        Sample rate in Hz.
    tracks
        How many tracks the blocks have.
    frequency_hz
        Where the tone was found, within 1 %.
    positions_mm
        The place of each track across the tape; track numbers if left out, so that slopes are
        per track.
    with_flutter
        For speed tones: measure wow and flutter too.
    parts
        What turns in the deck, for the flutter spectrum.
    first_s
        When the first frame was, in s from the start of the take: streams may share a take, each
        with a part of it. See `hop_frames`.

    Raises
    ------
    MisuseError
        A frequency that is not between 0 and half the rate, or a wrong number of positions.

    Examples
    --------
    >>> sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000)[:, None]
    >>> stream = ToneStream(48_000, 1, 1000.0)
    >>> for first in range(0, 96_000, 4800):
    ...     stream.add(sine[first : first + 4800])
    >>> round(float(stream.reading().tone.level_dbfs[0]), 3)
    -20.0
    """

    def __init__(
        self,
        rate_hz: float,
        tracks: int,
        frequency_hz: float,
        positions_mm: Sequence[float] | None = None,
        *,
        with_flutter: bool = False,
        parts: Sequence[RotatingPart] = (),
        first_s: float = 0.0,
    ) -> None:
        checked(np.zeros((0, tracks)), rate_hz, frequency_hz)
        places_mm = range(1, tracks + 1) if positions_mm is None else positions_mm
        if len(places_mm) != tracks:
            raise MisuseError(f"{len(places_mm)} positions for {tracks} tracks: give each one")
        self._rate_hz, self._nominal_hz = rate_hz, frequency_hz
        self._positions_mm = [float(place) for place in places_mm]
        self._parts = tuple(parts) if with_flutter else None
        half_hz, transition_hz, fine_hz = _room(frequency_hz)
        self._blocks = Blocks(rate_hz, tracks, max(_LEAST_BLOCK_S, block_seconds(transition_hz)))
        self._cuts = [EnvelopeCut(self._blocks, frequency_hz, half_hz, fine_hz)]
        self._cuts += [
            EnvelopeCut(self._blocks, order * frequency_hz, _beside(order, frequency_hz))
            for order in ORDERS
        ]
        self._watch = WaveformWatch(tracks, rate_hz, frequency_hz)
        self._missing = MissingFrames(rate_hz, frequency_hz, first_s)
        self._piece_s = self._longest_piece_s(tracks)
        self._held: list[list[NDArray[np.complex64]]] = []
        """Of every block, an envelope a cut."""
        self._worked_out_s = first_s
        self._pieces: list[ToneTake] = []

    def add(self, samples: Samples) -> None:
        """Take the next frames, shape (frames, tracks), full scale 1."""
        for block in self._blocks.add(samples):
            self._take(block)
            if len(self._held) * self._step_s >= (1.0 + _MORE_RATIO) * self._piece_s:
                self._work_out(int(self._piece_s / self._step_s))

    @property
    def hop_frames(self) -> int:
        """Where one stream of a take ends another may begin, at a multiple of so many frames.

        The earlier one needs `block_frames` after that as well.
        """
        return self._blocks.hop

    @property
    def block_frames(self) -> int:
        """How many frames one block has."""
        return self._blocks.frames

    @property
    def piece_s(self) -> float:
        """What is worked out at once, in s."""
        return self._piece_s

    def reading(self) -> ToneTake:
        """What was measured; nothing can be added afterwards.

        Takes shorter than a block (0.64 s, more for tones below 160 Hz) have no drop-outs,
        flutter or level along the reel.
        """
        return tone_of([self.part()])

    def part(self, *, goes_on: bool = False) -> TonePart:
        """What was measured, for `tone_of`; nothing can be added afterwards.

        If the take goes on in another stream the last block is only looked at for what begins
        before it.
        """
        if self._blocks.total < self._blocks.frames:
            held = self._blocks.held.T
            take = short_take(held, self._rate_hz, self._nominal_hz, self._positions_mm)
            self._missing.look(self._blocks.held, np.square(self._blocks.held).mean(axis=1), 0)
            return TonePart((take,), self._watch, tuple(self._missing.at_s))
        if not goes_on:
            for block in self._blocks.rest():
                self._take(block)
        self._work_out(len(self._held) - goes_on)
        return TonePart(tuple(self._pieces), self._watch, tuple(self._missing.at_s))

    @property
    def _step_s(self) -> float:
        return self._blocks.hop / self._rate_hz

    def _longest_piece_s(self, tracks: int) -> float:
        least_s = _PIECE_S[0] if self._parts is None else _FLUTTER_PIECE_S
        bytes_per_s = 8.0 * tracks * sum(cut.rate_hz for cut in self._cuts)
        return float(np.clip(_PIECE_BYTES / bytes_per_s, least_s, _PIECE_S[1]))

    def _take(self, block: SpectralBlock) -> None:
        watched(block, self._watch, self._blocks.overlap)
        middle, reach = self._cuts[0].middle, int(_SEARCH * self._cuts[0].middle) + 8
        near = block.spectrum[:, max(middle - reach, 1) : middle + reach + 1]
        strength = np.square(np.abs(near)).sum(axis=1, dtype=np.float64)
        self._missing.look(block.samples[:, : block.used], strength, block.first_frame)
        self._held.append([cut.of(block, self._blocks.frames) for cut in self._cuts])

    def _work_out(self, count: int) -> None:
        """Work out the first blocks held and let them go."""
        some, self._held = self._held[:count], self._held[count:]
        after = self._held[0][0] if self._held else some[0][0][:, :0]
        envelopes = [np.concatenate(each, axis=1) for each in zip(*some, strict=True)]
        some.clear()
        piece = Piece(
            self._cuts,
            envelopes,
            after,
            self._cuts[0].first_s + self._worked_out_s,
            self._nominal_hz,
            self._rate_hz,
            self._watch.validity(),
            self._watch.peak,
            self._worked_out_s > 0.0,
        )
        search_hz = max(_SEARCH * self._nominal_hz, 2.0)
        self._pieces.append(work_out(piece, self._positions_mm, search_hz, self._parts))
        self._worked_out_s += count * self._step_s


def tone_of(parts: Sequence[TonePart]) -> ToneTake:
    """One take of the parts that its streams measured, in order of time."""
    first, *others = parts
    for other in others:
        first.watch.also(other.watch)
    takes = [take for part in parts for take in part.takes]
    whole = taken_together(takes, first.watch.validity())
    return replace(whole, missing_s=tuple(at_s for part in parts for at_s in part.missing_s))


def _room(frequency_hz: float) -> tuple[float, float, float]:
    """Half band, transition and rate of the tone's own envelope.

    Wide and fine for flutter and drop-outs; a low tone has no room for that beside its image at
    the negative frequency.
    """
    if frequency_hz >= LOWEST_HZ:
        wide_hz = max(_WIDE_HZ, 3.0 * half_band_hz(frequency_hz) + _SEARCH * frequency_hz)
        half_hz = min(wide_hz, 0.8 * frequency_hz)
        return half_hz, _WIDE_TRANSITION_HZ, max(_FINE_RATE_HZ, 2.5 * half_hz)
    half_hz = min(3.0 * half_band_hz(frequency_hz) + 2.0, 1.4 * frequency_hz)
    return half_hz, min(0.5 * frequency_hz, _WIDE_TRANSITION_HZ), 0.0


def _beside(order: int, frequency_hz: float) -> float:
    """Half band of a harmonic: its own, the noise beside it, and where it may lie."""
    half_hz = min(half_band_hz(order * frequency_hz), frequency_hz / 3.0)
    return min(3.0 * half_hz, frequency_hz / 2.0) + order * max(_SEARCH * frequency_hz, 2.0)


def take_tone(
    samples: Samples,
    rate_hz: float,
    frequency_hz: float,
    positions_mm: Sequence[float] | None = None,
    *,
    with_flutter: bool = False,
    parts: Sequence[RotatingPart] = (),
) -> ToneTake:
    """Measure everything on a tone that is there as a whole, (frames, tracks).

    Parameters and errors are those of `ToneStream`.

    Examples
    --------
    A second of a tone has no flutter to tell of: 5 s are needed.

    >>> sine = 0.1 * np.sin(2 * np.pi * 3150 * np.arange(48_000) / 48_000)[:, None]
    >>> take_tone(sine, 48_000, 3150.0, with_flutter=True).flutter.validity[0].value
    'too_short'
    """
    stream = ToneStream(
        rate_hz, checked(samples, rate_hz).shape[1], frequency_hz, positions_mm,
        with_flutter=with_flutter, parts=parts,
    )  # fmt: skip
    stream.add(samples)
    return stream.reading()
