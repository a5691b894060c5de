"""How near level, frequency and delay come to the least error that white noise allows.

Prints, per quantity, the standard deviation over many noisy takes as a ratio to the Cramér-Rao
bound. Bounds of a real sine A sin(2 pi f n + phase) in white noise of variance s² over N samples,
with eta = A² / 2s² (Kay, Fundamentals of Statistical Signal Processing I, 1993, and Rife and
Boorstyn 1974, both from memory):

    var A >= 2 s² / N
    var f >= 12 / ((2 pi)² eta N (N² - 1)), in cycles a sample
    var phase >= 1 / (eta N) where the frequency is known, here twice for a phase difference

Must be at most 1.2; aim 1.05.
"""

import argparse

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure._azimuth import track_delays
from fluxbench.measure._tone import tone_levels

MUST = 1.2


def ratios(
    runs: int, frequency_hz: float, seconds: float, noise_dbfs: float, seed: int, rate_hz: int
) -> dict[str, float]:
    """Standard deviation over Cramér-Rao bound for level, frequency, delay and slope."""
    random = np.random.default_rng(seed)
    frames, amplitude = round(seconds * rate_hz), 0.1
    sigma = 10 ** (noise_dbfs / 20) / np.sqrt(2)  # a full-scale sine is 0 dBFS
    places_mm = np.arange(4.0)
    frame = np.arange(frames)
    taken: dict[str, list[NDArray[np.float64]]] = {
        name: [] for name in ("level", "frequency", "delay", "slope")
    }
    for _ in range(runs):
        phase = random.uniform(0, 2 * np.pi)
        sine = amplitude * np.sin(2 * np.pi * frequency_hz * frame / rate_hz + phase)
        tracks = sine[:, None] + sigma * random.standard_normal((frames, 4))
        reading = tone_levels(tracks, rate_hz, frequency_hz)
        delays = track_delays(tracks, rate_hz, frequency_hz, places_mm)
        taken["level"].append(reading.level_dbfs)
        taken["frequency"].append(reading.frequency_hz)
        taken["delay"].append(np.diff(delays.delay_us))
        taken["slope"].append(np.array([delays.slope_us_per_mm]))
    eta = amplitude**2 / (2 * sigma**2)
    phase_variance = 1 / (eta * frames)
    to_us = 1e6 / (2 * np.pi * frequency_hz)
    bounds = {
        "level": 20 / np.log(10) * np.sqrt(2 * sigma**2 / frames) / amplitude,
        "frequency": rate_hz * np.sqrt(12 / (4 * np.pi**2 * eta * frames * (frames**2 - 1.0))),
        "delay": to_us * np.sqrt(2 * phase_variance),
        "slope": to_us * np.sqrt(phase_variance / np.sum((places_mm - places_mm.mean()) ** 2)),
    }
    return {name: _rms_deviation(taken[name]) / float(bound) for name, bound in bounds.items()}


def _rms_deviation(runs: list[NDArray[np.float64]]) -> float:
    """Standard deviation over the runs, pooled over the tracks or neighbouring pairs."""
    return float(np.sqrt(np.mean(np.var(np.array(runs), axis=0, ddof=1))))


def main() -> None:
    """Print a line per case; exit 1 if a ratio is above what it must be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--runs", type=int, default=400)
    runs = parser.parse_args().runs
    known = 100 / np.sqrt(2 * runs)
    print(f"{runs} runs a case, 4 tracks; a ratio is known to {known:.1f} % or better")
    worst = 0.0
    for frequency_hz, seconds, noise_dbfs in (
        (1_000.0, 1.5, -40.0),
        (10_000.0, 1.5, -40.0),
        (10_000.0, 5.0, -50.0),
        (100.0, 1.5, -50.0),
    ):
        case = ratios(runs, frequency_hz, seconds, noise_dbfs, seed=1, rate_hz=48_000)
        worst = max(worst, *case.values())
        told = "  ".join(f"{name} {ratio:.3f}" for name, ratio in case.items())
        print(f"{frequency_hz:6.0f} Hz, {seconds} s, noise {noise_dbfs:.0f} dBFS:  {told}")
    print(f"worst {worst:.3f}, must be at most {MUST}")
    raise SystemExit(worst > MUST)


if __name__ == "__main__":
    main()
