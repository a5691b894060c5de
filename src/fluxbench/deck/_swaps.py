"""Cards and head leads that have changed places."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fluxbench.base import DeckError
from fluxbench.deck._machine import Machine
from fluxbench.deck._trimmers import PER_TRACK, Bank

SWAPS = {"cards": "cards", "head leads": "leads"}
"""What can be swapped, and what a deck is made with calls it."""


def dealt(
    machine: Machine,
    trimmers: Mapping[str, Bank],
    cards: Sequence[int] | None,
    leads: Sequence[int] | None,
) -> Machine:
    """The machine, and its trimmers in place, as somebody has swapped them.

    `cards` and `leads` tell which card, and which lead of the reproduce head, is at the place of
    each track (from 0); None: its own.
    """
    if cards is not None:
        for kind in PER_TRACK:
            trimmers[kind].deal(np.asarray(cards))
        machine = machine.with_cards(np.asarray(cards))
    return machine if leads is None else machine.with_leads(np.asarray(leads))


def swapped(kept: Mapping[str, Any], what: str, tracks: Sequence[int]) -> dict[str, Any]:
    """What a deck keeps, with those of two tracks (from 1) swapped; DeckError if that cannot be.

    A card has its trimmers with it.
    """
    count = int(kept["made_as"]["tracks"])
    if what not in SWAPS or len(set(tracks)) != 2 or not all(1 <= t <= count for t in tracks):
        raise DeckError(f"swap {' or '.join(SWAPS)} of two tracks from 1 to {count}")
    one, other = (track - 1 for track in tracks)
    order = list(kept["made_as"].get(SWAPS[what]) or range(count))
    order[one], order[other] = order[other], order[one]
    moved = {**kept, "made_as": {**kept["made_as"], SWAPS[what]: order}}
    if what == "cards":
        moved["trimmers"] = _exchanged(kept["trimmers"], one, other)
        moved["other_speeds"] = {
            speed: {**own, "trimmers": _exchanged(own["trimmers"], one, other)}
            for speed, own in kept["other_speeds"].items()
        }
    return moved


def _exchanged(trimmers: Mapping[str, Any], one: int, other: int) -> dict[str, Any]:
    """The trimmers with those of two tracks (from 0) at each other's places."""
    moved = {kind: [list(row) for row in rows] for kind, rows in trimmers.items()}
    for kind in PER_TRACK:
        for places in moved[kind]:
            places[one], places[other] = places[other], places[one]
    return moved
