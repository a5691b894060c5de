"""With what it was measured: interface and calibration tape, and what is known of them."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.book import Records
from fluxbench.sheets._words import one_line

NOT_RECORDED = "not recorded"
LONGEST_NAME = 60
LONGEST_DATE = 24
RELATIVE = "not calibrated: relative"
_SIDES = {"in": "Input", "out": "Output"}

Facts = Mapping[str, Any]


def instruments_of(
    book: Records, plan: Facts, tape_db: float | None, interface_db: float | None
) -> tuple[tuple[str, str], ...]:
    """What and how much, in the order of a sheet; "not recorded" where nobody has told.

    What the plan says counts, else what the line-up kept of the book when it was begun. Uses of
    the tape are counted now. The numbers are standard deviations in dB.
    """
    electrical, sheet = plan["stock"]["electrical"], plan["calibration"]["data_sheet"]
    interface, done, tape = (_kept(plan, name) for name in ("interface", "calibration", "tape"))
    checks: Sequence[Facts] = tape.get("checks") or ({},)
    checked = sheet.get("checked_at") or checks[-1].get("on")
    return (
        ("Interface", _text(electrical.get("interface") or interface.get("name"), LONGEST_NAME)),
        *_levels(electrical, done, interface_db),
        ("Calibration tape", _text(sheet.get("name") or tape.get("name"), LONGEST_NAME)),
        ("Its level checked", _dated(checked, tape_db)),
        ("Its uses", _count(_uses(book, plan, sheet))),
    )


def uncertainties_of(plan: Facts) -> tuple[float | None, float | None]:
    """Standard deviations in dB of calibration tape and interface, None where nobody has told."""
    electrical, sheet = plan["stock"]["electrical"], plan["calibration"]["data_sheet"]
    tape, done = _kept(plan, "tape"), _kept(plan, "calibration")
    return (
        _positive(sheet.get("level_uncertainty_db") or tape.get("level_uncertainty_db")),
        _positive(electrical.get("level_uncertainty_db") or done.get("uncertainty_db")),
    )


def _levels(
    electrical: Facts, done: Facts, interface_db: float | None
) -> tuple[tuple[str, str], ...]:
    """Which channels were calibrated when and how well, and which were not."""
    channels: Sequence[Facts] = electrical.get("channels") or ()
    if not channels:
        when = electrical.get("calibrated_at") or done.get("on")
        said = RELATIVE if electrical.get("uncalibrated") else _dated(when, interface_db)
        return (("Levels calibrated", said),)
    groups: dict[tuple[str, str, float], list[int]] = {}
    for one in channels:
        key = (str(one["side"]), str(one["on"]), float(one["uncertainty_db"]))
        groups.setdefault(key, []).append(int(one["channel"]))
    rows = [
        (f"{_channels(side, numbers)} calibrated", _dated(when, sd_db))
        for (side, when, sd_db), numbers in groups.items()
    ]
    for side, name in (("in", "relative_inputs"), ("out", "relative_outputs")):
        if electrical.get(name):
            rows.append((_channels(side, electrical[name]), RELATIVE))
    return tuple(rows)


def _channels(side: str, numbers: Sequence[int]) -> str:
    """Ascending channels of a side with their runs closed up: Inputs 1-8, 11."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = ", ".join(f"{r[0]}-{r[-1]}" if len(r) > 1 else f"{r[0]}" for r in runs)
    return f"{_SIDES[side]}{'s' * (len(numbers) > 1)} {said}"


def _kept(plan: Facts, name: str) -> Facts:
    """What a line-up kept of a thing of the book."""
    snapshot = (plan.get("book") or {}).get(name) or {}
    facts: Facts = snapshot.get("facts") or {}
    return facts


def _uses(book: Records, plan: Facts, sheet: Facts) -> object:
    tape = ((plan.get("book") or {}).get("tape") or {}).get("id")
    versions = [] if tape is None else book.versions("tapes", str(tape))
    return book.uses(versions[-1:])[versions[-1].id] if versions else sheet.get("uses")


def _text(value: object, longest: int) -> str:
    said = "" if value is None else one_line(value, longest)
    return said or NOT_RECORDED


def _dated(when: object, sd_db: float | None) -> str:
    said = _text(when, LONGEST_DATE)
    return said if sd_db is None else f"{said}, ±{sd_db:.2f} dB"


def _count(value: object) -> str:
    return f"{value}" if isinstance(value, int) and 0 <= value < 1_000_000 else NOT_RECORDED


def _positive(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) and 0.0 < value < 100.0 else None
