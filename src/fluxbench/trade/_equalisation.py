"""Standard tape equalisations: the flux that a flat recording leaves on tape.

Formula: IEC 60094-1 clause 15. Time constants: IASA-TC 04 clause 5.4.10 Table 1 where a row says
nothing else. Names contradict each other between sources, so what is stored is time constants.
"""

from dataclasses import dataclass

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.trade._values import Array, Values


@dataclass(frozen=True, slots=True)
class Equalisation:
    """Two time constants; `t1_us` (long waves) is None where the standard has none."""

    t1_us: float | None
    t2_us: float

    def __post_init__(self) -> None:
        for t_us in (self.t1_us, self.t2_us):
            if t_us is not None and not 0.0 < t_us < np.inf:
                raise MisuseError(
                    f"a time constant of {t_us} us cannot be used; give a positive number of"
                    " microseconds, or none for t1"
                )

    def flux_level_db(self, frequency_hz: Values) -> Array:
        """Recorded flux as the formula has it, not normalised to any frequency.

        10 lg(1 + 1/(w t1)^2) - 10 lg(1 + (w t2)^2), IEC 60094-1 clause 15.
        """
        omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64)
        level_db: Array = -10.0 * np.log10(1.0 + (omega * self.t2_us * 1e-6) ** 2)
        if self.t1_us is not None:
            with np.errstate(divide="ignore"):
                level_db = level_db + 10.0 * np.log10(1.0 + (omega * self.t1_us * 1e-6) ** -2)
        return level_db

    def flux_re_db(self, frequency_hz: Values, re_hz: float = 1000.0) -> Array:
        """Recorded flux relative to that at the reference frequency `re_hz`."""
        return self.flux_level_db(frequency_hz) - self.flux_level_db(re_hz)

    def __str__(self) -> str:
        if self.t1_us is None:
            return f"{self.t2_us:g} us"
        return f"{self.t1_us:g} + {self.t2_us:g} us"


@dataclass(frozen=True, slots=True)
class EqualisationStandard:
    """An equalisation as its standards name it at one speed."""

    names: tuple[str, ...]
    speed_ips: float
    equalisation: Equalisation
    dates: str
    source: str = "IASA-TC 04 clause 5.4.10 Table 1"


def _standard(
    names: str,
    speed_ips: float,
    t1_us: float | None,
    t2_us: float,
    dates: str = "",
    source: str = "IASA-TC 04 clause 5.4.10 Table 1",
) -> EqualisationStandard:
    equalisation = Equalisation(t1_us, t2_us)
    return EqualisationStandard(tuple(names.split(", ")), speed_ips, equalisation, dates, source)


EQUALISATION_STANDARDS: tuple[EqualisationStandard, ...] = (
    _standard("IEC2, AES", 30, None, 17.5, "1981, current"),
    _standard("IEC1, CCIR, DIN", 30, None, 35, "1953-1966 / 1968 / 1962"),
    _standard("IEC1, CCIR, DIN, BS", 15, None, 35, "1968, current"),
    _standard("NAB, EIA, IEC2", 15, 3180, 50, "1953, current"),
    _standard("IEC1, DIN studio, CCIR", 7.5, None, 70, "1968, current"),
    _standard("IEC2, NAB, DIN home, EIA, RIAA", 7.5, 3180, 50, "1965, current"),
    _standard("EIA proposed", 7.5, None, 50, "1967"),
    _standard("CCIR (old), IEC (old), DIN (old), BS (old)", 7.5, None, 100, "to 1965-1968"),
    _standard("IEC2, NAB, RIAA", 3.75, 3180, 90, "1968, current"),
    _standard("DIN", 3.75, 3180, 120, "1962"),
    _standard("DIN (old)", 3.75, None, 200, "1955-1961"),
    _standard("EIA proposed", 3.75, None, 100, "1967"),
    _standard("IEC (old)", 3.75, 3180, 140, "1962-1968"),
    _standard("maker standard (old)", 3.75, 3180, 200, "1953-1958"),
    _standard("IEC, NAB", 1.875, 3180, 120, "", "IEC 60094-1, from memory"),
    _standard("IEC (old), DIN (old)", 1.875, 1590, 120, "to about 1971", "DIN 45513, from memory"),
    _standard("compact cassette type I", 1.875, 3180, 120, "current", "IEC 60094-1:1981"),
    _standard(
        "compact cassette type II, compact cassette type III, compact cassette type IV",
        1.875, 3180, 70, "current", "IEC 60094-1:1981 (types III and IV from memory)",
    ),
    _standard(
        "compact cassette type I (old)",
        1.875, 1590, 120, "to about 1974", "DIN 45513-6, from memory",
    ),
    _standard(
        "25 us proposal",
        15, None, 25, "about 1970, never a standard",
        "paper: Proposed equalization for 15 in/s studio master recording",
    ),
    _standard(
        "12.7 us proposal",
        15, None, 12.7, "never a standard", "paper: Master-tape equalization revisited",
    ),
)  # fmt: skip
"""Every equalisation known by name, the one in use first at each speed.

Contradiction: by IASA-TC 04 "CCIR" at 30 ips is 35 us; a 2022 paper on digital equalisation calls
17.5 us "CCIR 30" (6 dB apart at high frequencies).
"""


def equalisation_named(name: str, speed_ips: float) -> Equalisation:
    """The equalisation a name means at a speed; `MisuseError` lists the names there are."""
    at_speed = [s for s in EQUALISATION_STANDARDS if s.speed_ips == speed_ips]
    for standard in at_speed:
        if name.casefold() in (known.casefold() for known in standard.names):
            return standard.equalisation
    if not at_speed:
        raise MisuseError(f"no equalisation is known at {speed_ips:g} ips; use {_speeds()} ips")
    known_names = ", ".join(n for s in at_speed for n in s.names)
    raise MisuseError(
        f"no equalisation {name!r} is known at {speed_ips:g} ips; use one of: {known_names}"
    )


def standard_for(speed_ips: float) -> Equalisation:
    """The equalisation to assume at a speed: 30 ips 17.5 us, 15 ips 35 us, 7.5 ips 70 us.

    The choice among current standards is common practice, no source.
    """
    for standard in EQUALISATION_STANDARDS:
        if standard.speed_ips == speed_ips:
            return standard.equalisation
    raise MisuseError(f"no equalisation is known at {speed_ips:g} ips; use {_speeds()} ips")


def high_trim_coupling(
    equalisation: Equalisation, frequency_hz: Values, at_hz: float = 1000.0
) -> Array:
    """How far `at_hz` moves for each dB at `frequency_hz` when t2 is trimmed, in dB per dB.

    Closed form from clause 15: d(level)/d(ln t2) is proportional to x^2/(1+x^2), x = w t2.
    """

    def share(hz: Values) -> Array:
        x = 2.0 * np.pi * np.asarray(hz, dtype=np.float64) * equalisation.t2_us * 1e-6
        return x**2 / (1.0 + x**2)

    return share(at_hz) / share(frequency_hz)


def _speeds() -> str:
    return ", ".join(f"{s:g}" for s in dict.fromkeys(s.speed_ips for s in EQUALISATION_STANDARDS))
