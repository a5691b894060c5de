"""Recognising the sections of a calibration tape while it plays, by frequency and order."""

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._plan import Section
from fluxbench.lineup._point import Point
from fluxbench.lineup._telling import Stop
from fluxbench.trade import pitch

LEAST_POINTS = 12
"""So much of a section must have been heard to say what it reads."""
CHANGE_POINTS = 3
"""So many points in a row must be of something else before a section has ended."""
ENOUGH_POINTS = 24
"""So much of a long section is enough to write it down as found."""
WORTH_WINDING_S = 9.0
STRANGE_S = 2.5
SILENT_S = 12.0
WINDING_S = 40.0


def calibration_pass(bench: Bench, monitor: str) -> Procedure:
    """Play the whole calibration tape once; level (tracks,) of every section, by its number."""
    sections = bench.plan.sections
    finder = SectionFinder(bench)
    finder.read.update(bench.steps.parts("section"))
    heard = [i for i, s in enumerate(sections) if s.number in finder.read]
    first = sections[min(heard[-1] + 1, len(sections) - 1) if heard else 0]
    where = f"find the {pitch(first.frequency_hz)} section" if heard else "go to its beginning"
    yield from bench.ask("load", f"load {bench.plan.tape_told}", tape=bench.plan.tape)
    yield from bench.ask("locate", where, section=first.number)
    yield from bench.ask(
        "transport", f"play, listen to {monitor}", state="play", ready=[], monitor=monitor
    )
    bench.silence()
    if heard:
        finder.wound_to(first)
    bench.listen(*finder.tones)
    while not finder.done:
        point = yield
        if not point.lost and len(point.level_db) == len(finder.tones):
            finder.hear(point)
            finder.keep()
            bench.advise(None, len(finder.read), len(sections))
            if finder.vanished is not None:
                yield from _shout(bench, finder, monitor)
                continue
            onward = finder.onward()
            if onward is not None:
                text = f"enough: wind on to {pitch(onward.frequency_hz)}"
                yield from _go_to(bench, finder, onward, text, monitor)
    for section in sections:
        if section.number not in finder.read:
            bench.note(f"section {section.number} ({pitch(section.frequency_hz)}) was not heard")
    table = {s.number: finder.read[s.number] for s in sections if s.number in finder.read}
    bench.write("calibration pass", monitor=monitor, level_db={str(k): v for k, v in table.items()})
    return table


def _shout(bench: Bench, finder: "SectionFinder", monitor: str) -> Procedure:
    """Have the tape stopped since a track vanished, and play the section again without it."""
    assert finder.vanished is not None  # noqa: S101 - the caller has looked
    yield from bench.shout(finder.vanished)
    again = finder.here
    text = f"find the {pitch(again.frequency_hz)} section"
    yield from _go_to(bench, finder, again, text, monitor)


def _go_to(
    bench: Bench, finder: "SectionFinder", section: Section, text: str, monitor: str
) -> Procedure:
    """Have the tape wound to a section and played from there."""
    yield from bench.ask("locate", text, section=section.number)
    yield from bench.ask(
        "transport", f"play, listen to {monitor}", state="play", ready=[], monitor=monitor
    )
    finder.wound_to(section)


