"""Readings that were corrected since: what was read stays in the table, what counts is told."""

from fluxbench.book import HistoryRow, Records
from fluxbench.sheets._words import LONGEST_TEXT, one_line


def corrections_of(book: Records, lineup: str) -> list[str]:
    """A line for each reading of a line-up that was corrected."""
    return [
        one_line(f"corrected: {_what(row)}", LONGEST_TEXT)
        for row in book.readings_of(lineup)
        if row.corrected is not None
    ]


def _what(row: HistoryRow) -> str:
    corrected = row.corrected or {}
    where = "" if row.track is None else f" of track {row.track}"
    was, now = (_told(value, row.unit) for value in (corrected["was"], row.reading))
    who = corrected["who"]
    by = f", {who}" if who else ""
    day = str(corrected["at"])[:10]
    what = row.trimmer.replace("_", " ")
    return f"{what}{where}, {row.kind}, was read as {was}, is {now} ({corrected['why']}{by}, {day})"


def _told(value: float | None, unit: str) -> str:
    return "no reading" if value is None else f"{value:.2f} {unit}"
