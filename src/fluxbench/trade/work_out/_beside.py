"""One thing given, all that follows: the trade's arithmetic side by side for the usual choices."""

from dataclasses import dataclass

import numpy as np

from fluxbench.trade import (
    LINE_UP_SPEEDS_IPS,
    NAMED_FLUXIVITIES,
    REELS,
    Array,
    Equalisation,
    Format,
    azimuth_frequency_hz,
    azimuth_loss_db,
    azimuth_tolerance,
    bias_frequency_hz,
    delay_us,
    fluxivity_ratio_db,
    gap_loss_near_null_db,
    over_bias_db,
    peak_bias_db,
    phase_deg,
    pitch,
    playing_time_s,
    spacing_loss_db,
    thickness_loss_db,
    translate_over_bias,
    wavelength_um,
)
from fluxbench.trade.work_out._answers import level_worked_out

Cell = str | float | None
SPOTS_HZ = (40.0, 100.0, 1000.0, 4000.0, 10_000.0, 15_000.0, 20_000.0)
GAPS_UM = (4.0, 7.0, 9.0, 12.7, 18.0)
STANDARD = "a standard's formula: exact"
GEOMETRY = "geometry: exact for a straight, rigid head"


@dataclass(frozen=True, slots=True)
class Curves:
    """Lines over one axis."""

    x: str
    y: str
    log: bool
    at: Array
    lines: tuple[tuple[str, Array], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """A table, curves where they help, where it is from and how sure it is."""

    sentences: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    curves: Curves | None
    source: str
    sure: str


def levels_beside(fluxivity_nwb_per_m: float, level_dbu: float) -> Page:
    """A fluxivity re every fluxivity that has a name; a level in dBu, dBV, volts and VU."""
    rows = tuple(
        (
            " or ".join(known.called),
            known.fluxivity_nwb_per_m,
            fluxivity_ratio_db(fluxivity_nwb_per_m, known.fluxivity_nwb_per_m),
            known.source,
        )
        for known in NAMED_FLUXIVITIES
    )
    said = f"{fluxivity_nwb_per_m:g} nWb/m, against each fluxivity that has a name:"
    level = level_worked_out(level_dbu)
    return Page(
        (*level.sentences, said),
        ("called", "nWb/m", "re it, dB", "source"),
        rows,
        None,
        f"20 lg of the ratio; {level.source}",
        "the arithmetic is exact; the names contradict each other, so note the nWb/m",
    )


def equalisation_beside(one: Equalisation, other: Equalisation, speed_ips: float) -> Page:
    """The flux of two equalisations re 1 kHz, and what one reads of a tape made to the other."""
    at = np.geomspace(20.0, 20_000.0, 121)
    flux = [(str(e), e.flux_re_db(at)) for e in (one, other)]
    rows = tuple(
        (
            hz,
            float(wavelength_um(hz, speed_ips)),
            *(float(e.flux_re_db(hz)) for e in (one, other)),
            float(one.flux_re_db(hz) - other.flux_re_db(hz)),
        )
        for hz in SPOTS_HZ
    )
    top = float(one.flux_re_db(10_000.0) - other.flux_re_db(10_000.0))
    told = (
        f"A tape made to {one} played on a deck set to {other} reads {top:+.2f} dB at 10 kHz"
        " re 1 kHz."
    )
    return Page(
        (told,),
        ("frequency, Hz", "wavelength, um", f"flux by {one}, dB", f"flux by {other}, dB",
         "difference, dB"),
        rows,
        Curves("frequency, Hz", "flux re 1 kHz, dB", True, at,
               (*flux, ("difference", flux[0][1] - flux[1][1]))),
        "IEC 60094-1 clause 15; time constants by name from IASA-TC 04 clause 5.4.10",
        STANDARD,
    )  # fmt: skip


def losses_beside(
    speed_ips: float,
    frequency_hz: float,
    spacing_um: float,
    gap_um: float,
    coating_um: float,
    azimuth_arcmin: float,
    track_width_mm: float,
) -> Page:
    """What each loss takes at the usual tones, at the one asked for, and over frequency."""

    def each(hz: Array) -> list[tuple[str, Array]]:
        um = wavelength_um(hz, speed_ips)
        apart = [
            ("spacing", spacing_loss_db(spacing_um, um)),
            ("gap", gap_loss_near_null_db(gap_um, um)),
            ("thickness", thickness_loss_db(coating_um, um) if coating_um else 0.0 * um),
            ("azimuth", azimuth_loss_db(azimuth_arcmin, track_width_mm, um)),
        ]
        together = np.sum([loss_db for _, loss_db in apart], axis=0)
        return [*apart, ("together", together)]

    spots = np.array(sorted({*SPOTS_HZ, frequency_hz}))
    listed = each(spots)
    um = wavelength_um(spots, speed_ips)
    at = np.geomspace(50.0, 20_000.0, 121)
    mine_um = float(wavelength_um(frequency_hz, speed_ips))
    return Page(
        (f"{pitch(frequency_hz)} at {speed_ips:g} in/s is {mine_um:.4g} um on tape.",),
        ("frequency, Hz", "wavelength, um", *(f"{name}, dB" for name, _ in listed)),
        tuple(
            (float(hz), float(um[i]), *(_cell(loss_db[i]) for _, loss_db in listed))
            for i, hz in enumerate(spots)
        ),
        Curves("frequency, Hz", "loss, dB", True, at, tuple(each(at))),
        "Wallace 1951 (spacing, thickness of an evenly magnetised coating); gap: a form from"
        " memory with its null at 112 % of the gap (Mallinson 1993); azimuth: sinc(w tan a /"
        " wavelength)",
        "spacing, gap and azimuth hold well; a real coating loses up to some 2 dB more at 38 um",
    )


def over_bias_beside(drop_db: float, frequency_hz: float, speed_ips: float, gap_um: float) -> Page:
    """The same bias as the usual tones of every speed would show it, through the usual gaps."""
    gaps = sorted({*GAPS_UM, gap_um})
    same = translate_over_bias(drop_db, frequency_hz, speed_ips, gap_um)
    rows: list[tuple[Cell, ...]] = []
    for to_ips in LINE_UP_SPEEDS_IPS:
        for to_hz in sorted({bias_frequency_hz(to_ips), 10_000.0}):
            to_um = float(wavelength_um(to_hz, to_ips))
            rows.append((to_ips, to_hz, to_um, *(_drop(same.bias_db, to_um, g) for g in gaps)))
    um = float(wavelength_um(frequency_hz, speed_ips))
    at = np.geomspace(8.0, 150.0, 81)
    lines = tuple(
        (f"gap {gap:g} um", np.asarray(over_bias_db(at, same.bias_db, gap))) for gap in gaps
    )
    told = (
        f"{drop_db:g} dB at {um:.4g} um with a record gap of {gap_um:g} um is, of the same"
        " bias, about:"
    )
    return Page(
        (told,),
        ("speed, in/s", "tone, Hz", "wavelength, um", *(f"gap {g:g} um, dB" for g in gaps)),
        tuple(rows),
        Curves("wavelength, um", "over-bias of the same bias, dB", True, at, lines),
        "closed forms fitted to figures of the practice, not published",
        "an estimate for small signals (-20 dB), of one stock: a sheet's own figure goes first",
    )


def azimuth_beside(azimuth_arcmin: float, across: Format, speed_ips: float) -> Page:
    """An azimuth error as delay, phase and loss at the usual tones; the loss over the angle."""
    outer_mm = across.distance_mm(1, across.tracks)
    rows: list[tuple[Cell, ...]] = []
    for hz in (1000.0, 5000.0, 8000.0, 10_000.0, 12_500.0, 16_000.0):
        um = wavelength_um(hz, speed_ips)
        pairs: list[Cell] = []
        for apart_mm in (across.pitch_mm, outer_mm):
            there = across.tracks > 1
            pairs += [
                float(delay_us(azimuth_arcmin, apart_mm, speed_ips)) if there else None,
                float(phase_deg(azimuth_arcmin, apart_mm, speed_ips, hz)) if there else None,
            ]
        loss_db = float(azimuth_loss_db(azimuth_arcmin, across.track_width_mm, um))
        rows.append((hz, *pairs, _cell(loss_db)))
    at = np.linspace(0.0, max(20.0, 2.0 * abs(azimuth_arcmin)), 81)
    lines = tuple(
        (
            f"{hz / 1000:g} kHz",
            azimuth_loss_db(at, across.track_width_mm, wavelength_um(hz, speed_ips)),
        )
        for hz in (5000.0, 10_000.0, 16_000.0)
    )
    tolerance = azimuth_tolerance(across.tape_width_mm)
    count_hz = azimuth_frequency_hz(speed_ips)
    turns = abs(float(phase_deg(azimuth_arcmin, across.pitch_mm, speed_ips, count_hz))) / 360.0
    said = "" if turns < 0.5 else " Neighbours are more than half a turn apart: a meter misleads."
    told = (
        f"{across.name}: set within {tolerance.set_arcmin:g} arc-min, accepted within"
        f" {tolerance.accept_arcmin:g}.{said}"
    )
    return Page(
        (told,),
        ("frequency, Hz", "to the neighbour, us", "to the neighbour, degrees",
         "first to last, us", "first to last, degrees", "loss of a track, dB"),
        tuple(rows),
        Curves("azimuth error, arc-min", "loss of a track, dB", False, at, lines),
        f"distance x tan(angle) / speed; sinc(w tan a / wavelength); {across.source}",
        GEOMETRY,
    )  # fmt: skip


def reels_beside(length_ft: float) -> Page:
    """How long a length and every usual reel play at the usual speeds, in minutes."""
    speeds = (*LINE_UP_SPEEDS_IPS, 1.875)
    usual = [
        (f"{r.diameter_in:g} inch, {r.tape_thickness_um:g} um", r.length_ft, r.source)
        for r in REELS
    ]
    listed = [("as given", length_ft, ""), *usual]
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (name, feet, *(float(playing_time_s(feet, ips)) / 60.0 for ips in speeds), source)
        for name, feet, source in listed
    )
    at = np.linspace(0.0, max(5000.0, length_ft), 51)
    lines = tuple((f"{ips:g} in/s", playing_time_s(at, ips) / 60.0) for ips in speeds[:4])
    return Page(
        (f"{length_ft:g} ft are {0.3048 * length_ft:.0f} m.",),
        ("reel", "feet", *(f"{ips:g} in/s, min" for ips in speeds), "source"),
        rows,
        Curves("tape, ft", "playing time, min", False, at, lines),
        "length / speed",
        "exact for the length told; reels hold some per cent more or less",
    )


def _drop(bias_db: float, wavelength_um: float, gap_um: float) -> float | None:
    """The fall of a wave from its peak at a bias; None where it has not reached that peak."""
    if bias_db < peak_bias_db(wavelength_um, gap_um) - 1e-6:
        return None
    return float(over_bias_db(wavelength_um, bias_db, gap_um))


def _cell(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
