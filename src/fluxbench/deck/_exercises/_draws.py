"""How exercises hide what they hide: one draw each, repeatable by its generator."""

from collections.abc import Sequence

import numpy as np

from fluxbench.deck._exercises._kinds import Hidden, Named

Rng = np.random.Generator


def _track(rng: Rng, tracks: int) -> int:
    return int(rng.integers(1, tracks + 1))


def _away(rng: Rng, least_db_or_arcmin: float, most_db_or_arcmin: float) -> float:
    """So far to either side."""
    size = rng.uniform(least_db_or_arcmin, most_db_or_arcmin)
    return round(float(size * rng.choice([-1.0, 1.0])), 2)


def _fault(rng: Rng, tracks: int, names: Sequence[str]) -> Named:
    """One of these faults, somewhere."""
    name = str(rng.choice(list(names)))
    if name == "crossed":
        first, second = sorted(int(t) + 1 for t in rng.choice(tracks, 2, replace=False))
        return name, (first, second)
    return name, (_track(rng, tracks),) if name in ("polarity", "dead", "left_ready") else ()


def one_level(rng: Rng, tracks: int) -> Hidden:
    """A reproduce level of one track."""
    track = _track(rng, tracks)
    off = {"reproduce_level": {track: _away(rng, 1.2, 2.5)}}
    return Hidden(off_db_or_arcmin=off, tracks=(track,), one_in=tracks)


def one_bias(rng: Rng, tracks: int) -> Hidden:
    """Bias of one track, to either side of where it belongs."""
    track = _track(rng, tracks)
    return Hidden(off_db_or_arcmin={"bias": {track: _away(rng, 1.3, 3.0)}}, tracks=(track,))


def before_any_tape(rng: Rng, tracks: int) -> Hidden:
    """What shows with no tape: two tracks crossed, one reversed, one dead."""
    pairs = tracks * (tracks - 1) // 2
    wrong = _fault(rng, tracks, ("crossed", "polarity", "dead"))
    return Hidden(wrong=(wrong,), one_in=pairs + 2 * tracks)


def still_there(rng: Rng, tracks: int) -> Hidden:
    """Nothing at all, as often as one level that has moved."""
    track, off_db = _track(rng, tracks), _away(rng, 0.7, 1.3)
    if rng.random() < 0.5:
        return Hidden(one_in=2)
    wrong = (("turned reproduce_level", (track,)),)
    return Hidden(
        wrong=wrong, off_db_or_arcmin={"reproduce_level": {track: off_db}}, one_in=2 * tracks
    )


def relapped_head(rng: Rng, tracks: int) -> Hidden:
    """The angle of the reproduce head, far enough that neighbours differ by much."""
    return Hidden(off_db_or_arcmin={"reproduce_azimuth": {1: _away(rng, 5.0, 9.0)}})


def odd_tape(rng: Rng, tracks: int) -> Hidden:
    """A calibration tape that is not what its sheet says."""
    kinds = ("wrong_tape", "wrong_tape:speed", "wrong_tape:equalisation", "wrong_tape:upside_down")
    return Hidden(wrong=(_fault(rng, tracks, kinds),), one_in=len(kinds))


def dull_track(rng: Rng, tracks: int) -> Hidden:
    """One track without its high end: the card, or one of two trimmers."""
    track, off_db = _track(rng, tracks), -round(float(rng.uniform(3.0, 4.5)), 2)
    name = str(rng.choice(["card", "turned reproduce_high", "turned record_high"]))
    off = {} if name == "card" else {name.removeprefix("turned "): {track: off_db}}
    return Hidden(wrong=((name, (track,)),), off_db_or_arcmin=off, one_in=3 * tracks)


def new_stock(rng: Rng, tracks: int) -> Hidden:
    """Another stock than the one that the record side stands for."""
    return Hidden(stock=str(rng.choice(["bold", "fine"])))


def dull_all_over(rng: Rng, tracks: int) -> Hidden:
    """Short waves low on all tracks: dirt, wear or the angle."""
    name = str(rng.choice(["dirty", "worn", "turned reproduce_azimuth"]))
    off = {"reproduce_azimuth": {1: _away(rng, 6.0, 8.0)}} if name.startswith("turned") else {}
    return Hidden(wrong=((name, ()),), off_db_or_arcmin=off, one_in=3)


def left_by_somebody(rng: Rng, tracks: int) -> Hidden:
    """Two things at once, of those that show before the calibration tape is threaded."""
    first = _fault(rng, tracks, ("left_ready", "monitor_input", "noise_reduction"))
    second = _fault(rng, tracks, ("dead", "polarity"))
    return Hidden(wrong=(first, second), one_in=(2 + tracks) * 2 * tracks)


def by_the_meter(rng: Rng, tracks: int) -> Hidden:
    """Levels of all tracks, with nobody to advise."""
    levels = {track: _away(rng, 0.8, 2.0) for track in range(1, tracks + 1)}
    return Hidden(off_db_or_arcmin={"reproduce_level": levels})


def as_found(rng: Rng, tracks: int) -> Hidden:
    """Every trimmer, as somebody left it."""
    return Hidden(as_found=True)


def first_turns(rng: Rng, tracks: int) -> Hidden:
    """One level, one bias and the angle, on the same tracks each time."""
    off = {
        "reproduce_level": {2: _away(rng, 1.5, 2.2)},
        "reproduce_azimuth": {1: _away(rng, 2.5, 4.0)},
        "bias": {3: -round(float(rng.uniform(1.2, 2.0)), 2)},
    }
    return Hidden(off_db_or_arcmin=off)
