"""The delay of an outer pair alone, its whole turns counted by several tones."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError, Validity
from fluxbench.measure._azimuth import block_products, mean_of_blocks
from fluxbench.measure._frequency import hear
from fluxbench.measure._spectrum import Samples

_LARGEST_MISFIT_DEG = 90.0


@dataclass(frozen=True, slots=True)
class PairDelayReading:
    """Delay of the second of two tracks re the first, from several tones; positive: later.

    It is the only one possible if its size is below `unambiguous_us`, half a period of the lowest
    valid tone. `misfit_deg` is how far the phase of each tone lay from what the lower
    tones foretold: near 180 the count of whole turns is a guess.
    """

    delay_us: float
    standard_error_us: float
    unambiguous_us: float
    misfit_deg: NDArray[np.float64]
    tone_validity: tuple[Validity, ...]
    validity: Validity


def pair_delay(
    samples: Samples, rate_hz: float, frequencies_hz: Sequence[float]
) -> PairDelayReading:
    """Measure the delay between two distant tracks that carry several tones at once.

    Parameters
    ----------
    samples
        Shape (frames, 2), full scale 1; 5 s or more.
    rate_hz
        Sample rate in Hz.
    frequencies_hz
        The tones in Hz, rising, such as 1000, 3000 and 10 000; each step at most about a factor
        of ten, and the lowest of a period longer than twice the delay.

    Returns
    -------
    PairDelayReading
        Tones that are not valid are left out; if one lies more than 90 degrees
        from what the lower ones foretold the
        reading is `UNSTABLE`.

    Raises
    ------
    MisuseError
        Not two tracks, or frequencies that do not rise or lie beyond half the rate.

    Notes
    -----
    The lowest tone gives a first delay without doubt; each higher one has its whole turns counted
    by the delay so far and then makes it finer, weighted by its frequency.

    Examples
    --------
    120 us are more than a period of 10 kHz.

    >>> time_s = np.arange(96_000) / 48_000
    >>> wave = lambda t: sum(0.1 * np.sin(2 * np.pi * f * t) for f in (1000, 3000, 10_000))
    >>> both = np.stack([wave(time_s), wave(time_s - 120e-6)], axis=1)
    >>> round(pair_delay(both, 48_000, [1000.0, 3000.0, 10_000.0]).delay_us, 3)
    120.0
    """
    if samples.ndim != 2 or samples.shape[1] != 2:
        raise MisuseError(f"samples of shape {samples.shape}: a pair needs (frames, 2)")
    if len(frequencies_hz) == 0 or np.any(np.diff(frequencies_hz) <= 0.0):
        raise MisuseError("the frequencies of a pair must be given and rise: sort them")
    tones = [hear(samples, rate_hz, frequency_hz) for frequency_hz in frequencies_hz]
    validity = tuple(
        next((v for v in tone.validity if v is not Validity.OK), Validity.OK) for tone in tones
    )
    misfit = np.full(len(tones), np.nan)
    used = [index for index, v in enumerate(validity) if v is Validity.OK]
    if not used:
        return PairDelayReading(np.nan, np.nan, np.nan, misfit, validity, validity[0])
    found_hz = np.array([tones[index].envelope.centre_hz for index in used])
    phases = []
    for index in used:
        products, weight = block_products(tones[index].envelope, 0)
        phases.append(-np.angle(products[:, 1]) / (2.0 * np.pi))
    turns = np.stack(phases, axis=1)
    delay_s = turns[:, 0] / found_hz[0]
    surprise = np.zeros_like(turns)
    for count in range(2, len(used) + 1):
        last = count - 1
        turns[:, last] += np.rint(delay_s * found_hz[last] - turns[:, last])
        surprise[:, last] = turns[:, last] - delay_s * found_hz[last]
        delay_s = turns[:, :count] @ found_hz[:count] / np.sum(found_hz[:count] ** 2)
    duration_s = tones[used[0]].envelope.duration_s
    delay, error = mean_of_blocks(1e6 * delay_s[:, None], weight, duration_s)
    misfit[used] = 360.0 * np.sqrt(np.mean(surprise**2, axis=0))
    noise = np.array([np.hypot(*tones[index].inside.phase_error()) for index in used])
    bound_s = np.sqrt(np.sum((noise * found_hz) ** 2)) / (2.0 * np.pi * np.sum(found_hz**2))
    agree = bool(np.nanmax(misfit) <= _LARGEST_MISFIT_DEG)
    return PairDelayReading(
        delay_us=float(delay[0]) if agree else np.nan,
        standard_error_us=max(float(error[0]), 1e6 * float(bound_s)) if agree else np.nan,
        unambiguous_us=0.5e6 / float(found_hz[0]),
        misfit_deg=misfit,
        tone_validity=validity,
        validity=Validity.OK if agree else Validity.UNSTABLE,
    )
