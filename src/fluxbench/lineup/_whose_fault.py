"""Whose fault it is: cards of two tracks change places, and what goes with them is the cards'.

What a track reads is what its card does and what its place does (head, leads, wiring), in decibels.
Of two tracks the difference before is card + place; with the cards in each other's place it is
place - card. Half the difference of both is the cards', half their sum the places': arithmetic, no
model. The same for the head leads.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.lineup._bench import F64, Procedure
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._steps import Kept
from fluxbench.trade import pitch

READ_S = 5.0
BLOCK_POINTS = 10
REPEATS_DB = 0.05
"""What winding back and threading anew may change between two tracks. Our choice."""
LEAST_DB = 0.5
"""Tracks that differ by less have no fault to look for; a part of less is none. Our choice."""
LOW_HZ = (60.0, 130.0)


def parts(before_db: F64 | float, swapped_db: F64 | float) -> tuple[F64, F64]:
    """What went with the things that changed places, and what stayed with the places, in dB.

    Both are differences of one track less the other, before and with the two swapped.

    Examples
    --------
    >>> [float(part) for part in parts(-3.0, 2.0)]
    [-2.5, -0.5]
    """
    before, swapped = np.asarray(before_db, np.float64), np.asarray(swapped_db, np.float64)
    return 0.5 * (before - swapped), 0.5 * (before + swapped)


class WhoseFault(LineUp):
    """Reads two tracks (from 1), has their cards swapped, and where it must, their head leads."""

    IN_STAGES = False
    NAME = "whose fault"

    def __init__(
        self,
        plan: Plan,
        between: Sequence[int],
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        if len(set(between)) != 2 or not all(1 <= track <= plan.tracks for track in between):
            raise MisuseError(
                f"whose fault: name the track at fault and a good one, of 1 to {plan.tracks}"
            )
        self._one, self._other = (track - 1 for track in between)
        low = [s for s in plan.sections if LOW_HZ[0] <= s.frequency_hz <= LOW_HZ[1]]
        chosen = {s.number: s for s in (*low[-1:], plan.level_section, plan.high_section)}
        self._sections = sorted(chosen.values(), key=lambda s: s.frequency_hz)
        super().__init__(plan, past, time_s)

    def _run(self) -> Procedure:
        if not self._recalling:
            yield
        self.stage(self.NAME)
        as_it_is = yield from self._read()
        swapped = yield from self._swapped("cards")
        cards = Told("cards", as_it_is, swapped)
        back = yield from self._swapped("cards")
        leads = None
        if cards.worst_db >= LEAST_DB and cards.stayed:
            leads = Told("head leads", back, (yield from self._swapped("head leads")))
            yield from self._ask_to_swap("head leads")
        self.silence()
        self.write(
            "whose fault",
            tracks=[self._one + 1, self._other + 1],
            frequencies_hz=[s.frequency_hz for s in self._sections],
            rows=[told.row() for told in (cards, leads) if told is not None],
            words=self._words(cards, back[0] - as_it_is[0], leads),
        )

    def _read(self) -> Procedure:
        """The first track less the other by section, and standard errors: (2, sections) dB."""
        found = []
        for section in self._sections:
            found.append((yield from self._read_section(section)))
        yield from self.ask("transport", "stop", state="stop", ready=[], monitor="reproduce")
        return np.array(found).T

    def _read_section(self, section: Section) -> Procedure:
        yield from self.play_section(section, "reproduce")
        return (yield from self.step(f"read {section.number}", self._difference()))

    def _difference(self) -> Procedure:
        points = yield from self.gather(READ_S)
        level = np.array([point.level_db[0] for point in points])
        apart = level[:, self._one] - level[:, self._other]
        blocks = apart.reshape(-1, BLOCK_POINTS).mean(axis=1)
        error = blocks.std(ddof=1) / np.sqrt(len(blocks))
        return [float(apart.mean()), float(np.hypot(error, REPEATS_DB))]

    def _swapped(self, what: str) -> Procedure:
        """Have them change places, and read again."""
        yield from self._ask_to_swap(what)
        return (yield from self._read())

    def _ask_to_swap(self, what: str) -> Procedure:
        one, other = self._one + 1, self._other + 1
        yield from self.ask(
            "swap",
            f"take the tape off, switch the deck off as its manual says, let the {what} of tracks"
            f" {one} and {other} change places, switch on again",
            what=what,
            tracks=[one, other],
        )
        self.loaded = ""

    def _words(self, cards: "Told", anew_db: F64, leads: "Told | None") -> str:
        one, other = self._one + 1, self._other + 1
        if not np.isfinite(cards.went_db).any():
            return f"tracks {one} and {other} could not both be read: nothing is said"
        at = cards.worst
        if cards.worst_db < LEAST_DB:
            return (
                f"tracks {one} and {other} differ by {cards.worst_db:.1f} dB at most: no fault"
                " between them; is it on the record side, or does it come and go?"
            )
        before_db = f"{cards.before_db[at]:+.1f} dB at {pitch(self._sections[at].frequency_hz)}"
        if abs(anew_db[at]) > max(0.5 * cards.worst_db, 4.0 * cards.error_db[at]):
            return (
                f"track {one} was {before_db} from track {other}, and {anew_db[at]:+.1f} dB of that"
                " changed when the cards were back: a contact, of the card's plug most likely"
            )
        if leads is None:
            return f"track {one} is {before_db} from track {other}: {cards.words(at)}"
        rest = leads.words(at, "with the head", "with the place: plug, wiring or what lies behind")
        return f"track {one} is {before_db} from track {other}: {cards.words(at)}; {rest}"


class Told:
    """What two readings of a swap say, by section."""

    def __init__(self, what: str, before: F64, swapped: F64) -> None:
        self._what = what
        self.before_db = before[0]
        self.went_db, self.stayed_db = parts(before[0], swapped[0])
        self.error_db = 0.5 * np.hypot(before[1], swapped[1])

    @property
    def worst(self) -> int:
        """The section in which they differ most, of those that were read both times."""
        read = np.isfinite(self.went_db)
        return int(np.argmax(np.where(read, np.abs(self.before_db), -1.0)))

    @property
    def worst_db(self) -> float:
        return float(np.nan_to_num(np.abs(self.before_db[self.worst])))

    @property
    def stayed(self) -> bool:
        """Whether something that counts stayed with the places."""
        return bool(abs(self.stayed_db[self.worst]) >= LEAST_DB)

    def words(self, at: int, went: str = "with the card", stayed: str = "with the place") -> str:
        """Who has it, of one section."""
        went_db, stayed_db = self.went_db[at], self.stayed_db[at]
        error = f" (± {2.0 * self.error_db[at]:.1f})"
        if abs(stayed_db) < min(LEAST_DB, abs(went_db)):
            return f"{went_db:+.1f} dB{error} went {went}"
        if abs(went_db) < LEAST_DB:
            return f"{stayed_db:+.1f} dB{error} stayed {stayed}"
        return f"{went_db:+.1f} dB went {went}, {stayed_db:+.1f} dB{error} stayed {stayed}"

    def row(self) -> dict[str, Any]:
        """For the journal: all in dB, by section."""
        return {
            "swapped": self._what,
            "before_db": self.before_db,
            "went_db": self.went_db,
            "stayed_db": self.stayed_db,
            "error_db": self.error_db,
        }
