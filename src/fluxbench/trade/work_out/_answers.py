"""The answers of the trade's arithmetic in numbers and words, for a command or a screen."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fluxbench.base import MisuseError
from fluxbench.trade import (
    NAMED_FLUXIVITIES,
    ZERO_VU_DBU,
    Equalisation,
    Values,
    azimuth_loss_db,
    dbu_from_dbv,
    dbu_from_volts,
    dbv_from_dbu,
    delay_us,
    fluxivity_ratio_db,
    gap_loss_db,
    phase_deg,
    pitch,
    playing_time_s,
    spacing_loss_db,
    thickness_loss_db,
    translate_over_bias,
    volts_from_dbu,
    wavelength_um,
)

DBU_FROM: Mapping[str, Callable[[float], Values]] = {
    "dbu": float,
    "dbv": dbu_from_dbv,
    "volts": dbu_from_volts,
}
"""A level given in one of these units, in dBu."""
Facts = Mapping[str, float | bool | None]


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """One answer: facts by name (null: there is none), the same in sentences, where it is from."""

    facts: Facts
    sentences: tuple[str, ...]
    source: str
    parts_db: Mapping[str, float] = field(default_factory=dict)
    """Of a sum, unrounded."""


def _rounded(value: float, decimals: int = 3, *, significant: int = 0) -> float | None:
    """Round to decimals, more if the significant digits need them; infinity is null."""
    if not math.isfinite(value):
        return None
    if value and significant:
        decimals = max(decimals, significant - 1 - math.floor(math.log10(abs(value))))
    return round(value, decimals) + 0.0  # never -0.0


def flux_worked_out(fluxivity_nwb_per_m: float, re_nwb_per_m: float) -> WorkedOut:
    """Two fluxivities against each other; `MisuseError` unless both are positive."""
    ratio_db = fluxivity_ratio_db(fluxivity_nwb_per_m, re_nwb_per_m)
    called = [
        f"{known.fluxivity_nwb_per_m:g} is called {' or '.join(known.called)} ({known.source})."
        for known in NAMED_FLUXIVITIES
        if known.fluxivity_nwb_per_m in {fluxivity_nwb_per_m, re_nwb_per_m}
    ]
    said = f"{fluxivity_nwb_per_m:g} nWb/m is {ratio_db:+.2f} dB re {re_nwb_per_m:g} nWb/m."
    return WorkedOut(
        {"ratio_db": _rounded(ratio_db)},
        (said, *called),
        "20 lg of the ratio; a label such as +6 means different fluxivities, so note the nWb/m",
    )


def equalisation_worked_out(
    chosen: Equalisation, frequency_hz: float, re_hz: float = 1000.0
) -> WorkedOut:
    """The flux of a flat recording, and how much of it is missing re a reference."""
    level_db = float(chosen.flux_level_db(frequency_hz))
    re_reference_db = float(chosen.flux_re_db(frequency_hz, re_hz))
    sentence = (
        f"With {chosen} the flux at {pitch(frequency_hz)} is {re_reference_db:+.2f} dB"
        f" re {pitch(re_hz)} ({level_db:+.2f} dB by the formula alone)."
    )
    return WorkedOut(
        {"flux_level_db": _rounded(level_db), "re_reference_db": _rounded(re_reference_db)},
        (sentence,),
        "IEC 60094-1 clause 15; time constants by name from IASA-TC 04 clause 5.4.10",
    )


def wavelength_worked_out(speed_ips: float, frequency_hz: float) -> WorkedOut:
    """The wavelength on tape."""
    on_tape_um = float(wavelength_um(frequency_hz, speed_ips))
    return WorkedOut(
        {"wavelength_um": _rounded(on_tape_um, significant=4)},
        (f"{pitch(frequency_hz)} at {speed_ips:g} ips is {on_tape_um:.5g} um on tape.",),
        "speed / frequency",
    )


def losses_worked_out(
    speed_ips: float,
    frequency_hz: float,
    *,
    spacing_um: float | None = None,
    gap_um: float | None = None,
    coating_um: float | None = None,
    azimuth_arcmin: float | None = None,
    track_width_mm: float | None = None,
) -> WorkedOut:
    """What a short wave loses; a loss that is not asked for is null. `MisuseError` if none is."""
    um = float(wavelength_um(frequency_hz, speed_ips))
    found: dict[str, float] = {}
    sources = []
    if (azimuth_arcmin is None) != (track_width_mm is None):
        raise MisuseError("an azimuth loss needs both the azimuth and the width of the track")
    for name, length_um, loss_db, source in (
        ("spacing", spacing_um, spacing_loss_db, "Wallace 1951"),
        ("gap", gap_um, gap_loss_db, "Eargle 1994, factor 1.11"),
        ("thickness", coating_um, thickness_loss_db, "Wallace 1951"),
    ):
        if length_um is not None:
            found[name] = float(loss_db(length_um, um)) if length_um else 0.0
            sources.append(f"{source} ({name})")
    if azimuth_arcmin is not None and track_width_mm is not None:
        found["azimuth"] = float(azimuth_loss_db(azimuth_arcmin, track_width_mm, um))
        sources.append("sinc(w tan a / wavelength) (azimuth)")
    if not found:
        raise MisuseError("no loss is asked for; give a spacing, gap, coating or azimuth")
    facts = {
        f"{name}_db": _rounded(found[name], decimals) if name in found else None
        for name, decimals in {"spacing": 3, "gap": 3, "thickness": 3, "azimuth": 4}.items()
    }
    each = ", ".join(f"{name} {loss_db:.2f} dB" for name, loss_db in found.items())
    title = f"Losses at {um:.4g} um ({pitch(frequency_hz)}, {speed_ips:g} ips)"
    together = f"together {sum(found.values()):.2f} dB"
    return WorkedOut(facts, (f"{title}: {each}; {together}.",), "; ".join(sources), found)


def over_bias_worked_out(
    drop_db: float,
    frequency_hz: float,
    speed_ips: float,
    gap_um: float,
    *,
    to_frequency_hz: float | None = None,
    to_speed_ips: float | None = None,
    to_gap_um: float | None = None,
) -> WorkedOut:
    """The over-bias of the same bias with another speed, tone or record gap: an estimate."""
    estimate = translate_over_bias(
        drop_db,
        frequency_hz,
        speed_ips,
        gap_um,
        to_frequency_hz=to_frequency_hz,
        to_speed_ips=to_speed_ips,
        to_record_gap_um=to_gap_um,
    )
    sentence = (
        f"{drop_db:g} dB at {estimate.from_wavelength_um:.4g} um is about"
        f" {estimate.drop_db:.1f} dB at {estimate.to_wavelength_um:.4g} um."
    )
    return WorkedOut(
        {"drop_db": _rounded(estimate.drop_db), "estimate": True},
        (
            sentence,
            "This is an estimate for small signals (-20 dB): a sheet's own figure goes first.",
        ),
        "closed forms fitted to figures of the practice, not published",
    )


def azimuth_worked_out(
    azimuth_arcmin: float, distance_mm: float, speed_ips: float, frequency_hz: float
) -> WorkedOut:
    """Delay and phase between two tracks."""
    delay = float(delay_us(azimuth_arcmin, distance_mm, speed_ips))
    phase = float(phase_deg(azimuth_arcmin, distance_mm, speed_ips, frequency_hz))
    sentence = (
        f"{azimuth_arcmin:g} arc-min over {distance_mm:g} mm is {delay:.4g} us at {speed_ips:g}"
        f" ips, or {phase:.1f} degrees at {pitch(frequency_hz)}."
    )
    wraps = "More than half a turn: a phase meter shows another one."
    return WorkedOut(
        {
            "delay_us": _rounded(delay, 2, significant=4),
            "phase_deg": _rounded(phase, 1, significant=4),
        },
        (sentence,) if abs(phase) < 180 else (sentence, wraps),
        "distance x tan(angle) / speed",
    )


def reel_worked_out(length_ft: float, speed_ips: float) -> WorkedOut:
    """How long a reel plays."""
    time_s = float(playing_time_s(length_ft, speed_ips))
    minutes, seconds = divmod(round(time_s), 60)
    return WorkedOut(
        {"time_s": _rounded(time_s)},
        (f"{length_ft:g} ft play {minutes} min {seconds} s at {speed_ips:g} ips.",),
        "length / speed",
    )


def level_worked_out(level_dbu: float) -> WorkedOut:
    """A level in dBu, dBV and volts rms; no voltage at all is null in dB."""
    dbu = level_dbu
    dbv, volts = float(dbv_from_dbu(dbu)), float(volts_from_dbu(dbu))
    vu = dbu - ZERO_VU_DBU
    return WorkedOut(
        {"dbu": _rounded(dbu), "dbv": _rounded(dbv), "volts": _rounded(volts, 4, significant=5)},
        (f"{dbu:+.2f} dBu = {dbv:+.2f} dBV = {volts:.5g} V rms = {vu:+.2f} VU.",),
        "0 dBu = sqrt(0.6) V, IEC 60027-3 and ITU-R V.574; 0 VU = +4 dBu, IEC 60268-17",
    )
