"""Faults that can be switched on, by name."""

from collections.abc import Iterable
from dataclasses import dataclass

from fluxbench.base import MisuseError

FAULTS = (
    "dirty", "contact", "worn", "card:N", "dead:N", "crossed:N,M", "polarity:N", "hum", "slow",
    "weak_erase", "dropouts", "monitor_input", "wrong_tape", "wrong_tape:speed",
    "wrong_tape:equalisation", "wrong_tape:upside_down", "left_ready:N", "noise_reduction", "bent",
    "wrong_label",
)  # fmt: skip
"""What can be wrong with the deck; N and M stand for tracks."""

_TRACKS_NEEDED = {"card": 1, "dead": 1, "polarity": 1, "left_ready": 1, "crossed": 2}


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with this deck. Tracks count from 1."""

    dirty: bool = False
    contact: bool = False
    worn: bool = False
    hum: bool = False
    slow: bool = False
    weak_erase: bool = False
    dropouts: bool = False
    monitor_input: bool = False
    wrong_tape: bool = False
    wrong_tape_speed: bool = False
    wrong_tape_equalisation: bool = False
    wrong_tape_upside_down: bool = False
    noise_reduction: bool = False
    bent: bool = False
    wrong_label: bool = False
    card: tuple[int, ...] = ()
    dead: tuple[int, ...] = ()
    polarity: tuple[int, ...] = ()
    left_ready: tuple[int, ...] = ()
    crossed: tuple[tuple[int, int], ...] = ()


def faults_named(names: Iterable[str], tracks: int) -> Faults:
    """The faults of these names; `MisuseError` for a name or a track that there is not."""
    plain: dict[str, bool] = {}
    on_tracks: dict[str, list[int]] = {"card": [], "dead": [], "polarity": [], "left_ready": []}
    crossed: list[tuple[int, int]] = []
    for name in names:
        kind, _, where = name.partition(":")
        if name in FAULTS and kind not in _TRACKS_NEEDED:
            plain[name.replace(":", "_")] = True
        elif kind in _TRACKS_NEEDED:
            at = _tracks(name, where, tracks, _TRACKS_NEEDED[kind])
            if kind == "crossed":
                crossed.append((at[0], at[1]))
            else:
                on_tracks[kind] += at
        else:
            raise MisuseError(f"no fault is called {name!r}; there are {', '.join(FAULTS)}")
    return Faults(
        **plain,
        card=tuple(on_tracks["card"]),
        dead=tuple(on_tracks["dead"]),
        polarity=tuple(on_tracks["polarity"]),
        left_ready=tuple(on_tracks["left_ready"]),
        crossed=tuple(crossed),
    )


def _tracks(name: str, where: str, tracks: int, count: int) -> list[int]:
    parts = where.split(",")
    if not all(part.isdecimal() and 1 <= int(part) <= tracks for part in parts):
        raise MisuseError(f"the fault {name!r} needs tracks from 1 to {tracks}, as in crossed:3,4")
    if len(parts) != count or len(set(parts)) != count:
        raise MisuseError(f"the fault {name!r} needs {count} track(s), as in card:3 or crossed:3,4")
    return [int(part) for part in parts]
