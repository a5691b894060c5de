"""The lives of a head: from one relap or new head to the next, each with a wear of its own."""

from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from fluxbench.history._drift import Drift
from fluxbench.history._sudden import SHORT_WAVES, What, events_of


def lives_of(drift: Drift) -> list[Drift]:
    """The drift of each life of the head, oldest first; all of it where nothing was renewed.

    Short waves that step up on all tracks are where one life ends; the step is in none of them.
    """
    name = drift.trail.trimmer
    if name not in SHORT_WAVES:
        return [drift]
    found = {e.until for e in events_of({name: drift}) if e.what is What.RENEWED}
    ends = [i for i in range(len(drift.days)) if drift.at(i) in found]
    if not ends:
        return [drift]
    borders = [-1, *ends, len(drift.days)]
    return [_part(drift, slice(before + 1, after)) for before, after in pairwise(borders)]


def newest_life_of(drift: Drift) -> Drift:
    """The drift since the head was renewed last, for whatever is told of days to come."""
    return lives_of(drift)[-1]


def begin_of(life: Drift) -> str:
    """When a life began, as far as it was watched: its first visit."""
    if not len(life.first):
        return life.trail.at[-1]
    return life.trail.at[int(life.first[0])]


def _part(drift: Drift, of: slice) -> Drift:
    told: dict[str, Any] = {
        field.name: value[of]
        for field in fields(drift)
        for value in (getattr(drift, field.name),)
        if isinstance(value, np.ndarray)
    }
    return replace(drift, **told)
