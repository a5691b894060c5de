"""A line-up written into a book by hand: its numbers are given here, nothing is measured."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fluxbench.book import Book, Entry, LineUpRow, Page

SECTIONS = [(1000.0, 0.0, 30.0), (16_000.0, 0.0, 20.0), (10_000.0, 0.0, 30.0), (1000.0, 0.0, 15.0)]
SPOTS_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 2000.0, 4000.0, 8000.0, 12_500.0, 16_000.0, 20_000.0)
PER_TRACK = [
    "reproduce_level", "reproduce_high", "reproduce_low", "bias", "record_level", "record_high",
    "sync_level", "sync_high",
]  # fmt: skip
STAGES = (
    "input check", "prepare", "reproduce", "sync", "load", "azimuth", "bias", "record high end",
    "record level", "azimuth again", "low end", "verify", "close",
)  # fmt: skip

Facts = dict[str, Any]
Step = tuple[str, Facts]


def shown(tracks: int, names: Mapping[str, str] | None = None) -> Facts:
    """What a deck shows with either tape; a tape of the deck's own width, so no fringing."""
    called = {"deck": "", "stock": "", "calibration": "", **(names or {})}
    width_mm = {4: 1.8, 8: 1.9}.get(tracks, 1.0)
    pitch_mm = {4: 3.1, 8: 3.2}.get(tracks, 2.134)
    deck = {
        "name": called["deck"], "tracks": tracks, "rate_hz": 48_000, "speed_ips": 15.0,
        "equalisation": {"t1_us": None, "t2_us": 35.0}, "track_pitch_mm": pitch_mm,
        "track_width_mm": width_mm, "record_gap_um": 9.0, "head_spacing_mm": 45.0,
        "electrical": {"zero_vu_dbu": 4.0, "interface_full_scale_dbu": 20.0},
        "operating_fluxivity_nwb_per_m": 355.0,
        "trimmers": {
            "per_track": PER_TRACK, "per_stack": ["reproduce_azimuth", "record_azimuth"],
            "turns": 20,
        },
    }  # fmt: skip
    tones = SECTIONS + [(f, 0.0, 8.0) for f in SPOTS_HZ]
    tape = {
        "name": called["calibration"], "tape": "calibration", "fluxivity_nwb_per_m": 250.0,
        "reference_frequency_hz": 1000.0, "width": "multi-track", "fringing_compensated": "no",
        "sections": [
            {"section": n, "start_s": 0.5, "seconds": s, "frequency_hz": f, "level_db": level}
            for n, (f, level, s) in enumerate(tones)
        ],
    }  # fmt: skip
    stock = {
        "name": called["stock"], "tape": "stock", "over_bias_db": 2.8,
        "over_bias_frequency_hz": 10_000, "over_bias_level_db": -20, "record_gap_um": 9.0,
        "speed_ips": 15.0,
    }  # fmt: skip
    return {"calibration": {**deck, "data_sheet": tape}, "stock": {**deck, "data_sheet": stock}}


def spread(tracks: int, wide_db: float, about_db: float = 0.0, turn: int = 7) -> list[float]:
    """Numbers that scatter over the tracks, the same every time."""
    steps = [((t * turn + 3) % 11 - 5) / 5.0 for t in range(tracks)]
    return [round(about_db + wide_db * step, 4) for step in steps]


TARGET_DB = -3.046
"""20 lg 250/355, by hand: lg 0.704225 = -0.152288, times 20 = -3.04577."""


