"""Bias by needle: rock across the peak twice, remember it, go past it by the sheet's over-bias."""

import numpy as np

from fluxbench.rehearsal._needle_desk import REST_S, Doing
from fluxbench.rehearsal._needle_person import Person, Seeing

PIECE_TURNS = 0.5
MOST_SWEEP_TURNS = 14.0
FALLEN_DB = 1.0
RISEN_DB = 0.4
MOST_SWEEPS = 8
FIRST_REACH_DB_PER_TURN = 0.6


class BiasHand:
    """Sets one track after another and remembers which way more bias is.

    A deck is found over-biased, as it was left. Where that speaks against the way that other
    trimmers had, or nothing is known yet, a longer wave tells the sides apart.
    """

    def __init__(self, person: Person) -> None:
        self._person = person
        self._rose = False
        """The needle rose in the last sweep before it fell."""
        self._told: list[int] = []
        """The way (+1 clockwise) to more bias of the tracks whose sides were told apart."""

    def set_track(self, track: int) -> Doing:
        """Find the peak of a track (from 0) and go past it; leaves alone what has no peak."""
        person, plan = self._person, self._person.plan
        yield from person.focus("bias", track)
        while (yield from person.suit_monitor(track)):
            pass
        found_db = person.glance_db(track)
        usual = -1 if sum(self._told) < 0 else 1
        way, more, found_side = -usual, 0, 0
        peaks_db: list[float] = []
        long_db: dict[int, float] = {}
        for _ in range(MOST_SWEEPS):
            top_db = yield from self._sweep(track, way)
            found_side = found_side or (-way if self._rose else way)
            if np.isfinite(top_db):
                peaks_db.append(person.remember_db(top_db))
                if self._told and found_side == usual and top_db - found_db > FALLEN_DB:
                    more = usual
                if more == 0:
                    long_db[way] = yield from self._long_wave(track)
                    if len(long_db) == 2:
                        more = max(long_db, key=lambda side: long_db[side])
                        self._told.append(more)
                if len(peaks_db) >= 2 and way == more:
                    break
            way = -way
        else:
            person.note(f"bias of track {track + 1}: no peak was found")
            return
        peak_db = float(np.mean(peaks_db[-2:]))
        reading_db = yield from person.look(track)
        reading_db = yield from person.trim(
            "bias",
            track,
            reading_db,
            peak_db - plan.over_bias_db,
            plan.tolerances.over_bias.set_db,
            -more * FIRST_REACH_DB_PER_TURN,
        )
        person.write(
            "taken",
            trimmer="bias",
            track=track + 1,
            peak_db=peak_db,
            reading_db=reading_db,
            peaks_db=peaks_db,
            long_wave_db=list(long_db.values()),
        )

    def _sweep(self, track: int, way: int) -> Seeing:
        """Turn one way until the needle has fallen; its top, NaN if no peak was crossed."""
        person = self._person
        start_db = top_db = person.glance_db(track)
        turned, whole = 0.0, True
        while turned < MOST_SWEEP_TURNS:
            turned += PIECE_TURNS
            end_s = person.time_s + person.turn("bias", way * PIECE_TURNS, track)
            while person.time_s < end_s:
                yield
                top_db = max(top_db, person.glance_db(track))
            if person.gone:
                yield from person.cue()
                whole = False
            yield from person.suit_monitor(track)
            if top_db - person.glance_db(track) > FALLEN_DB:
                yield from person.wait(person.plan.head_delay_s + REST_S)
                if top_db - person.glance_db(track) > FALLEN_DB:
                    break
        self._rose = top_db - start_db > RISEN_DB
        fallen = top_db - person.glance_db(track) > FALLEN_DB
        return top_db if whole and fallen and self._rose else float("nan")

    def _long_wave(self, track: int) -> Seeing:
        """Read ten times the wavelength: at equal fall of the short wave, more bias has more."""
        person, plan = self._person, self._person.plan
        yield from person.send(plan.over_bias_hz / 10.0, plan.over_bias_level_db)
        reading_db = yield from person.look(track)
        yield from person.send(plan.over_bias_hz, plan.over_bias_level_db)
        return reading_db
