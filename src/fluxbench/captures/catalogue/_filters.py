"""The filters of a corrected copy: one finite response a track, and a resampler of any ratio."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.captures.catalogue._corrections import Corrections
from fluxbench.trade import Equalisation

F64 = NDArray[np.float64]

_GRID_S = 0.7
_LONG_TAIL_S = 0.37
"""A wave of 3 Hz has died away by then."""

_SHAPE_TAPS = 2048
_DELAY_TAPS = 255
_KAISER = 10.0
_BLOCK = 1 << 15
_LOWEST_HZ = 3.0
"""Below, the correction of long waves goes no further: 0.02 dB at 50 Hz."""

_PHASES = 1024
_RESAMPLE_TAPS = 128
_SPARE_BAND = 0.97
"""Of the band that both rates have: the resampler falls from here to its end."""


def equalisation_response_db(
    played: Equalisation, recorded: Equalisation, hz: F64, speed_ratio: float, reference_hz: float
) -> F64:
    """What puts right a reel recorded to one and played with another, 0 at the reference tone.

    Played too fast, a wave that was recorded at f comes at f times `speed_ratio`.
    """

    def level_db(at_hz: F64) -> F64:
        return np.asarray(
            _flux_db(played, at_hz) - _flux_db(recorded, at_hz / speed_ratio), np.float64
        )

    return level_db(hz) - level_db(np.array(reference_hz * speed_ratio))


def _flux_db(equalisation: Equalisation, hz: F64) -> F64:
    """IEC 60094-1 clause 15, the rise of long waves ended at 3 Hz."""
    if equalisation.t1_us is None:
        return np.asarray(equalisation.flux_level_db(hz))
    return np.asarray(equalisation.flux_level_db(np.hypot(hz, _LOWEST_HZ)))


def responses(corrections: Corrections, rate_hz: int) -> tuple[F64, int]:
    """Impulse responses, (tracks, taps), and the frames by which they all come late."""
    shape = np.ones(1)
    if corrections.played is not None and corrections.recorded is not None:
        shape = minimum_phase(corrections, rate_hz)
    late = 0
    rows = []
    for gain_db, way, advance_us in zip(
        corrections.gain_db, corrections.polarity, corrections.advance_us, strict=True
    ):
        gain = way * 10.0 ** (gain_db / 20.0)
        row = gain * shape
        if any(corrections.advance_us):
            late = _lateness(corrections, rate_hz)
            row = np.convolve(row, delay_taps(late - 1e-6 * advance_us * rate_hz, late))
        rows.append(row)
    return np.stack(rows), late


def _lateness(corrections: Corrections, rate_hz: int) -> int:
    most_s = 1e-6 * max(map(abs, corrections.advance_us))
    return _DELAY_TAPS // 2 + int(np.ceil(most_s * rate_hz)) + 1


def delay_taps(delay_frames: float, late: int) -> F64:
    """A delay of a fraction of a frame: a sinc under a Kaiser window that lies where it does."""
    places = np.arange(2 * late + 1) - delay_frames
    half = _DELAY_TAPS / 2.0
    inside = np.abs(places) <= half
    bend = np.sqrt(np.maximum(1.0 - (places / half) ** 2, 0.0))
    return np.where(inside, np.sinc(places) * np.i0(_KAISER * bend) / np.i0(_KAISER), 0.0)


def minimum_phase(corrections: Corrections, rate_hz: int) -> F64:
    """The equalisation correction as a response of least phase, as the networks of a deck have.

    By the folded cepstrum of its level (Oppenheim and Schafer, from memory).
    """
    if corrections.played is None or corrections.recorded is None:
        return np.ones(1)
    grid = 1 << int(np.ceil(np.log2(_GRID_S * rate_hz)))
    hz = np.arange(grid // 2 + 1) * rate_hz / grid
    hz[0] = hz[1] / 100.0
    level_db = equalisation_response_db(
        corrections.played,
        corrections.recorded,
        hz,
        corrections.speed_ratio,
        corrections.reference_hz,
    )
    cepstrum = fft.irfft(level_db * np.log(10.0) / 20.0)
    cepstrum[1 : grid // 2] *= 2.0
    cepstrum[grid // 2 + 1 :] = 0.0
    taps = fft.irfft(np.exp(fft.rfft(cepstrum)))
    long = corrections.played.t1_us != corrections.recorded.t1_us
    length = round(_LONG_TAIL_S * rate_hz) if long else _SHAPE_TAPS
    return np.asarray(taps[:length])


def filtered(blocks: Iterable[NDArray[np.float32]], rows: F64, late: int) -> Iterator[F64]:
    """Each track through its response; as many frames as came, none late.

    Blocks have shape (frames, tracks). Overlap and add.
    """
    taps = rows.shape[1]
    size = int(fft.next_fast_len(_BLOCK + taps - 1, real=True))
    spectra = fft.rfft(rows, size, axis=1)
    tail = np.zeros((len(rows), taps - 1))
    skipped = 0
    frames_in = frames_out = 0

    def through(piece: F64) -> F64:
        nonlocal tail
        whole = fft.irfft(fft.rfft(piece.T, size, axis=1) * spectra, size, axis=1)
        whole = whole[:, : len(piece) + taps - 1]
        whole[:, : taps - 1] += tail
        tail = whole[:, len(piece) :]
        return np.asarray(whole[:, : len(piece)].T)

    for block in blocks:
        frames_in += len(block)
        for at in range(0, len(block), _BLOCK):
            made = through(np.asarray(block[at : at + _BLOCK], np.float64))
            drop = min(late - skipped, len(made))
            skipped += drop
            frames_out += len(made) - drop
            if drop < len(made):
                yield made[drop:]
    while frames_out < frames_in:
        made = through(np.zeros((min(_BLOCK, frames_in - frames_out + late - skipped), len(rows))))
        drop = min(late - skipped, len(made))
        skipped += drop
        kept = made[drop:][: frames_in - frames_out]
        frames_out += len(kept)
        if len(kept):
            yield kept


def resampled_frames(frames: int, ratio: float) -> int:
    """How many frames are left of so many."""
    return max(int(np.floor(frames / ratio)), 1)


def resampled(blocks: Iterable[F64], frames: int, ratio: float) -> Iterator[F64]:
    """Read faster by `ratio` (slower below 1): a windowed sinc between 1024 places of a frame."""
    half = _RESAMPLE_TAPS // 2
    table = _sinc_table(ratio)
    wanted, done, first = resampled_frames(frames, ratio), 0, -half
    held: F64 | None = None
    ended = False
    source = iter(blocks)
    while done < wanted:
        block = next(source, None)
        if block is None:
            ended = True
            if held is None:
                return
            block = np.zeros((_RESAMPLE_TAPS + 2, held.shape[1]))
        held = np.concatenate([np.zeros((half, block.shape[1])) if held is None else held, block])
        last = first + len(held)
        count = max(int(np.floor((last - half - 1) / ratio)) - done + 1, 0)
        count = min(count, wanted - done)
        for at in range(done, done + count, 4096):
            places = np.arange(at, min(at + 4096, done + count), dtype=np.float64) * ratio
            yield _between(held, np.asarray(places - first, np.float64), table)
        done += count
        keep = int(np.floor(done * ratio)) - half - first
        held, first = held[max(keep, 0) :], first + max(keep, 0)
        if ended and count == 0:
            return


def _between(held: F64, places: F64, table: F64) -> F64:
    """Samples at places between frames, by the two nearest rows of the table."""
    half = _RESAMPLE_TAPS // 2
    whole = np.floor(places).astype(int)
    phase = (places - whole) * _PHASES
    row = phase.astype(int)
    share = (phase - row)[:, None]
    taps = (1.0 - share) * table[row] + share * table[row + 1]
    windows = np.lib.stride_tricks.sliding_window_view(held, _RESAMPLE_TAPS, axis=0)
    return np.asarray(np.einsum("ijk,ik->ij", windows[whole - half + 1], taps))


def _sinc_table(ratio: float) -> F64:
    """(phases + 1, taps): sincs that end at the lower of both bands."""
    half = _RESAMPLE_TAPS // 2
    band = _SPARE_BAND * min(1.0, 1.0 / ratio)
    places = np.arange(-half + 1, half + 1) - np.arange(_PHASES + 1)[:, None] / _PHASES
    window = np.i0(_KAISER * np.sqrt(np.maximum(1.0 - (places / half) ** 2, 0.0)))
    taps = band * np.sinc(band * places) * window
    return np.asarray(taps / taps.sum(axis=1, keepdims=True))