def whole(tracks: int, **instead: Any) -> list[Step]:
    """A line-up from plan to close; `instead` replaces a list of numbers by its name."""
    given = {
        "level_found": spread(tracks, 0.9, TARGET_DB), "level_left": spread(tracks, 0.04, 0.0, 3),
        "high_found": spread(tracks, 1.6, TARGET_DB, 5), "high_left": spread(tracks, 0.09, 0.0, 4),
        "sync_found": spread(tracks, 1.1, TARGET_DB, 2), "sync_left": spread(tracks, 0.05, 0.0, 6),
        "bias_found": spread(tracks, 0.8, -20.9, 8), "bias_left": spread(tracks, 0.12, 2.8, 9),
        "peak": spread(tracks, 0.5, -18.7, 4), "record_left": spread(tracks, 0.05, 0.0, 10),
        "record_high_left": spread(tracks, 0.1, 0.0, 2), "low_left": spread(tracks, 0.08, 0.0, 3),
        **instead,
    }  # fmt: skip
    errors = [0.011] * tracks
    steps: list[Step] = [("begun", {"kind": "line-up"}), ("plan", {"tracks": tracks})]

    def stage(name: str) -> None:
        steps.append(("stage", {"name": name}))

    def table(kind: str, trimmer: str, **facts: Any) -> None:
        steps.append((f"as {kind}", {"trimmer": trimmer, **facts}))

    stage("input check")
    stage("prepare")
    steps.append(("safe", {"proved": True}))
    steps.append(("hum", {"level_db": [-66.0] * (tracks - 1) + [-61.4]}))
    stage("reproduce")
    slope = {str(n): spread(tracks, 0.2 + 0.05 * n, TARGET_DB) for n in range(15)}
    steps.append(("calibration pass", {"monitor": "reproduce", "level_db": slope}))
    steps.append(("speed", {"percent": -0.07}))
    table("found", "reproduce_azimuth", arcmin=1.42, error_arcmin=0.02)
    table("left", "reproduce_azimuth", arcmin=0.03, error_arcmin=0.011)
    for head, found, left in (("reproduce", "level_found", "level_left"),
                              ("sync", "sync_found", "sync_left")):  # fmt: skip
        if head == "sync":
            stage("sync")
        table("found", f"{head}_level", reading_db=given[found])
        table("found", f"{head}_high", reading_db=given["high_found"], target_db=[9.0] * tracks)
        reading = [TARGET_DB] * tracks
        table("left", f"{head}_high", reading_db=reading, error_db=[0.017] * tracks)
        table("left", f"{head}_level", reading_db=reading, error_db=errors)
        table("left", f"{head}_high", deviation_db=given["high_left"])
        table("left", f"{head}_level", deviation_db=given[left])
    stage("load")
    steps.append(("erasure", {"left_db": [-71.0] * (tracks - 1) + [-68.2]}))
    stage("azimuth")
    table("found", "record_azimuth", arcmin=-2.05, error_arcmin=0.03)
    table("left", "record_azimuth", arcmin=0.2, error_arcmin=0.05)
    stage("bias")
    table("found", "bias", reading_db=given["bias_found"], companion_db=[-30.0] * tracks)
    table("left", "bias", over_bias_db=given["bias_left"], peak_db=given["peak"],
          peak_error_db=[0.021] * tracks)  # fmt: skip
    stage("record high end")
    table("found", "record_level", reading_db=spread(tracks, 0.7, 0.1, 6))
    table("found", "record_high", reading_db=spread(tracks, 1.2, -20.3, 3),
          target_db=[-20.1] * tracks)  # fmt: skip
    table("left", "record_high", reading_db=[-20.1] * tracks, error_db=[0.019] * tracks)
    stage("record level")
    table("found", "record_level", reading_db=[0.4] * tracks, target_db=[0.0] * tracks)
    table("left", "record_level", reading_db=[0.0] * tracks, error_db=[0.009] * tracks)
    stage("azimuth again")
    table("found", "record_azimuth", arcmin=0.31, error_arcmin=0.03)
    table("left", "record_azimuth", arcmin=0.05, error_arcmin=0.012)
    stage("low end")
    table("found", "reproduce_low", reading_db=spread(tracks, 1.3, 0.2), target_db=[0.0] * tracks)
    table("left", "reproduce_low", reading_db=given["low_left"], error_db=[0.03] * tracks)
    stage("verify")
    steps.append(("verify", {"record_level_db": given["record_left"],
                             "record_high_db": given["record_high_left"]}))  # fmt: skip
    bump_hz = (63.0, 125.0, 250.0, 500.0, 2e3, 4e3, 8e3, 12_500.0, 16e3, 10e3, 20e3)
    bump_db = (0.8, -0.4, 0.1, 0.0, 0.1, 0.0, -0.1, -0.3, -0.8, -0.1, -2.4)
    bump = zip(bump_hz, bump_db, strict=True)
    rows = {f"{f:g}": spread(tracks, 0.25, off, 3 + n) for n, (f, off) in enumerate(bump)}
    steps.append(("response", {"level_db": given.get("response", rows)}))
    for tape, rate in (("calibration tape", 0.0), ("stock", 0.4)):
        rates = [rate] * (tracks - 1) + [rate * 3]
        steps.append(("drop-outs", {"tape": tape, "per_min": rates, "minutes": 3.5}))
    stage("close")
    steps.append(("closed", {"reason": None}))
    return steps


def write_lineup(
    path: Path,
    plan: Facts,
    steps: Sequence[Step],
    lineup: str = "20260312-081500-7c1d",
    kind: str = "line-up",
    begun_at: str = "2026-03-12T08:15:00.000Z",
) -> None:
    """Write a line-up into the book at a path, closed if its last step ends it."""
    last, facts = steps[-1]
    row = LineUpRow(lineup, kind, begun_at, plan)
    entries = [
        Entry(0, lineup, f"2026-03-12T08:{15 + n // 60:02d}:{n % 60:02d}.000Z", 2.0 * n, what, f)
        for n, (what, f) in enumerate(steps)
    ]
    book = Book(path)
    try:
        book.write(
            Page(
                lineup=lineup,
                begun=row,
                entries=entries,
                closed=last in ("closed", "stopped"),
                stopped=facts.get("reason") if last == "stopped" else None,
            )
        )
    finally:
        book.close()
