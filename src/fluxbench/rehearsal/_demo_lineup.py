"""One line-up of the demo book, written as a bench writes it: journal, readings, service notes."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.book import Book, Entry, LineUpRow, Page
from fluxbench.lineup import Plan
from fluxbench.rehearsal._demo_deck import DemoDeck
from fluxbench.session import readings_of

F64 = NDArray[np.float64]
Facts = Mapping[str, Any]

PEAK_DB = -18.7
HEADS = ("reproduce", "sync")


class Writer:
    """Writes one line-up: entries with their readings, in one page."""

    def __init__(self, row: LineUpRow, stamp: Callable[[float], str]) -> None:
        self.row = row
        self.page = Page(lineup=row.id, begun=row)
        self._stamp = stamp
        self._stage = "plan"
        self._t_s = 0.0

    def write(self, what: str, **facts: Any) -> None:
        """One entry, some while after the last."""
        self._t_s += 30.0
        if what == "stage":
            self._stage = str(facts["name"])
        told = _plain(facts)
        entry = Entry(0, self.row.id, self._stamp(self._t_s), self._t_s, what, told)
        self.page.entries.append(entry)
        self.page.readings += readings_of(len(self.page.entries) - 1, self._stage, what, told)

    def close(self, book: Book) -> None:
        """Bring it to an end, and into the book."""
        self.write("closed", reason=None)
        self.page.closed = True
        book.write(self.page)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return [round(float(v), 4) for v in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 4)
    return value


def line_up(writer: Writer, deck: DemoDeck, plan: Plan, clean: bool) -> None:
    """All stages of a line-up; `clean` has the path cleaned once as found is read.

    Reads and trims in the order of the trade: reproduce, sync, bias, record high end and level,
    low end.
    """
    writer.write("begun", kind="line-up")
    writer.write("plan", tracks=plan.tracks)
    writer.write("stage", name="reproduce")
    stack(writer, deck, "reproduce_azimuth")
    for head in HEADS:
        if head == "sync":
            writer.write("stage", name="sync")
        reproduce(writer, deck, plan, head, clean)
    writer.write("stage", name="azimuth")
    stack(writer, deck, "record_azimuth")
    writer.write("stage", name="bias")
    bias(writer, deck, plan)
    writer.write("stage", name="record high end")
    record(writer, deck, "record_high", -20.0)
    writer.write("stage", name="record level")
    record(writer, deck, "record_level", 0.0)
    writer.write("stage", name="low end")
    record(writer, deck, "reproduce_low", 0.0)
    writer.write("stage", name="verify")
    level, _ = deck.read("record_level")
    high, _ = deck.read("record_high")
    writer.write("verify", record_level_db=level, record_high_db=high)
    writer.write("stage", name="close")


def stack(writer: Writer, deck: DemoDeck, trimmer: str) -> None:
    """The angle of a head."""
    found, error = deck.read(trimmer)
    writer.write("as found", trimmer=trimmer, arcmin=found[0], error_arcmin=error[0])
    deck.trim(trimmer, found)
    left, error = deck.read(trimmer)
    writer.write("as left", trimmer=trimmer, arcmin=left[0], error_arcmin=error[0])


def reproduce(writer: Writer, deck: DemoDeck, plan: Plan, head: str, clean: bool) -> None:
    """Level and high end of a head, from the calibration tape."""
    targets = {
        "level": plan.calibration_target_db(plan.level_section),
        "high": plan.calibration_target_db(plan.high_section),
    }
    off = {}
    for part in ("level", "high"):
        off[part], _ = deck.read(f"{head}_{part}")
        reading = targets[part] + off[part]
        writer.write("as found", trimmer=f"{head}_{part}", reading_db=reading,
                     target_db=targets[part])  # fmt: skip
    if clean and head == "reproduce":
        writer.write("note", text="heads and guides cleaned after as found was read")
        deck.clean()
        off["high"], _ = deck.read(f"{head}_high")
        off["level"], _ = deck.read(f"{head}_level")
    deck.trim(f"{head}_high", off["high"])
    deck.trim(f"{head}_level", deck.read(f"{head}_level")[0])
    for part in ("high", "level"):
        left, error = deck.read(f"{head}_{part}")
        writer.write("as left", trimmer=f"{head}_{part}", deviation_db=left, error_db=error,
                     target_db=targets[part])  # fmt: skip


def bias(writer: Writer, deck: DemoDeck, plan: Plan) -> None:
    """Over-bias of all tracks, each from its own peak."""
    want = plan.over_bias_db
    peak = PEAK_DB + deck.settings["record_level"]
    found, error = deck.read("bias")
    writer.write("as found", trimmer="bias", reading_db=peak - want - found)
    deck.trim("bias", found)
    left, error = deck.read("bias")
    again = np.abs(left) > 0.15
    deck.trim("bias", np.where(again, left, 0.0))
    left, error = deck.read("bias")
    writer.write("as left", trimmer="bias", target_db=want, found_over_bias_db=want + found,
                 over_bias_db=want + left, peak_db=peak, peak_error_db=error)  # fmt: skip


def record(writer: Writer, deck: DemoDeck, trimmer: str, about_db: float) -> None:
    """A trimmer that is set on the deck's own recording."""
    target = np.full(deck.tracks, about_db)
    found, _ = deck.read(trimmer)
    writer.write("as found", trimmer=trimmer, reading_db=target + found, target_db=target)
    deck.trim(trimmer, found)
    left, error = deck.read(trimmer)
    writer.write("as left", trimmer=trimmer, reading_db=target + left, error_db=error,
                 target_db=target)  # fmt: skip
