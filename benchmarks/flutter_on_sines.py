"""How far wow and flutter of exact sines are off what the weighting table says.

Prints, per sample rate, the error in per cent of the quasi-peak and the 2-sigma reading on speed
tones whose speed swings by 0.1 % as a sine of each frequency (the tone is an exact sine of the
warped time). Truth: 0.1 % times the table's weight (IEC 60386 Table I, its copy in
tests/reference); 2 sigma of a sine is sin(0.95 pi / 2) = 0.9969 of its peak (closed form).

Must be within 4 % (quasi-peak) and 2 % (2 sigma); aim 2 % and 1 %.
"""

import csv
from pathlib import Path

import numpy as np

from fluxbench.measure import take_tone

TABLE = Path(__file__).parents[1] / "tests" / "reference" / "flutter_weighting.csv"
RATES_HZ = (44_100, 48_000, 96_000)
FLUTTER_HZ = (0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0)
PEAK_PERCENT = 0.1
TWO_SIGMA = float(np.sin(0.95 * np.pi / 2.0))
MUST_PERCENT = {"quasi-peak": 4.0, "2 sigma": 2.0}


def errors_percent(rate_hz: int, tone_hz: float, flutter_hz: float, weight: float) -> list[float]:
    """Quasi-peak and 2 sigma, how far off."""
    time_s = np.arange(10 * rate_hz) / rate_hz
    turn = 2.0 * np.pi * flutter_hz
    warped_s = time_s + 0.01 * PEAK_PERCENT * (1.0 - np.cos(turn * time_s)) / turn
    wave = 0.1 * np.sin(2.0 * np.pi * tone_hz * warped_s)[:, None]
    flutter = take_tone(wave, rate_hz, tone_hz, with_flutter=True).flutter
    if flutter is None:
        return [np.inf, np.inf]
    expected = PEAK_PERCENT * weight
    return [
        100.0 * (float(flutter.weighted_quasi_peak_percent[0]) / expected - 1.0),
        100.0 * (float(flutter.weighted_2_sigma_percent[0]) / (TWO_SIGMA * expected) - 1.0),
    ]


def main() -> None:
    """Print a line per rate and tone; exit 1 if a reading is further off than it may be."""
    rows = csv.DictReader(TABLE.read_text().splitlines())
    weights = {float(row["freq_hz"]): 10.0 ** (float(row["weight_db"]) / 20.0) for row in rows}
    missed = False
    for rate_hz in RATES_HZ:
        for tone_hz in (3000.0, 3150.0):
            found = np.array([errors_percent(rate_hz, tone_hz, f, weights[f]) for f in FLUTTER_HZ])
            told = []
            for name, column in zip(MUST_PERCENT, found.T, strict=True):
                worst = int(np.argmax(np.abs(column)))
                told.append(f"{name} {column[worst]:+.2f} % at {FLUTTER_HZ[worst]:g} Hz")
                missed |= bool(np.abs(column[worst]) > MUST_PERCENT[name])
            print(f"{rate_hz} Hz, tone of {tone_hz:.0f} Hz: worst {', '.join(told)}", flush=True)
    raise SystemExit(missed)


if __name__ == "__main__":
    main()
