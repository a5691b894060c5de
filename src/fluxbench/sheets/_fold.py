"""What a journal tells of every trimmer: a fold over its entries."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fluxbench.book import Entry
from fluxbench.lineup import (
    Plan,
    response_with_bank,
    stages_after,
    stages_of,
    with_bank,
    with_first,
)
from fluxbench.sheets._contents import Column, Readings, Response, StackAngle
from fluxbench.sheets._words import LONGEST_TEXT, one_line
from fluxbench.trade import LevelTolerance, azimuth_frequency_hz, phase_deg

COURSE_OF_TRIMMERS = (
    "reproduce_level", "reproduce_high", "sync_level", "sync_high", "bias", "record_level",
    "record_high", "reproduce_low",
)  # fmt: skip
"""Trimmers of a track in the order of a sheet."""

BROKEN_OFF = "broken off"
"""How the stage stands in which a line-up was stopped."""

Facts = Mapping[str, Any]


class Seen:
    """What the journal has told so far."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.stages: Sequence[Mapping[str, Any]] = [
            {"name": name, "status": "due", "reason": None} for name in stages_of(plan)
        ]
        self.notes: list[str] = []
        self.interruptions: list[str] = []
        self.responses: dict[str, Response] = {}
        self._found: dict[str, Facts] = {}
        self._target: dict[str, Sequence[float | None]] = {}
        self._left: dict[str, list[float | None]] = {}
        self._error: dict[str, list[float | None]] = {}
        self._peak: list[float | None] = [None] * plan.tracks
        self._angle: dict[str, Facts] = {}

    def take(self, entry: Entry) -> None:
        """Take the next entry."""
        now = [stage["name"] for stage in self.stages if stage["status"] == "now"]
        self.stages = stages_after(self.stages, entry.what, entry.facts)
        if entry.what == "stopped":
            self.stages = [
                {**stage, "status": BROKEN_OFF} if stage["name"] in now else stage
                for stage in self.stages
            ]
        take = _TAKES.get(entry.what)
        if take is not None:
            take(self, entry)

    def noted(self, entry: Entry) -> None:
        """Take a note."""
        self.notes.append(one_line(entry.facts["text"], LONGEST_TEXT))

    def interrupted(self, entry: Entry) -> None:
        """Take a loss of the engine, or a start in the middle."""
        if entry.what == "resumed" or entry.facts.get("engine") == "lost":
            what = "taken up again" if entry.what == "resumed" else "the engine was lost"
            self.interruptions.append(f"{entry.at[11:19]} {what}")

    def found(self, entry: Entry) -> None:
        """Take a table as found: the first reading is kept, and the newest target."""
        facts, trimmer = entry.facts, entry.facts["trimmer"]
        before = self._found.get(trimmer)
        if before is None:
            self._found[trimmer] = facts
        elif "bank" in facts:
            reading = with_first(before["reading_db"], facts["reading_db"], facts)
            self._found[trimmer] = {**before, "reading_db": reading}
        if facts.get("target_db") is not None:
            self._target[trimmer] = with_bank(self._target.get(trimmer), facts["target_db"], facts)

    def left(self, entry: Entry) -> None:
        """Take a table as left: it takes the place of the one before."""
        facts, trimmer = entry.facts, entry.facts["trimmer"]
        if "arcmin" in facts:
            self._angle[trimmer] = facts
        elif "over_bias_db" in facts:
            want_db = self.plan.over_bias_db
            self._put("bias", [_less(b, want_db) for b in facts["over_bias_db"]], facts)
            self._errors("bias", facts.get("peak_error_db"), facts)
            self._peak = with_bank(self._peak, facts["peak_db"], facts)
        elif "deviation_db" in facts:
            self._put(trimmer, facts["deviation_db"], facts)
        else:
            target = self._targets(trimmer)
            self._put(
                trimmer,
                [_less(r, t) for r, t in zip(facts["reading_db"], target, strict=True)],
                facts,
            )
            self._errors(trimmer, facts.get("error_db"), facts)

    def taken(self, entry: Entry) -> None:
        """Take one trimmer that was taken: it stands until its whole table comes."""
        facts = entry.facts
        trimmer, at = facts["trimmer"], facts["track"] - 1
        if trimmer == "bias":
            off = _less(facts["over_bias_db"], self.plan.over_bias_db)
            self._peak[at] = facts.get("peak_db")
        else:
            off = _less(facts["reading_db"], self._targets(trimmer)[at])
        self._row(self._left, trimmer)[at] = off
        self._row(self._error, trimmer)[at] = facts.get("error_db")

    def verified(self, entry: Entry) -> None:
        """Take what was read of the record side after all trimmers."""
        self._put("record_level", entry.facts["record_level_db"], entry.facts)
        self._put("record_high", entry.facts["record_high_db"], entry.facts)

    def response(self, entry: Entry) -> None:
        """Take the response of the deck's own recording."""
        title = "Own recording, as left"
        kept = self.responses.get(title, Response(title, (), ()))
        merged = response_with_bank(kept.frequencies_hz, kept.off_db, entry.facts)
        self.responses[title] = Response(
            title, tuple(merged), tuple(tuple(row) for row in merged.values())
        )

    def calibration_pass(self, entry: Entry) -> None:
        """Take what the calibration tape read, less its targets."""
        title = f"Calibration tape, {entry.facts['monitor']} head, as found"
        if title in self.responses:
            return
        heard: dict[float, tuple[float, Readings]] = {}
        for section in self.plan.sections:
            read = entry.facts["level_db"].get(str(section.number))
            before = heard.get(section.frequency_hz)
            if read is not None and (before is None or before[0] < section.seconds):
                target = self.plan.calibration_target_db(section)
                off = tuple(_less(r, float(t)) for r, t in zip(read, target, strict=True))
                heard[section.frequency_hz] = section.seconds, off
        frequencies = tuple(sorted(heard))
        self.responses[title] = Response(
            title, frequencies, tuple(heard[f][1] for f in frequencies)
        )

    def columns(self) -> list[Column]:
        """The trimmers of the tracks, and what else was read of them."""
        known = self.plan.trimmers | self._left.keys() | self._found.keys()
        return [self._column(name) for name in COURSE_OF_TRIMMERS if name in known]

    def angles(self) -> list[StackAngle]:
        """The heads that have a trimmer of their own."""
        names = ("reproduce_azimuth", "record_azimuth")
        return [self._stack(name) for name in names if name in self.plan.trimmers]

    def _column(self, trimmer: str) -> Column:
        target = self._targets(trimmer)
        nothing: list[float | None] = [None] * self.plan.tracks
        facts = self._found.get(trimmer)
        read = nothing if facts is None else facts["reading_db"]
        left, error = self._left.get(trimmer, nothing), self._error.get(trimmer, nothing)
        bias = trimmer == "bias"
        against = self._peak if bias else target
        return Column(
            trimmer,
            self._band(trimmer),
            tuple(target),
            tuple(_less(r, t) for r, t in zip(read, against, strict=True)),
            tuple(left),
            tuple(None if off is None else e for off, e in zip(left, error, strict=True)),
            tuple(self._peak) if bias else (),
        )

    def _stack(self, trimmer: str) -> StackAngle:
        plan, left = self.plan, self._angle.get(trimmer, {})
        target: float | None = 0.0
        if trimmer == "record_azimuth" and "reproduce_azimuth" in plan.trimmers:
            target = self._angle.get("reproduce_azimuth", {}).get("arcmin")
        off, tone_hz = _less(left.get("arcmin"), target), azimuth_frequency_hz(plan.speed_ips)
        across_mm = float(plan.positions_mm[-1] - plan.positions_mm[0])
        degrees = None if off is None else float(phase_deg(off, across_mm, plan.speed_ips, tone_hz))
        band = plan.azimuth_tolerance_arcmin
        return StackAngle(
            trimmer, target, self._found.get(trimmer, {}).get("arcmin"), left.get("arcmin"),
            left.get("error_arcmin"), band, 2.0 * band, degrees, tone_hz,
            tuple(left.get("scatter_us") or ()), left.get("by") == "greatest output",
        )  # fmt: skip

    def _targets(self, trimmer: str) -> Sequence[float | None]:
        plan = self.plan
        if trimmer == "bias":
            return [plan.over_bias_db] * plan.tracks
        if trimmer.startswith(("reproduce_", "sync_")) and trimmer != "reproduce_low":
            section = plan.level_section if trimmer.endswith("level") else plan.high_section
            return [float(t) for t in plan.calibration_target_db(section)]
        if trimmer == "record_level" and trimmer in self._found and trimmer not in self._target:
            return self._left.get("reproduce_level", [0.0] * plan.tracks)
        return self._target.get(trimmer, [None] * plan.tracks)

    def _band(self, trimmer: str) -> LevelTolerance:
        bands = self.plan.tolerances
        if trimmer == "bias":
            return bands.over_bias
        return bands.level if trimmer.endswith("level") else bands.high_end

    def _row(self, of: dict[str, list[float | None]], trimmer: str) -> list[float | None]:
        return of.setdefault(trimmer, [None] * self.plan.tracks)

    def _put(self, trimmer: str, off_db: Sequence[float | None], facts: Facts) -> None:
        self._left[trimmer] = with_bank(self._left.get(trimmer), off_db, facts)

    def _errors(self, trimmer: str, error_db: Sequence[float | None] | None, facts: Facts) -> None:
        if error_db is not None:
            self._error[trimmer] = with_bank(self._error.get(trimmer), error_db, facts)


def _less(reading: float | None, target: float | None) -> float | None:
    return None if reading is None or target is None else reading - target


_TAKES: Mapping[str, Callable[[Seen, Entry], None]] = {
    "note": Seen.noted,
    "engine": Seen.interrupted,
    "resumed": Seen.interrupted,
    "as found": Seen.found,
    "as left": Seen.left,
    "taken": Seen.taken,
    "verify": Seen.verified,
    "response": Seen.response,
    "calibration pass": Seen.calibration_pass,
}
