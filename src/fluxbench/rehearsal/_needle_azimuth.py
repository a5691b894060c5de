"""Azimuth by a phase meter on the outer tracks, from long waves to short; one track by its peak."""

import numpy as np

from fluxbench.rehearsal._needle_desk import REST_S, Doing
from fluxbench.rehearsal._needle_person import Person, learnt
from fluxbench.rehearsal._technician import MOST_TURNS, REACTION_S, TRIAL_TURNS
from fluxbench.trade import pitch

LADDER_HZ = (1000.0, 4000.0, 10_000.0)
"""Steps small enough that a tone in phase by eye leaves the next one within half a turn."""
IN_PHASE_DEG = 10.0
NOTICED_DEG = 40.0
"""More than two readings of a phase that stands still can differ."""
MOST_TRIES = 12
FALLEN_DB = 1.0
PIECE_TURNS = 0.25
MOST_SWEEP_TURNS = 8.0


def in_phase(person: Person, trimmer: str, frequency_hz: float, rough: bool) -> Doing:
    """Turn a stack until its outer tracks are in phase at the tone that plays now."""
    content_deg = 2.0 * IN_PHASE_DEG if rough else IN_PHASE_DEG
    reach: float | None = None
    trial = TRIAL_TURNS
    phase_deg = yield from person.look_at_phase()
    found_deg = phase_deg
    for _ in range(MOST_TRIES):
        if abs(phase_deg) <= content_deg:
            break
        turns = trial if reach is None else person.human_turns(-phase_deg / reach)
        yield from person.wait(REACTION_S)
        yield from person.wait(person.turn(trimmer, turns, None))
        yield from person.wait(person.plan.head_delay_s + REST_S)
        before_deg, phase_deg = phase_deg, (yield from person.look_at_phase())
        moved_deg = (phase_deg - before_deg + 180.0) % 360.0 - 180.0
        if abs(moved_deg) >= NOTICED_DEG and abs(turns) >= 0.05:
            reach = learnt(reach, moved_deg / turns)
        elif reach is None:
            trial = min(2.0 * trial, MOST_TURNS)
    else:
        person.note(f"{trimmer}: {phase_deg:+.0f} degrees are left at {pitch(frequency_hz)}")
    person.write("azimuth", trimmer=trimmer, frequency_hz=frequency_hz, found_deg=found_deg,
                 left_deg=phase_deg)  # fmt: skip


def loudest(person: Person, trimmer: str) -> Doing:
    """Turn a head of one track half-way between equal falls of the short wave that plays now."""
    track = int(np.flatnonzero(person.live)[0])
    edges: list[float] = []
    stands = 0.0
    for way in (1, -1):
        top_db = person.glance_db(track)
        turned = 0.0
        while turned < MOST_SWEEP_TURNS * (1.0 if way > 0 else 2.0):
            yield from person.wait(person.turn(trimmer, way * PIECE_TURNS, None))
            yield from person.wait(person.plan.head_delay_s + REST_S)
            if person.gone:
                yield from person.cue()
            turned += PIECE_TURNS
            stands += way * PIECE_TURNS
            now_db = person.glance_db(track)
            top_db = max(top_db, now_db)
            if top_db - now_db > FALLEN_DB:
                break
        edges.append(stands)
    middle = float(np.mean(edges))
    yield from person.wait(person.turn(trimmer, middle - stands, None))
    yield from person.wait(person.plan.head_delay_s + REST_S)
    person.write("azimuth", trimmer=trimmer, turns=middle, edges_turns=edges)
