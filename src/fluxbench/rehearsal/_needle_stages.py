"""The order of the work without a bench: calibration tape, sync, stock, quick check."""

from collections.abc import Generator

import numpy as np

from fluxbench.rehearsal._needle_azimuth import LADDER_HZ, in_phase, loudest
from fluxbench.rehearsal._needle_bias import BiasHand
from fluxbench.rehearsal._needle_desk import Doing, GaveUp
from fluxbench.rehearsal._needle_meter import F64
from fluxbench.rehearsal._needle_person import Person

Round = Generator[None, None, F64]

HIGH_HZ = 10_000.0
REFERENCE_HZ = 1000.0
SMALL_DB = -20.0
RESPONSE_HZ = (63.0, 125.0, 250.0, 500.0, 2000.0, 4000.0, 8000.0, 12_500.0)
LOW_HZ = (50.0, 80.0, 125.0)
LOW_HELD_HZ = 80.0
"""The tone whose needle is watched while a low end is turned."""
ALIVE_VU = -10.0


class NeedleLineUp:
    """One line-up by hand; `course` is the whole of it."""

    def __init__(self, person: Person) -> None:
        self._person = person
        self._plan = person.plan
        self._level_left_db = np.zeros(self._plan.tracks)
        self._high_left_db = np.zeros(self._plan.tracks)

    def course(self) -> Doing:
        """From the input check to the last look; stops early if nothing plays."""
        person = self._person
        yield from self._input_check()
        yield from person.load("calibration")
        yield from self._reproduce("reproduce")
        if {"sync_level", "sync_high"} & self._plan.trimmers:
            yield from self._reproduce("sync")
        yield from person.press("stop", "reproduce")
        yield from self._stock()
        yield from person.press("stop", "reproduce")

    def _input_check(self) -> Doing:
        """A glance along all needles on input: what does not move is dead."""
        person = self._person
        person.begin("input check")
        yield from person.press("stop", "input")
        yield from person.send(REFERENCE_HZ, 0.0)
        yield from person.wait(2.0)
        for track in range(self._plan.tracks):
            if person.glance_db(track) < ALIVE_VU:
                person.note(f"track {track + 1} is dead: it does not return its input")
                person.live[track] = False
        if not person.live.any():
            person.live[:] = True
            raise GaveUp("no track returns its input")

    # -- the calibration tape ------------------------------------------------------------------

    def _reproduce(self, head: str) -> Doing:
        person, plan = self._person, self._plan
        person.begin(head)
        level_at, high_at = plan.level_section, plan.high_section
        level_db, high_db = (plan.calibration_target_db(s) for s in (level_at, high_at))
        yield from person.play(level_at, head)
        if head == "reproduce" and "reproduce_azimuth" in plan.trimmers:
            yield from self._reproduce_azimuth()
            yield from person.play(level_at, head)
        yield from self._level(f"{head}_level", level_db)
        yield from person.play(high_at, head)
        yield from self._high(f"{head}_high", high_db)
        yield from person.play(level_at, head)
        level_left_db = yield from self._level(f"{head}_level", level_db)
        if head == "reproduce":
            yield from person.play(high_at, head)
            high_left_db = yield from self._high(f"{head}_high", high_db)
            yield from self._spots()
            self._level_left_db = level_left_db - level_db
            self._high_left_db = high_left_db - high_db

    def _spots(self) -> Doing:
        """All needles at every spot tone, as the tape goes past: written down, nothing is set."""
        person, plan = self._person, self._plan
        used = {s.frequency_hz for s in (plan.level_section, plan.high_section)}
        spots = [s for s in plan.sections if s.frequency_hz not in used]
        table: dict[str, F64] = {}
        before = -1
        for section in spots:
            follows = section.number == before + 1
            yield from person.roll_on(section) if follows else person.play(section, "reproduce")
            table[f"{section.frequency_hz:g}"] = yield from person.glance_along()
            before = section.number
        person.write("spot tones", level_db=table)

    def _reproduce_azimuth(self) -> Doing:
        person, plan = self._person, self._plan
        yield from person.focus("reproduce_azimuth", None)
        if person.live.sum() < 2:
            yield from person.play(plan.high_section, "reproduce")
            yield from loudest(person, "reproduce_azimuth")
            return
        between = plan.section_for(LADDER_HZ[1])
        steps = [plan.level_section, *([between] if between else []), plan.high_section]
        for section in steps:
            yield from person.play(section, "reproduce")
            rough = section is not steps[-1]
            yield from in_phase(person, "reproduce_azimuth", section.frequency_hz, rough)

    # -- the session's stock -------------------------------------------------------------------

    def _stock(self) -> Doing:
        person, plan = self._person, self._plan
        person.begin("load")
        yield from person.load("stock")
        yield from person.send(REFERENCE_HZ, 0.0)
        yield from person.record()
        yield from self._record_azimuth("azimuth")
        if "bias" in plan.trimmers:
            person.begin("bias")
            yield from person.send(plan.over_bias_hz, plan.over_bias_level_db)
            hand = BiasHand(person)
            for track in self._tracks():
                yield from hand.set_track(track)
        person.begin("record level")
        yield from person.send(REFERENCE_HZ, 0.0)
        yield from self._level("record_level", self._level_left_db)
        person.begin("record high end")
        yield from person.send(HIGH_HZ, SMALL_DB)
        yield from self._high("record_high", self._high_left_db + SMALL_DB)
        yield from person.send(REFERENCE_HZ, 0.0)
        yield from self._level("record_level", self._level_left_db)
        yield from self._record_azimuth("azimuth again")
        if "reproduce_low" in plan.trimmers:
            yield from self._low_end()
        yield from self._quick_check()

    def _record_azimuth(self, stage: str) -> Doing:
        person = self._person
        if "record_azimuth" not in self._plan.trimmers:
            return
        person.begin(stage)
        yield from person.focus("record_azimuth", None)
        if person.live.sum() < 2:
            yield from person.send(HIGH_HZ, SMALL_DB)
            yield from loudest(person, "record_azimuth")
            return
        for frequency_hz in LADDER_HZ:
            yield from person.send(frequency_hz, SMALL_DB)
            yield from in_phase(
                person, "record_azimuth", frequency_hz, frequency_hz < LADDER_HZ[-1]
            )

    def _low_end(self) -> Doing:
        """Three long waves read and written down; their mean error taken out on one of them."""
        person = self._person
        person.begin("low end")
        table: dict[float, F64] = {}
        for frequency_hz in LOW_HZ:
            yield from person.send(frequency_hz, 0.0)
            table[frequency_hz] = np.full(self._plan.tracks, np.nan)
            for track in self._tracks():
                table[frequency_hz][track] = yield from person.look(track)
        person.write("low end", level_db={f"{hz:g}": row for hz, row in table.items()})
        off_db = np.mean(list(table.values()), axis=0) - self._level_left_db
        yield from person.send(LOW_HELD_HZ, 0.0)
        yield from self._round(
            "reproduce_low", table[LOW_HELD_HZ] - off_db, self._plan.tolerances.high_end.set_db
        )

    def _quick_check(self) -> Doing:
        """One more look at level and high end; only what cannot be accepted is turned again.

        Then the response, all needles at each tone: written down.
        """
        person, accept = self._person, self._plan.tolerances
        person.begin("quick check")
        yield from person.send(REFERENCE_HZ, 0.0)
        yield from self._level("record_level", self._level_left_db, accept.level.accept_db)
        yield from person.send(HIGH_HZ, SMALL_DB)
        yield from self._high(
            "record_high", self._high_left_db + SMALL_DB, accept.high_end.accept_db
        )
        table: dict[str, F64] = {}
        for frequency_hz in RESPONSE_HZ:
            yield from person.send(frequency_hz, SMALL_DB)
            table[f"{frequency_hz:g}"] = yield from person.glance_along()
        person.write("response", level_db=table)

    # -- rounds ------------------------------------------------------------------------------

    def _level(self, trimmer: str, target_db: F64, leave_db: float | None = None) -> Round:
        band = self._plan.tolerances.level
        return self._round(trimmer, target_db, band.set_db, leave_db)

    def _high(self, trimmer: str, target_db: F64, leave_db: float | None = None) -> Round:
        band = self._plan.tolerances.high_end
        return self._round(trimmer, target_db, band.set_db, leave_db)

    def _round(
        self, trimmer: str, target_db: F64, content_db: float, leave_db: float | None = None
    ) -> Round:
        """One trimmer on every live track in turn; gives the last readings, else the targets."""
        person = self._person
        left_db = target_db.copy()
        if trimmer not in self._plan.trimmers:
            return left_db
        tracks = self._tracks()
        person.due = len(tracks)
        for done, track in enumerate(tracks):
            person.done = done
            reading_db = yield from person.bring(
                trimmer, track, float(target_db[track]), content_db, leave_db
            )
            if np.isfinite(reading_db):
                left_db[track] = reading_db
        person.write("as left", trimmer=trimmer, target_db=target_db, reading_db=left_db)
        return left_db

    def _tracks(self) -> list[int]:
        return [int(t) for t in np.flatnonzero(self._person.live)]