class SectionFinder:
    """Goes along the sheet's sections as their tones are heard; `Stop` if the tape is another."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._sections = bench.plan.sections
        self.tones = tuple(sorted({s.frequency_hz for s in self._sections}))
        self.read: dict[int, F64] = {}
        self.done = False
        self.vanished: int | None = None
        """The track (from 0) that has just vanished while the others played on."""
        self._at = 0
        self._tone = -1
        self._gathered: list[F64] = []
        self._other = 0
        self._strange_s = self._silent_s = 0.0
        self._awaited: Section | None = None

    def hear(self, point: Point) -> None:
        """Take 0.1 s of the tape."""
        self.vanished = None
        live = self._bench.live
        shares = np.median(point.share[:, live], axis=1)
        best = self._likeliest(shares)
        level = np.nan_to_num(point.level_db[:, live], nan=-99.0)
        if shares[best] > 0.6 and np.median(level.max(axis=0)) > -45.0:
            self._known(best, point.level_db[best])
        else:
            self._unknown(level, point.share[:, live])

    def _likeliest(self, shares: F64) -> int:
        """The tone (by index) that plays: long waves that lie close together all seem to."""
        seem = [int(t) for t in np.flatnonzero(shares > 0.6)]
        awaited = [self._tone]
        if self._at < len(self._sections):
            awaited.append(self.tones.index(self._sections[self._at].frequency_hz))
        return next((t for t in awaited if t in seem), int(np.argmax(shares)))

    @property
    def here(self) -> Section:
        """The section that is played, or is awaited."""
        return self._sections[min(self._at, len(self._sections) - 1)]

    def onward(self) -> Section | None:
        """The section to wind on to, once enough of a long one has been heard."""
        if self._tone < 0 or len(self._gathered) < ENOUGH_POINTS or self.done:
            return None
        here = self._next(self._tone)
        if here is None or here + 1 >= len(self._sections):
            return None
        left_s = self._sections[here].seconds - len(self._gathered) / 10
        return self._sections[here + 1] if left_s > WORTH_WINDING_S else None

    def keep(self) -> None:
        """Keep what was read of the sections that are gone past."""
        kept = dict(self._bench.steps.parts("section"))
        for section in self._sections[: self._at]:
            if section.number in self.read and section.number not in kept:
                level_db = self.read[section.number]
                self._bench.steps.keep_part("section", (section.number, level_db))

    def wound_to(self, section: Section) -> None:
        """The tape was wound on to the beginning of a section."""
        self._at = self._sections.index(section)
        self._awaited = section
        self._tone, self._other, self._gathered = -1, 0, []

    def _known(self, tone: int, level_db: F64) -> None:
        self._strange_s = self._silent_s = 0.0
        if tone != self._tone:
            if not self._ended():
                return
            self._tone = tone
            self._bench.vanishing.forget()
        self._other = 0
        self._gathered.append(level_db)
        self.vanished = self._bench.vanishing.see(level_db, self._bench.live)
        here = self._next(tone)
        if here is None:
            self.done = len(self._gathered) >= LEAST_POINTS
            return
        if here > self._at + 1 and not self.read:
            last = self.tones[tone] == self._sections[-1].frequency_hz
            raise wrong_tape(
                self._bench,
                f"it begins with {pitch(self.tones[tone])},"
                f" not with {pitch(self._sections[0].frequency_hz)}"
                f"{', as if it were the wrong way round' if last else ''}",
            )
        if len(self._gathered) == LEAST_POINTS and self._awaited is not None:
            awaited, self._awaited = self._awaited, None
            if awaited.frequency_hz != self.tones[tone]:
                other = f"it carries {pitch(self.tones[tone])}"
                raise wrong_tape(
                    self._bench, f"{other} where {pitch(awaited.frequency_hz)} should be"
                )
        if len(self._gathered) >= LEAST_POINTS:
            heard = np.array(self._gathered[4:])
            read = np.any(np.isfinite(heard), axis=0)
            level = np.full(len(read), np.nan)
            level[read] = np.nanmedian(heard[:, read], axis=0)
            self.read[self._sections[here].number] = level
        self.done = here == len(self._sections) - 1 and len(self._gathered) >= 2 * LEAST_POINTS

    def _unknown(self, level_db: F64, share: F64) -> None:
        self._ended()
        tones = np.sum(10.0 ** (level_db / 10.0), axis=0)
        heard_db = 10.0 * np.log10(np.median(tones / np.maximum(share.sum(axis=0), 1e-9)) + 1e-12)
        self._silent_s += 0.1
        self._strange_s = self._strange_s + 0.1 if heard_db > -30.0 else 0.0
        if self._strange_s > STRANGE_S:
            raise wrong_tape(self._bench, "it carries tones that are not on its sheet")
        if self.read and self._silent_s > SILENT_S:
            self.done = True
        elif self._silent_s > WINDING_S:
            told = self._bench.plan.tape_told
            raise Stop(f"{told} gives no tone: wrong monitor, no tape, or it is blank")

    def _next(self, tone: int) -> int | None:
        for i in range(self._at, len(self._sections)):
            if self._sections[i].frequency_hz == self.tones[tone]:
                return i
        return None

    def _ended(self) -> bool:
        """Take a point that is not of this section; whether the section has ended with it.

        It is gone past if it was long enough to be one.
        """
        self._other += 1
        if self._tone >= 0 and self._other < CHANGE_POINTS:
            return False
        if self._tone >= 0 and len(self._gathered) >= LEAST_POINTS:
            here = self._next(self._tone)
            self._at = self._at if here is None else here + 1
        self._tone, self._other, self._gathered = -1, 0, []
        return True


def wrong_tape(bench: Bench, what: str) -> Stop:
    """Say that this is another tape than the sheet's; the caller raises what it gets."""
    told = bench.plan.tape_told
    text = f"this is not {told} of its sheet: {what}; check label, speed and sheet"
    bench.note(text)
    return Stop(text)
