"""A working copy of a calibration tape, made on this deck, with corrections of its own."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fluxbench.lineup._azimuth import MOST_S, Angle
from fluxbench.lineup._bench import F64, Procedure
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._plan import Section
from fluxbench.lineup._point import error_db, mean_level_db
from fluxbench.lineup._presence import WINDING_POINTS
from fluxbench.lineup._sections import wrong_tape
from fluxbench.lineup._stages_before import safe_check
from fluxbench.lineup._steps import rounded
from fluxbench.lineup._telling import Stop
from fluxbench.trade import pitch

COPY_STAGES = ("prepare", "read the calibration tape", "record the copy", "play the copy")
START_S = 5.0
"""Where on its tape the copy begins."""
READ_S = 5.0
COPIED_S = 8.0
PAUSE_S = 1.0
LEAST_SHARE = 0.6
"""A section whose tone is less of what comes back belongs to another tape."""
MOST_TRIES = 3
PLAYED_AGAIN = 2
FAR_DB = 2.0
"""From a deck that is lined up no copy is so far off the calibration tape; common practice."""
FRINGING_RATIO = 0.3
"""How far the fringing of a full-width tape may be from what is worked out; from memory."""


class WorkingCopy(LineUp):
    """Reads the calibration tape, records its tones on the stock, and says what they came to.

    The deck is as its line-up left it, and nothing is turned: both tapes are read through the same
    heads and amplifiers, which cancel. A section of the copy then carries, on each track, what the
    calibration tape's carries and the difference of the two readings, less what a full-width tape
    reads high by fringing. A copy is recorded on tracks and has none of it; of its long waves the
    heads read those of the neighbours too, as they will whenever it is played.
    """

    IN_STAGES = False

    def _run(self) -> Procedure:
        if not self._recalling:
            yield
        yield from safe_check(self)
        self.stage(COPY_STAGES[1])
        theirs = {}
        for section in self.plan.sections:
            theirs[section.number] = yield from self.step("read", self._read(section))
        angle = yield from self._angle_of_tape()
        yield from self.ask("transport", "stop; put the calibration tape away", state="stop",
                            ready=[], monitor="reproduce")  # fmt: skip
        self.stage(COPY_STAGES[2])
        ours, own_angle = yield from self.step("record", self._record())
        self.stage(COPY_STAGES[3])
        again_db = yield from self.step("play", self._play(ours))
        self._tell(theirs, ours, again_db, own_angle - angle)
        yield from self.ask(
            "transport",
            "stop; the copy is made: write on its box what it is, and that its corrections are kept"
            " with this deck's book",
            state="stop", ready=[], monitor="reproduce",
        )  # fmt: skip

    def _read(self, section: Section) -> Procedure:
        """Level and error (2, tracks) of a section of the calibration tape, as it comes along."""
        if section == self.plan.sections[0]:
            yield from self.play_section(section, "reproduce")
        else:
            yield from self._play_onto(section)
        points = yield from self.gather(min(READ_S, section.seconds - 1.0))
        share = np.median([p.share[0, self.live] for p in points])
        if share < LEAST_SHARE:
            raise wrong_tape(self, f"{pitch(section.frequency_hz)} is not where it should be")
        self.advise(None, section.number, len(self.plan.sections))
        return np.array([mean_level_db(points)[0], error_db(points)[0]])

    def _play_onto(self, section: Section) -> Procedure:
        """Have the tape play on until the next section's tone is there."""
        self.source = ("play", section)
        self.listen(section.frequency_hz)
        self._presence.forget()
        self._presence.expect(WINDING_POINTS)
        self.vanishing.forget()
        yield

    def _angle_of_tape(self) -> Procedure:
        yield from self.play_section(self.plan.azimuth_section, "reproduce")
        angle: F64 = yield from self.step("angle", self._angle())
        return angle

    def _angle(self) -> Procedure:
        """Angle of what plays against the reproduce head, and its error, arc-minutes."""
        if self.live.sum() < 2:
            return np.array([np.nan, np.nan])
        stack = Angle(self, self.tones[0], self.plan.azimuth_tolerance_arcmin)
        while stack.seconds < MOST_S - 0.2:
            stack.take((yield from self.point()))
        angle, _, error = stack.read()
        return np.array([angle, error])

    def _record(self) -> Procedure:
        """Record all sections; level and error of each by its number, its start, the angle."""
        for _ in range(MOST_TRIES):
            yield from self.ask("load", "thread the stock that becomes the copy", tape="stock")
            yield from self.ask("locate", "go to where the copy is to begin", position_s=START_S)
            yield from self.record_all()
            asked, begun_s = self.asked, self.time_s
            ours = {}
            angle = np.array([np.nan, np.nan])
            for section in self.plan.sections:
                read, start_s = yield from self._record_one(section)
                ours[section.number] = np.vstack([read, np.full_like(read[0], start_s - begun_s)])
                if section == self.plan.azimuth_section:
                    angle = yield from self._angle()
                self.silence()
                yield from self.wait(PAUSE_S)
                if self.asked != asked:
                    break
            else:
                return ours, angle
            self.note("the tape was wound while the copy was recorded: it begins anew")
        raise Stop("the copy cannot be recorded in one piece: is there enough tape?")

    def _record_one(self, section: Section) -> Procedure:
        """Level and error (2, tracks) of a section as it is recorded, and when it began."""
        self.advise(None, section.number, len(self.plan.sections))
        start_s = self.time_s
        self.send((section.frequency_hz, self._level_db(section)))
        yield from self.settle()
        points = yield from self.gather(READ_S)
        yield from self.wait(start_s + COPIED_S - self.time_s)
        return np.array([mean_level_db(points)[0], error_db(points)[0]]), start_s

    def _level_db(self, section: Section) -> float:
        """What a section should read: its flux, without the fringing of a full-width tape."""
        whole = self.plan.calibration_target_db(section)
        return float(np.mean(whole - self.plan.fringing_db(section.frequency_hz)))

    def _play(self, ours: Mapping[int, F64]) -> Procedure:
        """Play the last sections of the copy; how far they differ from when they were recorded."""
        last = self.plan.sections[-PLAYED_AGAIN:]
        start_s = START_S + float(ours[last[0].number][2, 0]) + self.plan.head_delay_s
        self.source = ("none", None)
        self.silence()
        self.listen(last[0].frequency_hz)
        text = f"wind back to {pitch(last[0].frequency_hz)} of the copy"
        yield from self.ask("locate", text, position_s=round(start_s + 1.0, 2))
        yield from self.ask("transport", "play, every track safe", state="play", ready=[],
                            monitor="reproduce")  # fmt: skip
        apart, begun_s = [], self.time_s
        for section in last:
            begins_s = float(ours[section.number][2, 0] - ours[last[0].number][2, 0])
            yield from self.wait(begun_s + begins_s - self.time_s)
            self.listen(section.frequency_hz)
            yield from self.settle()
            points = yield from self.gather(READ_S - 2.0)
            apart.append((mean_level_db(points)[0] - ours[section.number][0])[self.live])
        return float(np.sqrt(np.nanmean(np.square(apart))))

    def _tell(
        self, theirs: Mapping[int, F64], ours: Mapping[int, F64], again_db: float, turned: F64
    ) -> None:
        sections = []
        for section in self.plan.sections:
            (read_db, read_error), (got_db, got_error, start_s) = (
                theirs[section.number], ours[section.number],
            )  # fmt: skip
            fringing_db = self.plan.fringing_db(section.frequency_hz)
            off_db = got_db - (read_db - fringing_db)
            off_db[~self.live] = np.nan
            square = read_error**2 + got_error**2 + again_db**2
            square = square + (FRINGING_RATIO * fringing_db) ** 2
            mean_db = float(np.nanmean(off_db))
            sections.append({
                "number": section.number, "frequency_hz": section.frequency_hz,
                "level_db": section.level_db, "seconds": COPIED_S, "start_s": start_s[0],
                "correction_db": mean_db, "track_db": off_db - mean_db,
                "uncertainty_db": np.sqrt(np.nanmean(square[self.live])),
            })  # fmt: skip
        angle, (_, error) = turned[0], turned
        if any(abs(s["correction_db"]) > FAR_DB for s in sections if _in_band(s["frequency_hz"])):
            self.note(
                f"some of it is more than {FAR_DB:g} dB off the calibration tape: line the deck up,"
                " record side included, and make the copy anew"
            )
        self.write(
            "working copy", sections=rounded(sections), again_db=round(again_db, 4),
            arcmin=rounded(angle), error_arcmin=rounded(error),
        )  # fmt: skip
        worst = max(sections, key=lambda s: abs(s["correction_db"]))
        self.note(
            f"the copy carries what the calibration tape does within"
            f" {abs(worst['correction_db']):.2f} dB, most at {pitch(worst['frequency_hz'])}; it"
            f" played again within {again_db:.2f} dB; its corrections are kept"
        )


def _in_band(frequency_hz: float) -> bool:
    """Whether a deck's response is accepted by its flatness there."""
    return 60.0 <= frequency_hz <= 15_000.0


def copied_sections(facts: Mapping[str, Any]) -> Sequence[dict[str, Any]]:
    """Sections of the new tape as the book keeps them, from what the journal tells."""
    return [
        {
            "frequency_hz": s["frequency_hz"],
            "seconds": s["seconds"],
            "level_db": s["level_db"],
            "correction_db": s["correction_db"],
            "track_corrections_db": [0.0 if v is None else v for v in s["track_db"]],
            "uncertainty_db": s["uncertainty_db"],
            "start_s": s["start_s"],
        }
        for s in facts["sections"]
    ]
