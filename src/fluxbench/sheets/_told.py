"""Everything on the sheet as texts and pictures, in the order of the pages."""

from itertools import pairwise
from typing import Any

from fluxbench.sheets._contents import Contents, Response
from fluxbench.sheets._figure import Picture, draw
from fluxbench.sheets._instruments import NOT_RECORDED
from fluxbench.sheets._plan_told import CM_PER_INCH, NOT_GIVEN, plan_told, speed_told
from fluxbench.sheets._table_told import angles_told, columns_told, farthest, headline
from fluxbench.sheets._verified_told import verified_told
from fluxbench.sheets._words import NOT_READ, TRIMMERS, one_line
from fluxbench.trade import pitch

WIDTH_MM, WHOLE_WIDTH_MM = 82.0, 176.0
HEIGHT_MM, LOW_HEIGHT_MM, WIDE_HEIGHT_MM = 41.0, 30.0, 52.0
ONE_PAGE_HEIGHT_MM = 23.0
"""Of a figure under 24 tracks on A4, where pages are full, and of one as wide as the page."""
FEW_TRACKS = 8
"""So many may stand on one page; on two the first figure fills the first."""
ROW_MM, MOST_TRACKS = 3.25, 24
LESS_MM = {"us-letter": 15.0}
"""What a page is lower than A4, as far as a figure has to make up for it."""
LONGEST_REASON = 90
MOST_CHECKS = 3
MOST_INTERRUPTIONS = 3

CAUTIONS = (
    (
        "This sheet advises. The deck's own manual, local rules and qualified people decide; "
        "covers stay on, mains voltage inside is for qualified people only."
    ),
    (
        "Calibration tape: every track safe before it is threaded, never threaded while the deck "
        "is switched on, stored as played, away from magnets, motors and loudspeakers."
    ),
    (
        "Trimmers: plastic tools; steel detunes and scratches, magnetised steel ruins tapes. "
        "Monitors and headphones down before a tone."
    ),
)
"""Common practice, no source."""

AZIMUTH_OF_TAPE = "a calibration tape's own azimuth is good to about 1 arc-min (common practice)"


def told(
    contents: Contents, version: str, notes: int, tight: bool, size: str = "a4"
) -> tuple[dict[str, Any], dict[str, bytes]]:
    """What the page template is given: plain values, and pictures by name.

    So many notes at most; `tight` where the pages would not hold it otherwise.
    """
    pictures: dict[str, bytes] = {}
    figures = []
    few = contents.plan.tracks <= FEW_TRACKS
    shown = contents.responses[:2]
    wide_mm = WHOLE_WIDTH_MM if len(shown) == 1 or (few and not tight) else WIDTH_MM
    high_mm = _height_mm(contents, tight, size)
    for number, response in enumerate(shown):
        picture = draw(response, contents.plan.tolerances, wide_mm, high_mm)
        pictures[f"figure-{number}"] = picture.svg
        figures.append(_figure(response, picture))
    plan = contents.plan
    values: dict[str, Any] = {
        "lineup": contents.lineup,
        "deck": contents.deck_name or f"{plan.tracks}-track deck",
        "begun": _when(contents.begun_at),
        "year": contents.begun_at[:10],
        "version": version,
        "state": _state(contents),
        "running": not contents.closed,
        "speed": speed_told(contents),
        "headline": headline(contents),
        "farthest": farthest(contents),
        "plan": plan_told(contents),
        "tracks": plan.tracks,
        "few": few,
        "tight": tight,
        "marked": _tracks_with_notes(contents),
        "columns": columns_told(contents),
        "angles": angles_told(contents),
        "statements": [_setting(contents), _absolute(contents)],
        "figures": figures,
        "band": _band(contents),
        "done": ", ".join(s["name"] for s in contents.stages if s["status"] == "done"),
        "stages": [_stage(stage) for stage in contents.stages if stage["status"] != "done"],
        "conditions": [
            *contents.conditions,
            *_flutter(contents),
            ("Interruptions", _interruptions(contents)),
        ],
        "notes": _shortened(contents.notes, notes, "more in the journal of this line-up"),
        "checks": [(_when(at), words) for at, words in contents.checks[-MOST_CHECKS:]],
        "verified": verified_told(contents.verified, plan.tracks),
        "cautions": CAUTIONS,
        "instruments": contents.instruments,
        "tones": contents.tones or NOT_RECORDED,
        "tape_um_per_us": f"{plan.speed_ips * CM_PER_INCH / 100.0:.2g}",
        "wide": [wide_mm, high_mm],
    }
    return values, pictures


