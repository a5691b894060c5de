"""What a line-up is about, from the book: the plan of a deck that cannot be asked, and snapshots.

A line-up keeps what each thing was when it began, so that no later edit changes an old sheet.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.book import KINDS, Records, Version
from fluxbench.session._full_scales import (
    KnownChannel,
    calibrations_of,
    channels_of,
    electrical_of,
)
from fluxbench.trade import Equalisation, equalisation_named

NAMES = {
    "deck": "decks",
    "tape": "tapes",
    "batch": "batches",
    "stock": "stocks",
    "interface": "interfaces",
    "printed_on": "reels",
}
"""Fields of `begin` that name a thing of the book, and its kind."""

Facts = Mapping[str, Any]
Known = Mapping[str, Version]


def begun_with(book: Records, fields: Facts, shown: Facts | None) -> dict[str, Any]:
    """What a line-up begins with: what the deck shows, or the book knows, and snapshots.

    `shown` is None for a deck that cannot be asked. MisuseError for things that are not there or
    do not fit together, and for what a plan cannot do without.
    """
    if fields.get("kind") == "working copy":
        for name in ("tape", "copy_name"):
            if fields.get(name) is None:
                raise MisuseError(f"{name}: say which tape of the book is copied, and its name")
    known = _known(book, fields)
    calibrations = calibrations_of(book, known["interface"].id) if "interface" in known else []
    if calibrations:
        known["calibration"] = calibrations[-1]
    channels = channels_of(calibrations)
    whole = _shown(known, fields, channels) if shown is None else dict(shown)
    whole.pop("book", None)
    if not known:
        return whole
    _check_tracks(known, whole)
    return _named(whole, known) | {"book": {name: v.snapshot for name, v in known.items()}}


def ids_of(shown: Facts) -> dict[str, str | None]:
    """The ids of deck, tape and batch that a line-up names."""
    kept = shown.get("book") or {}
    return {name: (kept.get(name) or {}).get("id") for name in ("deck", "tape", "batch")}


def _known(book: Records, fields: Facts) -> dict[str, Version]:
    known = {
        name: _newest(book, kind, str(fields[name]))
        for name, kind in NAMES.items()
        if fields.get(name) is not None
    }
    if "batch" in known:
        stock = str(known["batch"].facts["stock"])
        if "stock" in known and known["stock"].id != stock:
            raise MisuseError("batch: it is of another stock; leave stock out, or name its own")
        known["stock"] = _newest(book, "stocks", stock)
    return known


def _newest(book: Records, kind: str, thing: str) -> Version:
    versions = book.versions(kind, thing)
    one = KINDS[kind].one
    if not versions:
        raise MisuseError(f"the book has no {one} {thing!r}")
    if versions[-1].retired:
        name = versions[-1].facts["name"]
        raise MisuseError(f"the {one} {name!r} is retired; take it back first, or choose another")
    return versions[-1]


def _check_tracks(known: Known, whole: Facts) -> None:
    try:
        tracks = int(whole["stock"]["tracks"])
    except (KeyError, TypeError, ValueError):
        return  # told when the plan is made
    if "deck" in known and known["deck"].known["tracks"] != tracks:
        has = known["deck"].known["tracks"]
        raise MisuseError(
            f"deck: {known['deck'].facts['name']} has {has} tracks in the book, this deck {tracks}"
        )


def _named(whole: Facts, known: Known) -> dict[str, Any]:
    """The same with the names of the book, which the sheet shows."""
    calibration, stock = (_facts(whole.get(tape)) for tape in ("calibration", "stock"))
    sheet, reel = (_facts(tape.get("data_sheet")) for tape in (calibration, stock))
    for name, of in (("deck", stock), ("tape", sheet), ("stock", reel)):
        if name in known:
            of["name"] = known[name].facts["name"]
    if "batch" in known:
        reel["batch"] = known["batch"].facts["name"]
    return {
        **whole,
        "calibration": {**calibration, "data_sheet": sheet},
        "stock": {**stock, "data_sheet": reel},
    }


def _facts(told: object) -> dict[str, Any]:
    """What was told if it is facts: whatever else it is, the plan refuses it by name."""
    return dict(told) if isinstance(told, Mapping) else {}


def _shown(known: Known, fields: Facts, channels: Sequence[KnownChannel]) -> dict[str, Any]:
    """What a deck that could be asked would show."""
    for name in ("deck", "tape", "stock"):
        if name not in known:
            raise MisuseError(
                f"this deck cannot be asked; name deck, tape and stock (or batch) of the book, or "
                f"give its plan with the command ({name} is missing)"
            )
    deck = known["deck"].known
    speed = _speed(deck, fields.get("speed_ips"))
    state = {
        "tracks": deck["tracks"],
        "speed_ips": speed["speed_ips"],
        "equalisation": {"t1_us": speed["t1_us"], "t2_us": speed["t2_us"]},
        "track_pitch_mm": deck["track_pitch_mm"],
        "track_width_mm": deck["track_width_mm"],
        "record_gap_um": deck["record_gap_um"],
        "head_spacing_mm": deck["head_spacing_mm"],
        "electrical": _electrical(deck, known.get("interface"), channels, fields),
        "operating_fluxivity_nwb_per_m": deck["operating_fluxivity_nwb_per_m"],
        "trimmers": _trimmers(deck, speed["speed_ips"]),
    }
    tape = _tape(known["tape"].facts, deck, speed)
    return {
        "calibration": {**state, "data_sheet": tape},
        "stock": {**state, "data_sheet": _reel(known, state)},
    }


def _speed(deck: Facts, wanted_ips: float | None) -> Facts:
    speeds: dict[float | None, Facts] = {
        speed["speed_ips"]: speed
        for speed in deck["speeds"]
        if speed["speed_ips"] in deck["speeds_ips"]
    }
    for speed_ips in deck["speeds_ips"]:
        if speed_ips not in speeds:  # its constants follow from the standard's name
            speeds[speed_ips] = _of_standard(deck, speed_ips)
    if wanted_ips is None and len(speeds) == 1:
        return next(iter(speeds.values()))
    if wanted_ips not in speeds:
        told = " or ".join(f"{speed_ips:g}" for speed_ips in speeds)
        raise MisuseError(f"speed_ips: this deck runs at {told}; say which")
    return speeds[wanted_ips]


def _of_standard(deck: Facts, speed_ips: float) -> Facts:
    named = equalisation_named(deck["equalisation"], speed_ips)
    return {"speed_ips": speed_ips, "t1_us": named.t1_us, "t2_us": named.t2_us}


def _electrical(
    deck: Facts, interface: Version | None, channels: Sequence[KnownChannel], fields: Facts
) -> dict[str, Any]:
    has = {} if interface is None else interface.facts
    chosen = fields.get("channels") or {}
    inputs, outputs = (
        chosen.get(side) or range(1, min(deck["tracks"], has.get(side) or deck["tracks"]) + 1)
        for side in ("inputs", "outputs")
    )
    return electrical_of(deck["zero_vu_dbu"], channels, inputs, outputs)


def _trimmers(deck: Facts, speed_ips: float) -> dict[str, Any]:
    fit = [t for t in deck["trimmers"] if speed_ips in (t["speeds_ips"] or [speed_ips])]
    return {
        "per_track": [t["name"] for t in fit if t["per"] == "track"],
        "per_stack": [t["name"] for t in fit if t["per"] != "track"],
    }


def _tape(tape: Facts, deck: Facts, speed: Facts) -> dict[str, Any]:
    """The sheet of a calibration tape, its levels as this deck's equalisation should read them."""
    if tape["speed_ips"] != speed["speed_ips"]:
        raise MisuseError(
            f"tape: {tape['name']} is for {tape['speed_ips']:g} in/s, not {speed['speed_ips']:g}"
        )
    own, other = (Equalisation(e["t1_us"], e["t2_us"]) for e in (tape, speed))
    reference_hz = tape["reference_frequency_hz"]

    def level_db(section: Facts) -> float:
        frequency_hz = section["frequency_hz"]
        flux_db = own.flux_re_db(frequency_hz, reference_hz)
        asked_db = other.flux_re_db(frequency_hz, reference_hz)
        more_db = 0.0 if own == other else float(flux_db - asked_db)
        return float(section["level_db"] + section["correction_db"] + more_db)

    fringing = tape["fringing_compensated"]
    if fringing == "for format" and tape["format"] != deck["format"]:
        fringing = "unknown"
    return {
        "tape": "calibration",
        "fluxivity_nwb_per_m": tape["fluxivity_nwb_per_m"],
        "reference_frequency_hz": reference_hz,
        "width": tape["width"],
        "fringing_compensated": fringing,
        "level_uncertainty_db": tape["level_uncertainty_db"],
        "sections": [
            {
                "section": number,
                "frequency_hz": section["frequency_hz"],
                "level_db": level_db(section),
                "seconds": section["seconds"],
                "start_s": section["start_s"],
                "track_db": section["track_corrections_db"],
            }
            for number, section in enumerate(tape["sections"])
        ],
    }


def _reel(known: Known, state: Facts) -> dict[str, Any]:
    """The line of the data sheet that is nearest to this speed and gap; the batch's goes before."""
    batch = known.get("batch")
    lines = (batch.facts["over_bias"] if batch else ()) or known["stock"].facts["over_bias"]
    if not lines:
        name = known["stock"].facts["name"]
        raise MisuseError(f"stock: the sheet of {name} tells no over-bias; add it to the book")
    speed_ips, gap_um = state["speed_ips"], state["record_gap_um"]

    def far(line: Facts) -> tuple[float, float]:
        told_ips, told_um = line["speed_ips"] or speed_ips, line["record_gap_um"] or gap_um
        return abs(told_ips - speed_ips), abs(told_um - gap_um)

    return {"tape": "stock", **{k: v for k, v in min(lines, key=far).items() if v is not None}}
