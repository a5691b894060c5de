"""Noise of every track: 20 Hz to 20 kHz, A-weighted, BS.468-4 quasi-peak, and hum apart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import Validity
from fluxbench.measure._blocks import Blocks, EnvelopeCut, SpectralBlock
from fluxbench.measure._hum import HIGHEST_HUM_HZ, HumLine, HumSums
from fluxbench.measure._quasi_peak import Pointers, QuasiPeak
from fluxbench.measure._spectrum import Samples, checked
from fluxbench.measure._tone_piece import band_of
from fluxbench.measure._validity import downgraded
from fluxbench.measure._waveform_stream import WaveformWatch, watched
from fluxbench.trade import a_weighting_db, bs468_response

F64 = NDArray[np.float64]

LOWEST_HZ = 20.0
HIGHEST_HZ = 20_000.0
SHORTEST_S = 1.0
_BLOCK_S = 0.64
_DETECTOR_RATE_HZ = 48_000.0
_HUM_PIECE_S = 32.0
_SILENCE = 1e-19
_TOGETHER = 2
"""Tracks whose spectra are worked on at once: what the nearest cache can hold."""
_TYPICAL_HZ = 1000.0


@dataclass(frozen=True, slots=True)
class NoiseReading:
    """Noise; arrays have one number a track, NaN if not valid. A full-scale sine is 0 dBFS.

    `bs468_dbfs` is the mean of the quasi-peak pointer re its reading of a full-scale 1 kHz sine,
    `bs468_highest_dbfs` its highest place. `without_hum_dbfs` is the band without the hum lines.
    """

    duration_s: float
    unweighted_dbfs: F64
    unweighted_standard_error_db: F64
    a_weighted_dbfs: F64
    a_weighted_standard_error_db: F64
    bs468_dbfs: F64
    bs468_standard_error_db: F64
    bs468_highest_dbfs: F64
    without_hum_dbfs: F64
    hum: tuple[tuple[HumLine, ...], ...]
    """Of every track, rising in frequency; empty where nothing stands out."""
    validity: tuple[Validity, ...]


def noise(samples: Samples, rate_hz: float) -> NoiseReading:
    """Measure the noise of samples that hold nothing else.

    Parameters
    ----------
    samples
        Shape (frames, tracks), full scale 1; 1 s or more, 10 s for the spread to be worth much.
    rate_hz
        Sample rate in Hz.

    Returns
    -------
    NoiseReading
        `TOO_SHORT` below 1 s, `NO_SIGNAL` for digital silence.

    Raises
    ------
    MisuseError
        Samples are not (frames, tracks), or a rate of 0.

    Notes
    -----
    Power spectra under a raised-cosine window give the band and the A-weighting (IEC 61672-1,
    without an upper limit but half the rate). The network of ITU-R BS.468-4 and its detector give
    the quasi-peak; the pointer's first 0.7 s do not count. Hum is looked for at multiples of 50
    and 60 Hz, within 0.4 % (1 Hz in 3 s or less), and told only if it has a top of its own there
    and noise would not do the same once in 100 million lines.

    Examples
    --------
    White noise of -60 dBFS up to 24 kHz: 0.8 dB less up to 20 kHz.

    >>> white = 1e-3 / 2**0.5 * np.random.default_rng(1).standard_normal((96_000, 1))
    >>> reading = noise(white, 48_000)
    >>> round(float(reading.unweighted_dbfs[0]), 1), reading.hum
    (-60.8, ((),))
    """
    stream = NoiseStream(rate_hz, checked(samples, rate_hz).shape[1])
    stream.add(samples)
    return stream.reading()


class NoiseStream:
    """The same as `noise`, from blocks of any length: memory does not grow with time.

    Parameters
    ----------
    rate_hz
        Sample rate in Hz.
    tracks
        How many tracks the blocks have.
    """

    def __init__(self, rate_hz: float, tracks: int) -> None:
        self._rate_hz, self._tracks = rate_hz, tracks
        self._blocks = Blocks(rate_hz, tracks, _BLOCK_S)
        frames = self._blocks.frames
        at_hz = np.arange(1, frames // 2) * rate_hz / frames
        inside = (at_hz >= LOWEST_HZ) & (at_hz <= HIGHEST_HZ)
        scale = 0.5 / (0.375 * frames * frames)
        weights = [inside * scale, 10.0 ** (a_weighting_db(at_hz) / 10.0) * scale]
        self._weights = np.stack(weights, axis=1).astype(np.float32)
        points = int(fft.next_fast_len(-(-round(frames * _DETECTOR_RATE_HZ / rate_hz) // 16))) * 16
        self._points = points
        lines = min(points // 2, frames // 2)
        network = bs468_response(np.arange(lines) * rate_hz / frames) * points / frames
        self._network = network.astype(np.complex64)
        self._detector = QuasiPeak(points * rate_hz / frames, tracks)
        self._hum_cut = EnvelopeCut(self._blocks, 0.0, HIGHEST_HUM_HZ + 20.0)
        self._hum = HumSums(tracks)
        self._watch = WaveformWatch(tracks, rate_hz, _TYPICAL_HZ)
        self._frames = 0
        self._powers: list[F64] = []
        self._low: list[NDArray[np.complex64]] = []
        self._pointers = Pointers(self._detector.points_per_s)

    def add(self, samples: Samples) -> None:
        """Take the next frames, shape (frames, tracks), full scale 1."""
        for block in self._blocks.add(samples):
            self._take(block)

    @property
    def hop_frames(self) -> int:
        """Where one stream ends another may begin, at a multiple of so many frames.

        The earlier one needs `overlap_frames` after that as well.
        """
        return self._blocks.hop

    @property
    def overlap_frames(self) -> int:
        """How many frames a block shares with the next."""
        return self._blocks.overlap

    def end(self) -> None:
        """Nothing can be added afterwards; what the stream holds of the samples is let go."""
        for block in self._blocks.rest():
            self._take(block)
        self._look_for_hum()
        self._frames = self._blocks.total
        self._blocks.let_go()
        self._weights, self._network = self._weights[:0].copy(), self._network[:0].copy()

    def also(self, later: "NoiseStream") -> None:
        """Take in what another stream, ended like this one, measured of what followed."""
        self._frames += later._frames
        self._watch.also(later._watch)
        self._powers += later._powers
        self._hum.also(later._hum)
        self._pointers.also(later._pointers)

    def reading(self) -> NoiseReading:
        """What was measured; nothing can be added afterwards."""
        if not self._frames:
            self.end()
        duration_s = self._frames / self._rate_hz
        validity = self._watch.validity(duration_s < SHORTEST_S)
        if not self._powers:
            return _nothing(duration_s, validity)
        powers = np.stack(self._powers)
        heard = powers[:, :, 0].mean(axis=0) > _SILENCE
        validity = downgraded(validity, heard, Validity.NO_SIGNAL)
        ok = np.array([v is Validity.OK for v in validity], bool)
        (unweighted, unweighted_error), (weighted, weighted_error) = (
            _level(powers[:, :, kind]) for kind in (0, 1)
        )
        pointer, pointer_error, highest = self._pointers.levels()
        lines = self._hum.lines()
        hum_power = np.array(
            [sum(0.5 * 10.0 ** (h.level_dbfs / 10.0) for h in track) for track in lines]
        )
        rest = np.maximum(powers[:, :, 0].mean(axis=0) - hum_power, 1e-30)

        def kept(values: F64) -> F64:
            return np.where(ok, values, np.nan)

        return NoiseReading(
            duration_s,
            kept(unweighted),
            kept(unweighted_error),
            kept(weighted),
            kept(weighted_error),
            kept(pointer),
            kept(pointer_error),
            kept(highest),
            kept(10.0 * np.log10(2.0 * rest)),
            tuple(track if fit else () for track, fit in zip(lines, ok, strict=True)),
            validity,
        )

    def _take(self, block: SpectralBlock) -> None:
        watched(block, self._watch, self._blocks.overlap)
        if block.used == self._blocks.frames:
            self._powers.append(self._power(block.spectrum))
        self._pointers.add(self._detector.add(self._through_network(block)))
        self._low.append(self._hum_cut.of(block, self._blocks.frames))
        step_s = self._blocks.hop / self._rate_hz
        if len(self._low) * step_s >= _HUM_PIECE_S:
            self._look_for_hum()

    def _power(self, spectrum: NDArray[np.complex64]) -> F64:
        """Mean square of a block, (tracks, band and A-weighted), under a raised cosine."""
        power = np.empty((self._tracks, self._weights.shape[1]))
        for some in range(0, self._tracks, _TOGETHER):
            lines = spectrum[some : some + _TOGETHER, : len(self._weights) + 2]
            windowed = lines[:, :-2] + lines[:, 2:]
            windowed *= np.float32(-0.5)
            windowed += lines[:, 1:-1]
            parts = windowed.view(np.float32)
            np.square(parts, out=parts)
            squares = parts[:, ::2] + parts[:, 1::2]
            power[some : some + _TOGETHER] = squares @ self._weights
        return power

    def _through_network(self, block: SpectralBlock) -> NDArray[np.float32]:
        shaped = np.zeros((self._tracks, self._points // 2 + 1), np.complex64)
        lines = len(self._network)
        np.multiply(block.spectrum[:, :lines], self._network, out=shaped[:, :lines])
        weighted = fft.irfft(shaped, self._points, axis=1)
        edge = self._points // 16
        used = int(block.used * self._points / self._blocks.frames)
        return np.asarray(weighted[:, edge : max(used - edge, edge)])

    def _look_for_hum(self) -> None:
        """Pieces shorter than a second cannot tell lines from noise."""
        if not self._low:
            return
        low = np.concatenate(self._low, axis=1)
        duration_s = low.shape[1] / self._hum_cut.rate_hz
        if duration_s >= SHORTEST_S / 2:
            self._hum.add(band_of(self._hum_cut, low, 0.25 * duration_s))
        self._low = []


def _level(powers: F64) -> tuple[F64, F64]:
    """Level of the mean of block powers (blocks, tracks), and its standard error in dB."""
    mean = powers.mean(axis=0)
    blocks = len(powers)
    error = np.std(powers, axis=0, ddof=1) / np.sqrt(blocks) if blocks > 1 else np.nan * mean
    relative = error / np.maximum(mean, 1e-30)
    return 10.0 * np.log10(np.maximum(2.0 * mean, 1e-30)), 10.0 / np.log(10.0) * relative


def _nothing(duration_s: float, validity: tuple[Validity, ...]) -> NoiseReading:
    nothing = np.full(len(validity), np.nan)
    return NoiseReading(duration_s, *(nothing,) * 8, ((),) * len(validity), validity)
