"""Who hears a probe, when and how loud: outputs cabled to inputs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from fluxbench.base import MisuseError

F64 = NDArray[np.float64]

_STANDS_OUT = 8.0
"""How many times the highest place elsewhere a peak has to be."""
_AROUND_FRAMES = 64
QUIETEST_DB = -60.0
"""A gain below this is no cable."""


@dataclass(frozen=True, slots=True)
class ProbeReading:
    """How every input answers to a probe; arrays (inputs,), NaN where it is not heard.

    `gain` is a factor, negative for a return that is reversed; `delay_frames` has fractions.
    """

    gain: F64
    delay_frames: F64


def probe_return(sent: NDArray[np.float32], returned: NDArray[np.float32]) -> ProbeReading:
    """Find a probe in what came back, by correlation.

    Parameters
    ----------
    sent
        Shape (frames,): a sweep, whose correlation with itself has one narrow peak.
    returned
        Shape (frames, inputs), beginning in the moment at which the probe was sent, and longer.

    Returns
    -------
    ProbeReading
        The peak of the correlation over the probe's energy, and its place, by a parabola.

    Raises
    ------
    MisuseError
        The return is not longer than the probe, or the probe is silent.

    Examples
    --------
    >>> from scipy.signal import chirp
    >>> sweep = chirp(np.arange(9600) / 48_000, 200, 0.2, 16_000).astype(np.float32)
    >>> back = np.zeros((12_000, 2), np.float32)
    >>> back[1000 : 1000 + 9600, 1] = -0.5 * sweep
    >>> heard = probe_return(sweep, back)
    >>> [round(float(one), 3) for one in (heard.gain[1], heard.delay_frames[1], heard.gain[0])]
    [-0.5, 1000.0, nan]
    """
    energy = float(np.sum(np.square(sent, dtype=np.float64)))
    if len(returned) <= len(sent) or energy <= 0.0:
        raise MisuseError("a probe needs a return that is longer than what was sent")
    inputs = returned.shape[1]
    gain, delay = np.full(inputs, np.nan), np.full(inputs, np.nan)
    length = int(fft.next_fast_len(len(returned), real=True))
    like = np.conj(fft.rfft(sent.astype(np.float64), length))
    for channel in range(inputs):
        spectrum = fft.rfft(returned[:, channel].astype(np.float64), length)
        against = fft.irfft(spectrum * like, length)[: len(returned) - len(sent) + 1]
        size = np.abs(against)
        top = int(np.argmax(size))
        elsewhere = np.concatenate(
            [size[: max(top - _AROUND_FRAMES, 0)], size[top + _AROUND_FRAMES :]]
        )
        floor = np.sqrt(np.mean(elsewhere**2)) if len(elsewhere) else 0.0
        here = float(against[top]) / energy
        if abs(here) < 10.0 ** (QUIETEST_DB / 20.0) or size[top] < _STANDS_OUT * floor:
            continue
        gain[channel], delay[channel] = here, top + _bow(size, top)
    return ProbeReading(gain, delay)


def _bow(size: F64, top: int) -> float:
    """How far the top of the parabola through a peak is from it, in frames."""
    if not 0 < top < len(size) - 1:
        return 0.0
    before, here, after = size[top - 1 : top + 2]
    bend = before - 2.0 * here + after
    return 0.0 if bend == 0.0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
