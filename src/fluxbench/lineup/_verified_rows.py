"""What a verification can read: rows of one quantity of all tracks, with their limits."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import error_db, mean_level_db
from fluxbench.lineup._stages_record import RESPONSE_DB, RESPONSE_HZ
from fluxbench.lineup._steps import rounded
from fluxbench.lineup._telling import Stop
from fluxbench.measure import THIRD_HARMONIC_LIMIT_PERCENT, Measured, maximum_output
from fluxbench.signals import PerTrack, Silence, Tone
from fluxbench.trade import LEVEL_HZ, pitch

RESPONSE_S = 2.5
NOISE_S = 8.0
HARMONICS_S = 4.0
CROSSTALK_S = 3.0
HARMONICS_HZ = 1013.0
"""Off the mains grid, and 1 kHz for all that matters."""
SPEED_HZ = 3150.0
FLUTTER_DB = -10.0
FLUTTER_S = 10.0
MAXIMUM_DB = tuple(np.arange(0.0, 17.0, 2.0).tolist())
"""Levels sent one after the other, re operating level, until all tracks are over 3 %."""
MAXIMUM_S = 2.0
LOUDEST_DBFS = -1.0
MOST_TRIES = 3


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity of all tracks: arrays are (tracks,), NaN where there is no reading.

    `within` says that the limit holds both ways, `at_least` that it is the least; without one
    nothing is judged. `hidden_below` is what the value lies under where it does not stand out of
    the noise.
    """

    name: str
    unit: str
    value: F64
    error: F64
    limit: float | None = None
    within: bool = False
    hidden_below: F64 | None = None
    at_least: bool = False

    def margin_db(self) -> F64:
        """How far each track stays inside the limit; negative outside, NaN where not judged."""
        if self.limit is None:
            return np.full(len(self.value), np.nan)
        if self.within:
            return self.limit - np.abs(self.value)
        value = self.value
        if self.at_least:
            return value - self.limit
        if self.hidden_below is not None:
            value = np.where(np.isnan(value), self.hidden_below, value)
        if self.unit == "%":
            return np.asarray(20.0 * np.log10(self.limit / np.maximum(value, 1e-9)))
        return np.asarray(self.limit - value)

    def told(self) -> dict[str, Any]:
        """As plain values for the journal."""
        facts: dict[str, Any] = {
            "name": self.name,
            "unit": self.unit,
            "value": self.value,
            "error": self.error,
            "limit": self.limit,
            "within": self.within,
            "at_least": self.at_least,
            "margin_db": self.margin_db(),
        }
        if self.hidden_below is not None:
            facts["hidden_below"] = np.where(np.isnan(self.value), self.hidden_below, np.nan)
        return dict(rounded(facts))


def response(bench: Bench) -> Procedure:
    """Level of eleven tones, three at once, re what is sent."""
    bands = bench.plan.tolerances
    rows = []
    for few in RESPONSE_HZ:
        bench.send(*((f, RESPONSE_DB) for f in few))
        yield from bench.settle()
        points = yield from bench.gather(RESPONSE_S)
        level, error = mean_level_db(points) - RESPONSE_DB, error_db(points)
        for k, f in enumerate(few):
            judged = bands.response_low_hz <= f <= bands.response_high_hz
            limit = bands.response_db if judged else None
            rows.append((f, Row(pitch(f), "dB", level[k], error[k], limit, within=True)))
    return [row for _, row in sorted(rows, key=lambda one: one[0])]


def noise(bench: Bench) -> Procedure:
    """What comes off the tape with nothing sent, re operating level."""
    read: Measured = yield from _read(bench, Silence(), ("noise", NOISE_S, 0.0, 0))
    zero = bench.plan.zero_dbfs
    rows = []
    for name, key, limit in (
        ("noise, A-weighted", "a_weighted", bench.plan.tolerances.noise_db),
        ("noise, 20 Hz to 20 kHz", "unweighted", None),
        ("noise, quasi-peak", "bs468", None),
    ):
        value, error = read.values[f"{key}_dbfs"], read.values[f"{key}_standard_error_db"]
        rows.append(Row(name, "dB", value - zero, error, limit))
    hum = read.values["hum_dbfs"] - zero
    rows.append(Row("hum", "dB", hum, np.full(len(hum), np.nan)))
    return rows


