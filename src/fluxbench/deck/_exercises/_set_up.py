"""From an exercise and a seed to the deck that stands there, and what may be told of it."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._exercises._kinds import WRONGS, Exercise, Hidden


def hidden_in(exercise: Exercise, seed: int) -> Hidden:
    """What this exercise hides with this seed."""
    return exercise.draw(np.random.default_rng([seed, 11]), exercise.tracks)


def set_up(exercise: Exercise, seed: int, rate_hz: int) -> PracticeDeck:
    """The deck, in every trimmer right but for what is hidden."""
    hidden = hidden_in(exercise, seed)
    made_as: dict[str, Any] = {
        "tracks": exercise.tracks, "speed_ips": exercise.speed_ips, "seed": seed,
        "rate_hz": rate_hz, "stock": hidden.stock, "faults": hidden.faults,
    }  # fmt: skip
    deck = PracticeDeck(**made_as)
    if hidden.as_found:
        return deck
    before = deck
    if hidden.lined_up_for != hidden.stock:
        before = PracticeDeck(**made_as | {"stock": hidden.lined_up_for})
    settings = before.lined_up()
    for trimmer, tracks in hidden.off_db_or_arcmin.items():
        for track, off in tracks.items():
            settings[trimmer][track - 1] += off
    deck.put(settings)
    return deck


def task_of(exercise: Exercise, hidden: Hidden) -> str:
    """The task in words."""
    return exercise.task.format(tracks=" and ".join(map(str, hidden.tracks)))


def begin_with(exercise: Exercise, hidden: Hidden) -> dict[str, Any] | None:
    """The fields of the command that begins what the bench has for it."""
    if exercise.begin is None:
        return None
    fields = dict(exercise.begin)
    if exercise.only_those_tracks:
        every = range(1, exercise.tracks + 1)
        fields["unused"] = [track for track in every if track not in hidden.tracks]
    return fields


def told_of(exercise: Exercise, hidden: Hidden | None = None) -> Mapping[str, Any]:
    """What may be told of an exercise before it is judged; of `hidden` only what the task names."""
    told: dict[str, Any] = {
        "name": exercise.name,
        "title": exercise.title,
        "grade": exercise.grade,
        "tracks": exercise.tracks,
        "speed_ips": exercise.speed_ips,
        "asks": exercise.asks,
        "advised": exercise.begin is not None,
    }
    if hidden is None:
        return told | {"task": exercise.task.replace("{tracks}", "…")}
    wrongs = [{"name": name, "words": words, "tracks": n} for name, (words, n) in WRONGS.items()]
    return told | {
        "task": task_of(exercise, hidden),
        "begin": begin_with(exercise, hidden),
        "wrongs": wrongs if exercise.asks else [],
    }
