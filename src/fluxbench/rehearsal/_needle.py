"""The honest baseline: the same person lines the same deck up by needle, with no bench."""

import time
from collections.abc import Callable

from fluxbench.engine import Engine
from fluxbench.lineup import View, plan_from_state
from fluxbench.links import DeckControls, Link
from fluxbench.rehearsal._needle_desk import GaveUp
from fluxbench.rehearsal._needle_person import Person
from fluxbench.rehearsal._needle_stages import NeedleLineUp
from fluxbench.rehearsal._rehearse import Rehearsed, result_line


def rehearse_needle(
    link: Link,
    deck: DeckControls,
    seed: int,
    watch: Callable[[View], None] | None = None,
) -> Rehearsed:
    """Line a deck up by hand with one VU meter a track, reading only needles and both sheets."""
    begun = time.perf_counter()
    calibration = deck.load("calibration")
    stock = deck.load("stock")
    plan = plan_from_state(calibration, stock)
    person = Person(deck, plan, seed)
    course = NeedleLineUp(person).course()
    engine = Engine(link, plan.tracks)
    tape_s, stopped, closed = 0.0, None, False
    try:
        next(course)
        while not closed:
            engine.send(person.signal)
            engine.listen(person.tones)
            before_s = engine.time_s
            hops = engine.step()
            tape_s += (engine.time_s - before_s) if person.running else 0.0
            try:
                for hop in hops:
                    person.see(hop)
                    course.send(None)
            except StopIteration:
                closed = True
            except GaveUp as reason:
                stopped, closed = str(reason), True
                deck.transport(state="stop", ready=[])
            if watch is not None:
                watch(_view(person, closed, stopped))
    finally:
        engine.close()
    person.write("stopped" if stopped else "closed", reason=stopped)
    line = result_line(plan, seed, "needle", tape_s, begun, person.visits, deck)
    return Rehearsed(line, tuple(person.journal), tuple(person.notes), stopped)


def _view(person: Person, closed: bool, stopped: str | None) -> View:
    return View(
        stage=person.stage,
        time_s=person.time_s,
        done=person.done,
        due=person.due,
        notes=tuple(person.notes),
        closed=closed,
        stopped=stopped,
    )
