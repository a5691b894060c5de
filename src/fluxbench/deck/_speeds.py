"""The speed key: a deck has trimmers of its own for each speed, and one pair of heads for all."""

from collections.abc import Mapping
from typing import Any

from fluxbench.deck._trimmers import PER_STACK

_OWN = ("trimmers", "recorded", "calibration_wiped")
"""What each speed has of its own; tapes too: every speed has its reels, wound to their begin."""


def at_speed(
    kept: Mapping[str, Any], as_found: Mapping[str, Any], speed_ips: float
) -> dict[str, Any]:
    """What a deck keeps once it runs at another speed; `as_found`: what it keeps there at first.

    Azimuths stay: the heads are the same. Trimmers of the speed that is left wait as they are.
    """
    left = f"{kept['made_as']['speed_ips']:g}"
    others = {**kept["other_speeds"], left: {name: kept[name] for name in _OWN}}
    own = others.pop(f"{speed_ips:g}", {name: as_found[name] for name in _OWN})
    heads = {kind: kept["trimmers"][kind] for kind in PER_STACK}
    return {
        **kept,
        **own,
        "made_as": {**kept["made_as"], "speed_ips": float(speed_ips)},
        "trimmers": {**own["trimmers"], **heads},
        "other_speeds": others,
        "position_s": 0.0,
    }
