"""From a line-up in the book to what stands on its sheet: one pass over its journal."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.book import Entry, LineUpRow, Records
from fluxbench.lineup import plan_from_state
from fluxbench.sheets._conditions import conditions_of
from fluxbench.sheets._contents import Contents, Uncertainty, Verified, VerifiedRow
from fluxbench.sheets._corrected import corrections_of
from fluxbench.sheets._fold import Seen
from fluxbench.sheets._instruments import instruments_of, uncertainties_of
from fluxbench.sheets._words import LONGEST_TEXT, one_line, plain
from fluxbench.trade import pitch

PAGE = 1000
LONGEST_NAME = 60
OTHER_KINDS = {"verification": "a verification", "tones": "a printing of tones"}

Facts = Mapping[str, Any]


def contents_of(book: Records, lineup: str | None) -> Contents:
    """What stands on the sheet of a line-up, or of the newest one; MisuseError if there is none."""
    rows = book.lineups()
    row = _wanted(rows, lineup)
    try:
        plan = plan_from_state(row.plan["calibration"], row.plan["stock"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        reason = " ".join(f"{type(error).__name__} {error}".split())
        raise MisuseError(
            f"the plan of line-up {row.id} cannot be read ({reason}); it was not begun by a bench"
        ) from None
    entries = _entries(book, row.id)
    seen = Seen(plan)
    for entry in entries:
        seen.take(entry)
    calibration, stock = row.plan["calibration"]["data_sheet"], row.plan["stock"]
    uncertainties_db = uncertainties_of(row.plan)
    return Contents(
        lineup=row.id,
        begun_at=row.begun_at,
        last_at=entries[-1].at if entries else row.begun_at,
        closed=row.closed,
        stopped=None if row.stopped is None else one_line(row.stopped, LONGEST_TEXT),
        deck_name=_name(stock),
        stock_name=_name(stock["data_sheet"]),
        tape_name=_name(calibration),
        plan=plan,
        deck=stock,
        stock=stock["data_sheet"],
        calibration=calibration,
        columns=tuple(seen.columns()),
        angles=tuple(seen.angles()),
        responses=tuple(seen.responses.values()),
        stages=seen.stages,
        notes=(*corrections_of(book, row.id), *seen.notes),
        conditions=conditions_of(plan, entries),
        interruptions=tuple(seen.interruptions),
        checks=tuple(_checks(book, rows, row.id)),
        verified=_verified(book, rows, row),
        tones=_tones(book, rows, row),
        instruments=instruments_of(book, row.plan, *uncertainties_db),
        uncertainty=Uncertainty(*uncertainties_db),
    )


def _wanted(rows: Sequence[LineUpRow], lineup: str | None) -> LineUpRow:
    if lineup is None:
        newest = next((row for row in rows if row.kind == "line-up"), None)
        if newest is None:
            raise MisuseError("the book holds no line-up yet; line a deck up first")
        return newest
    row = next((row for row in rows if row.id == lineup), None)
    if row is None:
        raise MisuseError(f"the book holds no line-up {one_line(lineup, 80)!r}; leave it out for "
                          "the newest one")  # fmt: skip
    if row.kind in OTHER_KINDS:
        raise MisuseError(
            f"{row.id} is {OTHER_KINDS[row.kind]}; it stands on the sheet of the line-up before it"
        )
    if row.kind != "line-up":
        against = row.plan.get("as_left", {}).get("lineup", "of its deck")
        raise MisuseError(
            f"{row.id} is a five-minute check; it stands on the sheet of the line-up {against}"
        )
    return row


def _entries(book: Records, lineup: str) -> list[Entry]:
    entries: list[Entry] = []
    while more := book.entries(entries[-1].seq if entries else 0, PAGE, lineup):
        entries += more
    return entries


def _checks(book: Records, rows: Sequence[LineUpRow], lineup: str) -> list[tuple[str, str]]:
    found = []
    for row in reversed(rows):
        if row.kind == "check" and row.plan.get("as_left", {}).get("lineup") == lineup:
            said = [e.facts["words"] for e in _entries(book, row.id) if e.what == "check"]
            words = said[-1] if said else "not finished"
            found.append((row.begun_at, one_line(words, LONGEST_TEXT)))
    return found


def _newest_since(rows: Sequence[LineUpRow], of: LineUpRow, kind: str) -> LineUpRow | None:
    """The newest finished one of a kind on such a deck, before it was lined up again."""
    since: list[LineUpRow] = []
    for row in rows:  # the newest first
        if row.id == of.id:
            break
        if _deck(row) == _deck(of):
            since = [] if row.kind == "line-up" else [*since, row]
    done = [r for r in since if r.kind == kind and r.closed and not r.stopped]
    return done[0] if done else None


def _tones(book: Records, rows: Sequence[LineUpRow], of: LineUpRow) -> str:
    """The line-up tones that were printed since, in words."""
    newest = _newest_since(rows, of, "tones")
    entries = [] if newest is None else _entries(book, newest.id)
    said = [
        f"{pitch(tone['frequency_hz'])} {plain(tone['level_db'], 0)} dB {tone['seconds']:g} s"
        for e in entries
        if e.what == "printed"
        for tone in e.facts["tones"]
    ]
    return one_line(", ".join(said), LONGEST_TEXT)


def _verified(book: Records, rows: Sequence[LineUpRow], of: LineUpRow) -> Verified | None:
    newest = _newest_since(rows, of, "verification")
    if newest is None:
        return None
    entries = _entries(book, newest.id)
    words = [e.facts["words"] for e in entries if e.what == "verification"]
    if not words:
        return None
    tracks = _deck(newest)[0]
    found = {
        (e.facts["of"], told["name"]): VerifiedRow(
            e.facts["of"],
            one_line(told["name"], LONGEST_NAME),
            one_line(told["unit"], 10),
            float(told["limit"]),
            bool(told["within"]),
            tuple(told["value"]),
            tuple(told["margin_db"]),
            tuple(told.get("hidden_below") or (None,) * tracks),
            bool(told.get("at_least")),
        )
        for e in entries
        if e.what == "verified"
        for told in e.facts["rows"]
        if told["limit"] is not None
    }
    return Verified(newest.begun_at, one_line(words[-1], LONGEST_TEXT), tuple(found.values()))


def _deck(row: LineUpRow) -> tuple[int, float, str | None]:
    """What tells decks, and the speeds of one, apart."""
    stock = row.plan["stock"]
    return int(stock["tracks"]), float(stock["speed_ips"]), row.deck


def _name(sheet: Facts) -> str:
    name = sheet.get("name")
    return "" if name is None else one_line(name, LONGEST_NAME)
