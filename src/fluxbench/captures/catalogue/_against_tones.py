"""Faults that the line-up tones tell: level, balance, polarity, delay, equalisation, speed."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._faults import Fault, Kind, Limits
from fluxbench.captures.catalogue._heard import Heard, Left
from fluxbench.captures.catalogue._likely import difference_db
from fluxbench.captures.catalogue._tones import MEANT_DB, LineUpTone, mean, middle
from fluxbench.trade import Equalisation, pitch

F64 = NDArray[np.float64]

_LOW_HZ, _MIDDLE_HZ = 200.0, 10_500.0
_TIMES = {2.0: "twice", 4.0: "four times", 0.5: "half", 0.25: "a quarter of"}
_TOLD_HZ = (10_000.0, 100.0)
"""Where an equalisation error is told."""


def tone_faults(heard: Heard, declared: Declared, limits: Limits) -> Iterator[Fault]:
    """Everything that the tones have against a capture."""
    yield from _other_speed(heard, declared)
    yield from _levels(heard, declared, limits)
    yield from _two_levels(heard, limits)
    yield from _polarity(heard)
    yield from _delays(heard, limits)
    yield from _equalisation(heard)
    yield from _response(heard, limits)
    tone_hz = declared.speed_tone_hz
    if tone_hz is not None and abs(heard.speed_offset_percent) > limits.speed_percent:
        way = "fast" if heard.speed_offset_percent > 0.0 else "slow"
        yield Fault(
            Kind.SPEED,
            (),
            f"played {abs(heard.speed_offset_percent):.2f} % {way} by its {pitch(tone_hz)} tone",
            "resample",
        )


def _levels(heard: Heard, declared: Declared, limits: Limits) -> Iterator[Fault]:
    if heard.reference is None:
        return
    level_dbfs = heard.reference.level_dbfs
    middle_dbfs = middle(level_dbfs, declared.level_dbfs, limits.level_db)
    hz = pitch(heard.reference.nominal_hz)
    if declared.level_dbfs is not None:
        off_db = middle_dbfs - declared.level_dbfs
        if abs(off_db) > limits.level_db:
            yield Fault(
                Kind.LEVEL, (), f"{hz} {_off(off_db)}", f"change the gain by {-off_db:+.2f} dB"
            )
    off_each_db = level_dbfs - middle_dbfs
    uneven = _where(np.abs(off_each_db) > limits.level_db)
    if uneven:
        told = ", ".join(f"track {n} {_off(off_each_db[n - 1])}" for n in uneven[:4])
        more = f" and {len(uneven) - 4} more" if len(uneven) > 4 else ""
        yield Fault(Kind.BALANCE, uneven, f"{hz}: {told}{more}", "balance the tracks")


def _two_levels(heard: Heard, limits: Limits) -> Iterator[Fault]:
    """Reference tones that were printed more than once and differ, but not by intent."""
    if heard.reference is None:
        return
    for tone in heard.printed.references:
        off_db = mean(tone.level_dbfs - heard.reference.level_dbfs)
        if (
            tone.nominal_hz == heard.reference.nominal_hz
            and limits.sets_db < abs(off_db) < MEANT_DB
        ):
            used = _at(heard.reference)
            yield Fault(
                Kind.TWO_LEVELS,
                (),
                f"{pitch(tone.nominal_hz)} at {_at(tone)} {_off(off_db)} against {used}",
                f"levels are told by the one at {used}; reels joined, or a gain moved: listen",
            )
            return


def _at(tone: LineUpTone) -> str:
    """Where in the capture a tone begins, in minutes and seconds."""
    minutes, seconds = divmod(int(tone.section["start_s"]), 60)
    return f"{minutes}:{seconds:02d}"


def _other_speed(heard: Heard, declared: Declared) -> Iterator[Fault]:
    ratio = heard.speed_ratio
    if ratio == 1.0:
        return
    told = ", ".join(_hz(hz) for hz in sorted(heard.tones)[:4])
    yield Fault(
        Kind.OTHER_SPEED,
        (),
        f"tones at {told}: as if played at {_TIMES[ratio]} its speed",
        "look at the box; transfer again at its own speed and equalisation",
    )


def _polarity(heard: Heard) -> Iterator[Fault]:
    reversed_ones = _where(np.array(heard.polarity) < 0)
    if reversed_ones:
        yield Fault(
            Kind.POLARITY, reversed_ones, f"{_named(reversed_ones)} reversed", "turn it round"
        )


def _delays(heard: Heard, limits: Limits) -> Iterator[Fault]:
    known = np.isfinite(heard.delay_us)
    if np.count_nonzero(known) < 2:
        return
    apart_us = float(np.nanmax(heard.delay_us) - np.nanmin(heard.delay_us))
    error_us = float(np.nanmax(heard.delay_error_us))
    if apart_us - 2.0 * error_us <= limits.outer_delay_us:
        return
    angle = ""
    if np.isfinite(heard.azimuth_arcmin):
        angle = f" ({abs(heard.azimuth_arcmin):.1f} arc-min)"
    yield Fault(
        Kind.DELAY,
        (),
        f"tracks {apart_us:.1f} us apart{angle}",
        "delay the early ones; the high end that azimuth took stays lost",
    )
    if heard.lost_at_10_khz_db > limits.high_end_lost_db:
        yield Fault(
            Kind.HIGH_END_LOST,
            (),
            f"{heard.lost_at_10_khz_db:.1f} dB at 10 kHz lost to azimuth",
            "no filter brings it back without its noise; set the head and transfer again",
        )


def _equalisation(heard: Heard) -> Iterator[Fault]:
    likely = heard.likely
    if likely.as_recorded is not False or likely.played is None:
        return
    reference_hz = heard.reference.nominal_hz if heard.reference is not None else 1000.0
    if likely.recorded is None:
        names = " or ".join(short(each) for each in likely.candidates)
        yield Fault(
            Kind.EQUALISATION,
            (),
            f"played with {short(likely.played)}, recorded to {names}:"
            f" {equalisation_error(likely.nearest, likely.played, reference_hz)} by the likeliest",
            "look at the box which it is; correct by the difference, or transfer again",
        )
        return
    found = (
        f"played with {short(likely.played)}, recorded to {short(likely.recorded)}:"
        f" {equalisation_error(likely.recorded, likely.played, reference_hz)}"
    )
    yield Fault(Kind.EQUALISATION, (), found, "correct by the difference")


def equalisation_error(
    recorded: Equalisation, played: Equalisation, reference_hz: float = 1000.0
) -> str:
    """How high or low both ends read, in words."""
    at_hz = np.array(_TOLD_HZ)
    ends = zip(
        ("high end", "low end"),
        at_hz,
        difference_db(recorded, played, at_hz, reference_hz),
        strict=True,
    )
    told = [f"{end} {_off(db)} at {_hz(hz)}" for end, hz, db in ends if abs(db) >= 0.05]
    return ", ".join(told) or "no difference at either end"


def short(equalisation: Equalisation) -> str:
    """An equalisation as the trade writes it: 3180/50, or ∞/35."""
    t1 = "∞" if equalisation.t1_us is None else f"{equalisation.t1_us:g}"
    return f"{t1}/{equalisation.t2_us:g}"


def _response(heard: Heard, limits: Limits) -> Iterator[Fault]:
    """What no standard explains."""
    out: list[str] = []
    tracks: set[int] = set()
    for left in heard.left:
        low_db, high_db = _band(left, limits)
        if not low_db <= left.mean_db <= high_db:
            out.append(f"{_hz(left.frequency_hz)} {_off(left.mean_db)}")
            continue
        for track in _where((left.each_db < low_db) | (left.each_db > high_db)):
            tracks.add(track)
            out.append(f"track {track} at {_hz(left.frequency_hz)} {_off(left.each_db[track - 1])}")
    if out:
        why = heard.likely.why if heard.likely.as_recorded is None else ""
        yield Fault(
            Kind.RESPONSE,
            tuple(sorted(tracks)),
            f"{', '.join(out[:4])}{f' and {len(out) - 4} more' if len(out) > 4 else ''}",
            f"not put right here ({why or 'no equalisation explains it'});"
            " clean and line up, transfer again",
        )


def _band(left: Left, limits: Limits) -> tuple[float, float]:
    if left.frequency_hz <= _LOW_HZ:
        return -limits.low_end_db, limits.low_end_db
    if left.frequency_hz <= _MIDDLE_HZ:
        return -limits.middle_db, limits.middle_db
    return limits.top_db


def _where(bad: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(index) + 1 for index in np.flatnonzero(bad))


def _named(tracks: Sequence[int]) -> str:
    return f"track{'s' if len(tracks) > 1 else ''} {', '.join(map(str, tracks))}"


def _off(db: float) -> str:
    return f"{abs(db):.1f} dB {'high' if db > 0.0 else 'low'}"


def _hz(frequency_hz: float) -> str:
    if frequency_hz >= 1000.0:
        return f"{frequency_hz / 1000.0:.3g} kHz"
    return f"{frequency_hz:.3g} Hz"
