"""The speed key: a deck has trimmers of its own for each speed, and one pair of heads for all."""

from collections.abc import Callable, Mapping
from typing import Any

from fluxbench.deck._trimmers import PER_STACK

_OWN = ("trimmers", "recorded", "calibration_wiped")
"""What each speed has of its own; tapes too: every speed has its reels, wound to their begin."""


def at_speed(
    kept: Mapping[str, Any],
    speed_ips: float,
    as_found: Callable[[Mapping[str, Any]], Mapping[str, Any]],
) -> dict[str, Any]:
    """What a deck keeps once it runs at another speed.

    `as_found` gives what a deck made like that keeps at first; it is asked where the speed is new.
    Azimuths stay: the heads are the same. Trimmers of the speed that is left wait as they are.
    """
    left = f"{kept['made_as']['speed_ips']:g}"
    others = {**kept["other_speeds"], left: {name: kept[name] for name in _OWN}}
    made_as = {**kept["made_as"], "speed_ips": float(speed_ips)}
    own = others.pop(f"{speed_ips:g}", None)
    if own is None:
        found = as_found(made_as)
        own = {name: found[name] for name in _OWN}
    heads = {kind: kept["trimmers"][kind] for kind in PER_STACK}
    return {
        **kept,
        **own,
        "made_as": made_as,
        "trimmers": {**own["trimmers"], **heads},
        "other_speeds": others,
        "position_s": 0.0,
    }
