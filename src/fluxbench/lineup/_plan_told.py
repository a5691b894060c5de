"""The plan from what a deck tells of itself and its tapes, and what is to be said about that."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fluxbench.base import DeckError
from fluxbench.lineup._plan import Plan, Section
from fluxbench.trade import (
    BIAS_LEVEL_DB,
    FORMATS,
    LEVEL_HZ,
    Equalisation,
    bias_frequency_hz,
    pitch,
    translate_over_bias,
)

PER_TRACK = frozenset({
    "reproduce_level", "reproduce_high", "reproduce_low", "bias",
    "record_level", "record_high", "sync_level", "sync_high",
})  # fmt: skip
PER_STACK = frozenset({"reproduce_azimuth", "record_azimuth"})
SAME_GAP_RATIO = 0.02
MISSED = {
    "reproduce_level": "the reproduce level is only read",
    "reproduce_high": "the reproduce high end is only read",
    "reproduce_low": "the low end is not set, verify reads it",
    "bias": "over-bias is not looked at, since nobody can go across its peak",
    "record_level": "the record level is only read, by verify",
    "record_high": "the record high end is only read, by verify",
    "sync_level": "the sync level is not set",
    "sync_high": "the sync high end is not set",
    "reproduce_azimuth": "the reproduce head's angle is only read",
    "record_azimuth": "the record head's angle is not looked at",
}
"""What becomes of each quantity on a deck without its trimmer."""


def plan_from_state(calibration: Mapping[str, Any], stock: Mapping[str, Any]) -> Plan:
    """A plan from what the deck shows with each tape loaded (`contracts/deck-controls.md`).

    DeckError if something that a line-up needs is not told, or is no number.
    """
    try:
        plan = _plan(calibration, stock)
    except KeyError as missing:
        raise DeckError(
            f"the deck or a sheet does not tell {missing.args[0]!r}; a line-up cannot do without"
        ) from None
    except (TypeError, ValueError, AttributeError, ZeroDivisionError) as error:
        raise DeckError(f"what the deck or a sheet tells cannot be used: {error}") from None
    _ = plan.level_section, plan.high_section  # a tape without them is told now
    return replace(plan, remarks=(*plan.remarks, *_of_fringing(plan)))


def _plan(calibration: Mapping[str, Any], stock: Mapping[str, Any]) -> Plan:
    sheet, reel = calibration["data_sheet"], stock["data_sheet"]
    tracks, pitch = int(stock["tracks"]), float(stock["track_pitch_mm"] or 0.0)
    speed = float(stock["speed_ips"])
    eq = stock["equalisation"]
    electrical = stock["electrical"]
    outer = (tracks - 1) * pitch + float(stock["track_width_mm"])
    widths = sorted({f.tape_width_mm for f in FORMATS})
    tape_width = next((w for w in widths if outer <= w * 1.01), widths[-1])
    trimmers, remarks = _trimmers(stock["trimmers"])
    drop_db, tone_hz, estimated = _over_bias(reel, speed, float(stock["record_gap_um"]))
    level_db = reel.get("over_bias_level_db")
    return Plan(
        tracks=tracks,
        speed_ips=speed,
        equalisation=Equalisation(eq["t1_us"], eq["t2_us"]),
        pitch_mm=pitch,
        width_mm=float(stock["track_width_mm"]),
        tape_width_mm=tape_width,
        head_spacing_mm=float(stock["head_spacing_mm"]),
        record_gap_um=float(stock["record_gap_um"]),
        zero_dbfs=electrical["zero_vu_dbu"] - electrical["interface_full_scale_dbu"],
        operating_nwb_per_m=float(stock["operating_fluxivity_nwb_per_m"]),
        calibration_nwb_per_m=float(sheet["fluxivity_nwb_per_m"]),
        reference_hz=float(sheet["reference_frequency_hz"]),
        full_width=sheet["width"] == "full",
        fringing_compensated=str(sheet.get("fringing_compensated", "unknown")),
        sections=tuple(_section(s, tracks) for s in sheet["sections"]),
        over_bias_db=drop_db,
        over_bias_hz=tone_hz,
        over_bias_level_db=BIAS_LEVEL_DB if level_db is None else float(level_db),
        trimmers=trimmers,
        master_bias="bias" in stock["trimmers"]["per_stack"],
        remarks=(*remarks, *estimated, *_of_levels(electrical)),
    )


def _section(told: Mapping[str, Any], tracks: int) -> Section:
    """A section of the sheet; what it says of single tracks counts on a deck with as many."""
    of_tracks = tuple(float(db) for db in told.get("track_db") or ())
    return Section(
        told["section"],
        float(told["frequency_hz"]),
        float(told["level_db"]),
        float(told["seconds"]),
        of_tracks if len(of_tracks) == tracks else (),
    )


def _trimmers(kinds: Mapping[str, Any]) -> tuple[frozenset[str], tuple[str, ...]]:
    """The trimmers that the line-up sets, and what is to be said of the others."""
    per_track, per_stack = frozenset(kinds["per_track"]), frozenset(kinds["per_stack"])
    fit = (per_track & PER_TRACK) | (per_stack & (PER_STACK | {"bias"}))
    remarks = []
    for kind in sorted((per_track | per_stack) - fit):
        name, where = kind.replace("_", " "), "per track" if kind in per_track else "for all tracks"
        remarks.append(f"the deck has a trimmer {name!r} {where}; it is left as it is")
    for kind, then in MISSED.items():
        if kind not in fit and kind not in per_track | per_stack:
            remarks.append(f"the deck has no trimmer {kind.replace('_', ' ')!r}: {then}")
    return fit, tuple(remarks)


def _over_bias(
    reel: Mapping[str, Any], speed_ips: float, gap_um: float
) -> tuple[float, float, tuple[str, ...]]:
    """Over-bias in dB and its tone in Hz on this deck, and a remark if they are an estimate."""
    told_db = float(reel["over_bias_db"])
    told_ips = float(reel.get("speed_ips") or speed_ips)
    told_um = float(reel.get("record_gap_um") or gap_um)
    told_hz = float(reel.get("over_bias_frequency_hz") or bias_frequency_hz(told_ips))
    if told_ips == speed_ips and abs(told_um / gap_um - 1.0) <= SAME_GAP_RATIO:
        return told_db, told_hz, ()
    tone_hz = told_hz if told_ips == speed_ips else float(bias_frequency_hz(speed_ips))
    drop_db = translate_over_bias(
        told_db, told_hz, told_ips, told_um,
        to_frequency_hz=tone_hz, to_speed_ips=speed_ips, to_record_gap_um=gap_um,
    ).drop_db  # fmt: skip
    remark = (
        f"the stock's sheet means {told_db:g} dB at {pitch(told_hz)}, {told_ips:g} in/s and a"
        f" record gap of {told_um:g} um; here {drop_db:.1f} dB at {pitch(tone_hz)} is an estimate"
    )
    return drop_db, tone_hz, (remark,)


def _of_levels(electrical: Mapping[str, Any]) -> tuple[str, ...]:
    """What is to be said of channels whose full scale nobody measured."""
    if electrical.get("uncalibrated"):
        said = (
            "the interface is not calibrated: its levels hold among themselves, not in dBu, and"
            " 0 VU is taken where alignment level is usual"
        )
        return (said,)
    inputs = tuple(
        f"input {channel} is not calibrated: its levels hold among themselves, not in dBu"
        for channel in electrical.get("relative_inputs") or ()
    )
    outputs = tuple(
        f"output {channel} is not calibrated: what it sends is not known in dBu"
        for channel in electrical.get("relative_outputs") or ()
    )
    return (*inputs, *outputs)


def _of_fringing(plan: Plan) -> tuple[str, ...]:
    if not plan.full_width or plan.fringing_compensated in ("no", "for format"):
        return ()
    rise_db = float(plan.full_width_rise_db(LEVEL_HZ).mean())
    said = (
        "the calibration tape's sheet does not say whether fringing is compensated: it is taken as"
        f" compensated, else 1 kHz reads {rise_db:.1f} dB high here and levels end so much low"
    )
    return (said,)
