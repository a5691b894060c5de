"""Reference fluxivities by name, and the names that contradict each other.

A name such as "+6" means different fluxivities to different people: store nWb/m, never only a name.
"""

import math
from dataclasses import dataclass

from fluxbench.base import MisuseError


@dataclass(frozen=True, slots=True)
class NamedFluxivity:
    """A fluxivity as the trade calls it."""

    fluxivity_nwb_per_m: float
    called: tuple[str, ...]
    source: str


NAMED_FLUXIVITIES = (
    NamedFluxivity(160, ("cassette meter zero",), "old consumer practice; archive wiki"),
    NamedFluxivity(185, ("NAB", "0 dB", "old operating level"), "NAB 1965 era practice"),
    NamedFluxivity(200, ("ANSI cassette level",), "ANSI S4.6 / AES7 measurement; archive wiki"),
    NamedFluxivity(
        218,
        ("ANSI cassette level, DIN measured",),
        "DIN 45520; from memory, 220 in an archive wiki",
    ),
    NamedFluxivity(250, ("+3", "IEC cassette", "DIN cassette"), "IEC 60094-2; DIN 45513"),
    NamedFluxivity(256, ("160 mMx", "DIN class 19"), "DIN 45513, 1955 draft"),
    NamedFluxivity(260, ("+3", "exact +3 on 185"), "practice; 3 dB on 185 by arithmetic"),
    NamedFluxivity(288, ("320 DIN, AES measured",), "AES paper: Tape Flux Measurement Revisited"),
    NamedFluxivity(320, ("200 mMx", "DIN class 38", "IEC studio mono"), "DIN 45513; IEC 60094-2"),
    NamedFluxivity(355, ("+6",), "practice; three-frequency test record leaflet"),
    NamedFluxivity(370, ("+6", "exact +6 on 185"), "practice; 6 dB on 185 by arithmetic"),
    NamedFluxivity(510, ("studio stereo",), "DIN/IEC stereo, rounded; from memory"),
    NamedFluxivity(514, ("studio stereo",), "DIN 45513 stereo"),
    NamedFluxivity(520, ("+9",), "practice; public tape text"),
    NamedFluxivity(1000, ("maximum level",), "data sheets"),
    NamedFluxivity(1040, ("maximum level",), "data sheets"),
)
"""Every fluxivity that a label, sheet or leaflet is known to mean, lowest first."""

FLUXIVITY_CONTRADICTIONS = (
    '"+3" is 250 nWb/m on labels, which is +2.62 dB on 185; exact +3 dB would be 260 (261.3)',
    '"+6" is 355 nWb/m on labels, +5.66 dB on 185 and +3.05 on 250; some texts mean 370',
    "old DIN measurement reads 10 % (0.92 dB) high: a nominal 320 may be 288 by the method of AES7",
    "a later comparison finds the DIN and the AES7 method equal within 0.5 %",
    "200 nWb/m by ANSI is 218 to 220 by DIN on cassettes (0.75 to 0.83 dB by source)",
    "studio stereo is written 510 or 514 nWb/m (0.07 dB)",
)
"""Where the sources disagree, in plain words."""


def fluxivity_ratio_db(fluxivity_nwb_per_m: float, re_nwb_per_m: float) -> float:
    """One fluxivity over another: 20 lg of the ratio; `MisuseError` unless both are positive."""
    for value in (fluxivity_nwb_per_m, re_nwb_per_m):
        if not 0.0 < value < math.inf:
            raise MisuseError(
                f"a fluxivity of {value:g} nWb/m cannot be used; give a positive number of nWb/m"
            )
    return 20.0 * math.log10(fluxivity_nwb_per_m / re_nwb_per_m)


def fluxivities_called(name: str) -> tuple[NamedFluxivity, ...]:
    """Every fluxivity that goes by a name: more than one means that the name is not enough."""
    wanted = name.casefold()
    return tuple(
        f for f in NAMED_FLUXIVITIES if wanted in (called.casefold() for called in f.called)
    )


def fluxivity_from_maxwell(flux_mmx: float, track_width_mm: float) -> float:
    """Fluxivity in nWb/m of an old-style flux in millimaxwell (1 mMx = 10 pWb) over a width."""
    return 10.0 * flux_mmx / track_width_mm
