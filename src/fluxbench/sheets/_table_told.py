"""The trimmers of every track in figures that line up on the decimal point."""

from typing import Any

from fluxbench.sheets._contents import Column, Contents, StackAngle, Standing
from fluxbench.sheets._words import NOT_READ, TRIMMERS, listed, plain, signed
from fluxbench.trade import HIGH_END_HZ, LEVEL_HZ, pitch

MOST_FARTHEST = 5


def columns_told(contents: Contents) -> list[dict[str, Any]]:
    """Each trimmer as texts by track: deviations found and left, readings, targets, errors."""
    return [_column(contents, column) for column in contents.columns]


def angles_told(contents: Contents) -> list[dict[str, Any]]:
    """Each head's azimuth as texts."""
    return [_angle(angle) for angle in contents.angles]


def headline(contents: Contents) -> list[str]:
    """What is to be known at once: a sentence or two."""
    out = contents.tracks_at(Standing.OUT)
    accepted = [t for t in contents.tracks_at(Standing.ACCEPTED) if t not in out]
    unread = contents.tracks_at(Standing.NOT_READ)
    lines = []
    if out:
        lines.append(f"Outside what is accepted: {_tracks(out)}.")
    if accepted:
        lines.append(f"Accepted, not within the set band: {_tracks(accepted)}.")
    if unread:
        whole = len(unread) == contents.plan.tracks
        lines.append(f"Not read to the end: {'every track' if whole else _tracks(unread)}.")
    heads = [angle for angle in contents.angles if angle.standing is Standing.OUT]
    lines += [f"{_head(angle)} azimuth stands outside what is accepted." for angle in heads]
    if not lines:
        lines.append("Every trimmer of every track stands within its set band.")
    return lines


def farthest(contents: Contents) -> list[tuple[str, str, str]]:
    """The trimmers left farthest from their target: track, trimmer, deviation and its limit."""
    return [
        (
            str(track + 1),
            " ".join(TRIMMERS[column.trimmer]).replace("Bias over-bias", "Over-bias"),
            f"{signed(column.left_db[track])} dB (±{column.band.accept_db:.2f})",
        )
        for _, column, track in contents.worst[:MOST_FARTHEST]
    ]


def _tracks(numbers: list[int]) -> str:
    return f"track{'s' * (len(numbers) > 1)} {listed(numbers)}"


def _column(contents: Contents, column: Column) -> dict[str, Any]:
    head, what = TRIMMERS[column.trimmer]
    bias = column.trimmer == "bias"
    tracks = range(contents.plan.tracks)
    found = [abs(f) if bias and f is not None else f for f in column.found_db]
    return {
        "head": head,
        "what": what,
        "tone": _tone(contents, column.trimmer),
        "set": f"±{column.band.set_db:.2f}",
        "accept": f"±{column.band.accept_db:.2f}",
        "farthest": signed(max(column.left_db, key=lambda off: abs(off or 0.0))),
        "found": [_cell(f, bias) for f in found],
        "found_is": "fall" if bias else "found",
        "left": [_cell(off, False) for off in column.left_db],
        "way": [_way(off) for off in column.left_db],
        "standing": [column.standing(t).value for t in tracks],
        "target": [_cell(t, True) for t in (column.peak_db if bias else column.target_db)],
        "target_is": "peak" if bias else "target",
        "over": [_cell(o, True) for o in _over_bias_db(column)] if bias else [],
        "error": [_cell(e, True, 3) for e in column.error_db],
        "bias": bias,
    }


def _tone(contents: Contents, trimmer: str) -> str:
    plan = contents.plan
    if trimmer == "bias":
        return pitch(plan.over_bias_hz)
    if trimmer == "reproduce_low":
        return "40–125 Hz"
    if trimmer.startswith("record_"):
        return pitch(LEVEL_HZ if trimmer.endswith("level") else HIGH_END_HZ)
    section = plan.level_section if trimmer.endswith("level") else plan.high_section
    return pitch(section.frequency_hz)


def _angle(angle: StackAngle) -> dict[str, Any]:
    return {
        "name": _head(angle),
        "target": plain(angle.target_arcmin),
        "found": signed(angle.found_arcmin),
        "left": "upright" if angle.by_output else signed(angle.left_arcmin),
        "error": plain(angle.error_arcmin, 3),
        "off": f"±{plain(angle.error_arcmin)}" if angle.by_output else signed(angle.off_arcmin),
        "degrees": signed(angle.left_deg, 0),
        "tone": pitch(angle.phase_hz),
        "set": f"±{angle.set_arcmin:g}",
        "accept": f"±{angle.accept_arcmin:g}",
        "standing": angle.standing.value,
        "by_output": angle.by_output,
        "scatter": [signed(us, 1) for us in angle.scatter_us],
    }


def _head(angle: StackAngle) -> str:
    return angle.trimmer.partition("_")[0].capitalize() + " head"


def _cell(value: float | None, bare: bool, decimals: int = 2) -> str:
    if value is None:
        return NOT_READ
    return plain(value, decimals) if bare else signed(value, decimals)


def _way(off: float | None) -> int:
    return 0 if off is None else (-1 if off > 0 else 1)


def _over_bias_db(column: Column) -> list[float | None]:
    return [
        None if off is None or target is None else target + off
        for off, target in zip(column.left_db, column.target_db, strict=True)
    ]