def _height_mm(contents: Contents, tight: bool, size: str) -> float:
    """How high a figure may be, so that the first page is full."""
    if tight and contents.plan.tracks <= FEW_TRACKS:
        return ONE_PAGE_HEIGHT_MM
    if tight:
        return LOW_HEIGHT_MM - LESS_MM.get(size, 0.0) / 3.0
    less_mm = LESS_MM.get(size, 0.0)
    if contents.plan.tracks <= FEW_TRACKS:
        return WIDE_HEIGHT_MM - less_mm
    return HEIGHT_MM + (MOST_TRACKS - contents.plan.tracks) * ROW_MM - less_mm


def _flutter(contents: Contents) -> list[tuple[str, str]]:
    """A line-up does not read it; a verification may, both ways, which is no standard's."""
    rows = () if contents.verified is None else contents.verified.rows
    if any(row.of == "flutter" for row in rows):
        return [("Flutter", "under Verified; both of recording and playing, no standard's figure")]
    return [("Flutter", NOT_RECORDED)]


def _when(at: str) -> str:
    return f"{at[:10]}, {at[11:16]} UTC"


def _state(contents: Contents) -> str:
    if contents.stopped is not None:
        return f"Stopped on the way: {contents.stopped}"
    if contents.closed and contents.last_at < contents.begun_at:
        return "Finished; the clock of the bench was set back meanwhile"
    if contents.closed:
        return f"Finished {_when(contents.last_at)}"
    now = next((s["name"] for s in contents.stages if s["status"] == "now"), "plan")
    return f"Sheet so far: the line-up still runs ({now}), {_when(contents.last_at)}"


def _figure(response: Response, picture: Picture) -> dict[str, Any]:
    return {
        "title": response.title,
        "along": picture.along,
        "up": picture.up,
        "named": picture.named,
    }


def _band(contents: Contents) -> str:
    bands = contents.plan.tolerances
    return (
        f"dB off target. Shaded: ±{bands.response_db:g} dB from {pitch(bands.response_low_hz)} to "
        f"{pitch(bands.response_high_hz)}; a track that leaves it is heavy and has its number"
    )


def _tracks_with_notes(contents: Contents) -> list[int]:
    marked = []
    for track in range(1, contents.plan.tracks + 1):
        name = f"track {track}"
        if any(name in _words(note) for note in contents.notes):
            marked.append(track)
    return marked


def _words(note: str) -> set[str]:
    words = note.replace(",", " ").replace(":", " ").replace(";", " ").split()
    return {f"{a} {b}" for a, b in pairwise(words)}


def _stage(stage: Any) -> tuple[str, str, str]:
    status = "under way" if stage["status"] == "now" else stage["status"]
    words = {"due": "not come to", "disturbed": "disturbed since, not read again"}
    reason = "" if stage["reason"] is None else one_line(stage["reason"], LONGEST_REASON)
    return stage["name"], words.get(status, status), reason


def _shortened(texts: tuple[str, ...], most: int, rest: str) -> list[str]:
    if len(texts) <= most:
        return list(texts)
    return [*texts[: most - 1], f"{len(texts) - most + 1} {rest}"]


def _interruptions(contents: Contents) -> str:
    if not contents.interruptions:
        return "none"
    return "; ".join(_shortened(contents.interruptions, MOST_INTERRUPTIONS, "more"))


def _setting(contents: Contents) -> tuple[str, str]:
    parts = []
    for column in contents.columns:
        known = [e for e in column.error_db if e is not None]
        if known:
            head, what = TRIMMERS[column.trimmer]
            name = "bias peak" if column.trimmer == "bias" else f"{head} {what}".lower()
            parts.append(f"{name} {max(known):.3f} dB")
    parts += [
        f"{angle.trimmer.replace('_', ' ')} {angle.error_arcmin:.3f} arc-min"
        for angle in contents.angles
        if angle.error_arcmin is not None
    ]
    said = "; ".join(parts) if parts else NOT_READ
    return (
        "Setting: how well the deck agrees with this calibration tape",
        f"Repeatability alone, the greatest standard error of any track as left: {said}.",
    )


def _absolute(contents: Contents) -> tuple[str, str]:
    known = contents.uncertainty
    tape, interface = known.tape_db, known.interface_db
    if tape is None or interface is None:
        said = (
            "Not calibrated. "
            f"Calibration tape: {NOT_GIVEN if tape is None else f'±{tape:.2f} dB'}; "
            f"interface: {'not calibrated' if interface is None else f'±{interface:.2f} dB'}. "
            "Nothing is claimed of the flux itself"
        )
    else:
        total = (tape**2 + interface**2) ** 0.5
        said = (
            f"Levels ±{total:.2f} dB, one standard deviation, the same for all tracks together "
            f"(calibration tape ±{tape:.2f}, interface ±{interface:.2f})"
        )
    if contents.plan.full_width and contents.plan.fringing_compensated == "no":
        said += "; fringing is worked out by a model and adds to it, most at long waves"
    return "Absolute: how true that is", f"{said}; {AZIMUTH_OF_TAPE}."
