"""Which channels of the interface a line-up uses, and what takes more of them than there are."""

from collections.abc import Mapping, Sequence
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.lineup import Channels

Facts = Mapping[str, Any]


def with_channels(kind: str, shown: Facts, link: Facts) -> Facts:
    """The same with `channels` where they are not simply as many as tracks, in order.

    MisuseError for channels that the interface does not have, and for a procedure that takes all
    tracks at once where only a line-up goes bank by bank.
    """
    has = {side: link[side] for side in ("inputs", "outputs")}
    try:
        tracks = int(shown["stock"]["tracks"])
    except (KeyError, TypeError, ValueError):
        return shown  # told when the plan is made
    if None in has.values():
        return shown  # not open yet; whatever cannot be is told when it is
    given = shown.get("channels") or {}
    if not given and min(has.values()) >= tracks:
        return shown
    chosen = {side: given.get(side) or range(1, has[side] + 1) for side in has}
    for side, channels in chosen.items():
        if max(channels) > has[side]:
            raise MisuseError(
                f"the interface has {has[side]} {side}; there is no {side[:-1]} {max(channels)}"
            )
    used = _channels(chosen)
    if kind != "line-up" and (len(used.inputs) < tracks or len(used.outputs) < tracks):
        raise MisuseError(
            f"this takes all {tracks} tracks at once; the interface has {len(used.inputs)} inputs"
            f" and {len(used.outputs)} outputs. Only a whole line-up goes bank by bank"
        )
    return {**shown, "channels": {side: list(channels) for side, channels in chosen.items()}}


def channels_of(shown: Facts) -> Channels | None:
    """What `with_channels` has left in what a line-up began with."""
    return None if shown.get("channels") is None else _channels(shown["channels"])


def _channels(numbers: Mapping[str, Sequence[int]]) -> Channels:
    return Channels(*(tuple(n - 1 for n in numbers[side]) for side in ("inputs", "outputs")))