def distortion(bench: Bench) -> Procedure:
    """Harmonics of 1 kHz at operating level."""
    tone = Tone(HARMONICS_HZ, bench.plan.zero_dbfs)
    read: Measured = yield from _read(bench, tone, ("harmonics", HARMONICS_S, HARMONICS_HZ, 0))
    limit = bench.plan.tolerances.third_harmonic_percent
    rows = []
    for order, of_it in (("third", limit), ("second", None)):
        value = read.values[f"{order}_percent"]
        error = read.values[f"{order}_standard_error_percent"]
        below = read.values[f"{order}_limit_percent"]
        rows.append(Row(f"{order} harmonic", "%", value, error, of_it, hidden_below=below))
    total = read.values["total_percent"]
    return [*rows, Row("all harmonics", "%", total, np.full(len(total), np.nan))]


def crosstalk(bench: Bench) -> Procedure:
    """What a track gives while 1 kHz stands on its neighbours alone, re operating level."""
    tracks, zero = bench.plan.tracks, bench.plan.zero_dbfs
    value, error, below = (np.full(tracks, np.nan) for _ in range(3))
    tone = Tone(LEVEL_HZ, zero)
    for first in range(min(2, tracks)):
        driven = np.arange(tracks) % 2 == first
        signal = PerTrack(tuple(tone if on else Silence() for on in driven))
        read: Measured = yield from _read(
            bench, signal, ("crosstalk", CROSSTALK_S, LEVEL_HZ, first)
        )
        value[~driven] = read.values["level_db"][~driven]
        error[~driven] = read.values["standard_error_db"][~driven]
        below[~driven] = read.values["limit_db"][~driven]
    limit = bench.plan.tolerances.crosstalk_db
    return [Row("from its neighbours, 1 kHz", "dB", value, error, limit, hidden_below=below)]


def flutter(bench: Bench) -> Procedure:
    """Wow and flutter of a tone recorded and played at once, so that both count: no standard's.

    The two heads hear the same motion one head spacing apart. Slow parts are recorded and played
    with nearly the same speed and cancel; others count twice.
    """
    tone = Tone(SPEED_HZ, bench.plan.zero_dbfs + FLUTTER_DB)
    read: Measured = yield from _read(bench, tone, ("flutter", FLUTTER_S, SPEED_HZ, 0))
    weighted = read.values["weighted_2_sigma_percent"]
    error = read.values["weighted_2_sigma_standard_error_percent"]
    limit = bench.plan.tolerances.return_flutter_percent
    rows = [Row("flutter both ways, weighted 2 sigma", "%", weighted, error, limit)]
    for name, key in (
        ("flutter both ways, weighted quasi-peak", "weighted_quasi_peak_percent"),
        ("flutter both ways, unweighted", "unweighted_percent"),
    ):
        value = read.values[key]
        rows.append(Row(name, "%", value, np.full(len(value), np.nan)))
    return rows


def maximum(bench: Bench) -> Procedure:
    """Output at 3 % third harmonic of 1 kHz, re operating level, by a sweep of levels."""
    tracks, zero = bench.plan.tracks, bench.plan.zero_dbfs
    sent: list[float] = []
    output, third, error = (np.zeros((0, tracks)) for _ in range(3))
    for level_db in MAXIMUM_DB:
        if level_db + zero > LOUDEST_DBFS:
            break
        read: Measured = yield from _read(
            bench, Tone(HARMONICS_HZ, level_db + zero), ("harmonics", MAXIMUM_S, HARMONICS_HZ, 0)
        )
        sent.append(level_db)
        output, third, error = (
            np.vstack([known, new])
            for known, new in (
                (output, read.values["fundamental_dbfs"] - zero),
                (third, read.values["third_percent"]),
                (error, read.values["third_standard_error_percent"]),
            )
        )
        over = third[-1] > THIRD_HARMONIC_LIMIT_PERCENT
        if np.all(over | np.isnan(output[-1])):
            break
    found = [
        maximum_output(HARMONICS_HZ, np.array(sent), output[:, t], third[:, t], error[:, t])
        for t in range(tracks)
    ]
    return [
        Row(
            "output at 3 % third harmonic, 1 kHz",
            "dB",
            np.array([one.output_db for one in found]),
            np.array([one.standard_error_db for one in found]),
            bench.plan.tolerances.maximum_output_db,
            at_least=True,
        )
    ]


def _read(bench: Bench, signal: Any, of: tuple[str, float, float, int]) -> Procedure:
    """Measure a stretch of tape under a signal; once more if the tape ran out meanwhile.

    A tone before and after it says that the tape runs and records.
    """
    for _ in range(MOST_TRIES):
        yield from _prove(bench)
        asked = bench.asked
        bench.signal = signal
        yield from bench.settle()
        read = yield from bench.stretch(*of)
        yield from _prove(bench)
        if bench.asked == asked:
            return read
    raise Stop(f"{of[0]} cannot be read in one piece: is there enough tape?")


def _prove(bench: Bench) -> Procedure:
    bench.send((LEVEL_HZ, 0.0))
    yield from bench.settle()
    yield from bench.point()
