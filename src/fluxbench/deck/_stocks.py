"""What a stock of tape does with a signal: the recording constants of PHYSICS section 2.

The closed forms are fitted to practice numbers, not published; the three stocks are invented.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import MisuseError
from fluxbench.trade import Values

Array = NDArray[np.float64]

WORKING_BIAS_DB = 0.6
"""Working point of the reference stock, re its bias of greatest long-wave sensitivity."""


@dataclass(frozen=True, slots=True)
class Stock:
    """The constants of one stock; `bias_*_db` say how much more bias than the reference it wants.

    Long and short waves have constants of their own, since they are recorded at different depths.
    `bend_db` lowers the short waves around `bend_at_db` of bias, which makes the difference of
    short and long waves rise with bias over a part of its range.
    """

    name: str
    bias_long_db: float = 0.0
    bias_short_db: float = 0.0
    sensitivity_db: float = 0.0
    n: float = 1.9
    z_um: float = 30.0
    p: float = 2.5
    m: float = 1.2
    h0: float = 0.0045
    bias_least_distortion_db: float = 2.3
    coating_um: float = 10.0
    noise_a_db: float = -59.5
    """A-weighted bias noise of a 1 mm track at 15 ips re 320 nWb/m."""
    modulation_db: float = -54.0
    bend_db: float = 0.0
    bend_at_db: float = -3.0

    def long_wave(self, bias_db: Values) -> Array:
        """Sensitivity to long waves (amplitude factor) at a bias in dB re the reference."""
        b = 10.0 ** ((np.asarray(bias_db) - self.bias_long_db) / 20.0)
        return np.asarray(np.exp(-self.n * (np.log(b) + 1.0 / b - 1.0)))

    def short_wave(self, wavelength_um: Values, bias_db: Values, record_gap_um: float) -> Array:
        """Recording loss of short waves (amplitude factor, at most 1); arguments broadcast."""
        b = 10.0 ** ((bias_db - self.bias_short_db) / 20.0)
        depth = (self.z_um / wavelength_um) * (record_gap_um / 9.0) ** 0.6
        loss = (1.0 + depth * b**self.p) ** -self.m
        if self.bend_db:
            dip = self.bend_db * np.exp(-(((bias_db - self.bend_at_db) / 1.0) ** 2))
            loss = loss * 10.0 ** (-dip * np.minimum(depth / 0.79, 1.5) / 20.0)
        return np.asarray(loss)

    def coating(self, wavelength_um: Values) -> Array:
        """Thickness loss of uniform magnetisation (amplitude factor; Wallace 1951)."""
        x = 2.0 * np.pi * self.coating_um / wavelength_um
        return -np.expm1(-x) / x

    def third_harmonic(self, bias_db: Values) -> Array:
        """Ratio of third harmonic to fundamental at 320 nWb/m, long waves."""
        r1, r2 = 5.0, 1.5
        ratio = 10.0 ** ((bias_db - self.bias_long_db - self.bias_least_distortion_db) / 20.0)
        return self.h0 * (r2 * ratio**-r1 + r1 * ratio**r2) / (r1 + r2)

    def modulation_noise(self, bias_db: Values) -> Array:
        """Modulation noise as an amplitude re the signal; least near the working point."""
        off = bias_db - self.bias_long_db - WORKING_BIAS_DB
        below = 5.0 * (np.maximum(-off, 0.0) / 4.0) ** 1.3
        above = 1.5 * (np.maximum(off, 0.0) / 4.0) ** 1.3
        return 10.0 ** ((self.modulation_db + below + above) / 20.0)

    def short_level(self, wavelength_um: float, bias_db: Values, record_gap_um: float) -> Array:
        """Small-signal level of one wavelength (amplitude factor) against bias."""
        wave = np.asarray(wavelength_um)
        return self.long_wave(bias_db) * self.short_wave(wave, bias_db, record_gap_um)

    def peak_bias_db(self, wavelength_um: float, record_gap_um: float) -> float:
        """Bias at which this wavelength comes out loudest: the highest of a fine scan, refined."""
        return _peak_bias_db(self, wavelength_um, record_gap_um)

    def over_bias_db(self, wavelength_um: float, bias_db: Values, record_gap_um: float) -> Array:
        """Small-signal fall from the peak; negative below the peak, by as much as is lacking."""
        peak_at = self.peak_bias_db(wavelength_um, record_gap_um)
        top = self.short_level(wavelength_um, np.asarray(peak_at), record_gap_um)
        fall = 20.0 * np.log10(top / self.short_level(wavelength_um, bias_db, record_gap_um))
        return np.where(bias_db >= peak_at, fall, -fall)

    def bias_for_over_bias(self, wavelength_um: float, drop_db: float, gap_um: float) -> float:
        """The bias that gives a fall from the peak, by bisection above the peak."""
        low = self.peak_bias_db(wavelength_um, gap_um)
        high = low + 14.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            if float(self.over_bias_db(wavelength_um, np.asarray(middle), gap_um)) < drop_db:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)


@lru_cache(maxsize=256)
def _peak_bias_db(stock: Stock, wavelength_um: float, record_gap_um: float) -> float:
    """It is asked for again and again while a deck is built."""
    low, high = -14.0, 10.0
    for _ in range(4):
        grid = np.linspace(low, high, 401)
        top = int(np.argmax(stock.short_level(wavelength_um, grid, record_gap_um)))
        step = grid[1] - grid[0]
        low, high = grid[top] - 2 * step, grid[top] + 2 * step
    return float(grid[top])


REFERENCE = Stock("even")
"""The stock that the record equaliser of the practice deck was designed for."""

STOCKS = {
    stock.name: stock
    for stock in (
        REFERENCE,
        Stock(
            "bold", bias_long_db=1.6, bias_short_db=1.3, sensitivity_db=1.1, n=2.0, z_um=33.0,
            h0=0.0030, coating_um=11.5, noise_a_db=-60.5, modulation_db=-55.0,
        ),
        Stock(
            "fine", bias_long_db=-1.2, bias_short_db=-0.9, sensitivity_db=-0.8, n=1.8, z_um=26.0,
            h0=0.0060, coating_um=9.0, noise_a_db=-58.5, modulation_db=-53.0,
        ),
        Stock("bent", bend_db=2.2, bend_at_db=-1.6),
    )
}  # fmt: skip


def stock_named(name: str) -> Stock:
    """The stock of that name."""
    if name not in STOCKS:
        raise MisuseError(f"no stock is called {name!r}; there are {', '.join(STOCKS)}")
    return STOCKS[name]
