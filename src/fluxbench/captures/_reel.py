"""What the tones of a capture tell along the reel, over level, and over frequency."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fluxbench.captures._again import frequency_hz, level_dbfs
from fluxbench.captures._results import (
    AlongReel,
    LevelSweep,
    MeasuredSection,
    SteppedResponse,
)
from fluxbench.captures._sections import Kind
from fluxbench.measure import (
    MaximumOutput,
    ResponseReading,
    compression_db,
    highest_output,
    level_along,
    low_end,
    maximum_output,
)

F64 = NDArray[np.float64]

_LIKE_RATIO = 0.01
_LIKE_DB = 3.0

_LEAST_STEPS = 4
_LEAST_STEP_DB, _MOST_STEP_DB = 0.3, 6.0
_STEP_DB, _STEP_OFF_DB = 0.5, 0.15
"""Steps are believed to be whole half decibels if the lowest are as near to that."""
_LENGTH_RATIO = 1.4
_SHORT_WAVE_HZ = 4000.0

_LEAST_TONES = 5
_REFERENCE_HZ = 1000.0
_LOW_HZ = 300.0


def level_sweeps(sections: Sequence[MeasuredSection]) -> list[LevelSweep]:
    """Runs of four or more sections of one tone that rise by like steps."""
    return [_swept(run) for run in _runs(_plain(sections))]


def along_reel(
    sections: Sequence[MeasuredSection], sweeps: Sequence[LevelSweep]
) -> list[AlongReel]:
    """Tones that come at two or more places, within 3 dB of each other."""
    swept = {start_s for sweep in sweeps for start_s in sweep.starts_s}
    places: list[list[MeasuredSection]] = []
    for section in _plain(sections):
        if section.start_s in swept:
            continue
        like = next((some for some in places if _is_another(some[0], section)), None)
        if like is None:
            places.append([section])
        else:
            like.append(section)
    return [_along(some) for some in places if len(some) > 1]


def stepped(
    sections: Sequence[MeasuredSection], sweeps: Sequence[LevelSweep]
) -> SteppedResponse | None:
    """Five or more tones from below 300 Hz to 1 kHz and more, as one response."""
    swept = {start_s for sweep in sweeps for start_s in sweep.starts_s}
    tones: list[MeasuredSection] = []
    for section in _plain(sections):
        if section.start_s not in swept and not any(_is_alike(t, section) for t in tones):
            tones.append(section)
    tones.sort(key=frequency_hz)
    if len(tones) < _LEAST_TONES or not (
        frequency_hz(tones[0]) < _LOW_HZ and frequency_hz(tones[-1]) >= _REFERENCE_HZ
    ):
        return None
    response = ResponseReading(
        np.array([frequency_hz(section) for section in tones]),
        1.0,
        np.array([level_dbfs(section) for section in tones]),
        np.array([_errors(section) for section in tones]),
        tuple(section.track_validity() for section in tones),
    )
    return SteppedResponse(response, low_end(response, _REFERENCE_HZ))


def _plain(sections: Sequence[MeasuredSection]) -> list[MeasuredSection]:
    """Tones that are not the rest of another."""
    return [
        section
        for section in sections
        if section.kind is Kind.TONE and frequency_hz(section) > 0.0 and not section.related.remains
    ]


def _is_alike(one: MeasuredSection, other: MeasuredSection) -> bool:
    return abs(frequency_hz(one) / frequency_hz(other) - 1.0) < _LIKE_RATIO


def _is_another(one: MeasuredSection, other: MeasuredSection) -> bool:
    return _is_alike(one, other) and abs(_step_db(one, other)) < _LIKE_DB


def _step_db(one: MeasuredSection, other: MeasuredSection) -> float:
    """Median over the tracks of how much higher the other is; NaN if none has both."""
    steps = level_dbfs(other) - level_dbfs(one)
    known = steps[np.isfinite(steps)]
    return float(np.median(known)) if len(known) else np.nan


def _errors(section: MeasuredSection) -> F64:
    if section.tone is None:
        return np.full(len(section.validity), np.nan)
    return section.tone.tone.level_standard_error_db


def _along(places: Sequence[MeasuredSection]) -> AlongReel:
    at_s = np.array([0.5 * (section.start_s + section.end_s) for section in places])
    levels = np.array([level_dbfs(section) for section in places])
    errors = np.array([_errors(section) for section in places])
    return AlongReel(
        float(np.mean([frequency_hz(section) for section in places])),
        tuple(section.start_s for section in places),
        level_along(at_s, levels, errors),
    )


def _runs(tones: Sequence[MeasuredSection]) -> list[list[MeasuredSection]]:
    """Neighbours of one tone, as long as they last alike, that begin by rising."""
    runs: list[list[MeasuredSection]] = []
    run: list[MeasuredSection] = []
    for section in tones:
        if run and not (_is_alike(run[-1], section) and _goes_on(run, section)):
            runs.append(run)
            run = []
        run.append(section)
    return [run for run in [*runs, run] if len(run) >= _LEAST_STEPS]


def _goes_on(run: Sequence[MeasuredSection], section: MeasuredSection) -> bool:
    lengths = sorted(each.end_s - each.start_s for each in (run[0], section))
    step_db = _step_db(run[-1], section)
    rises = _LEAST_STEP_DB < step_db < _MOST_STEP_DB
    bends = len(run) >= _LEAST_STEPS and abs(step_db) < _MOST_STEP_DB
    return lengths[1] < _LENGTH_RATIO * lengths[0] and (rises or bends)


def _swept(run: Sequence[MeasuredSection]) -> LevelSweep:
    at_hz = float(np.mean([frequency_hz(section) for section in run]))
    output = np.array([level_dbfs(section) for section in run])
    step_db = _believed_db([_step_db(*pair) for pair in pairwise(run[:3])])
    # Levels as if the lowest one had been sent as it was read.
    order_db = np.arange(len(run), dtype=np.float64)
    order_db *= step_db if np.isfinite(step_db) else 1.0
    tracks = range(output.shape[1])
    maximum = tuple(_maximum(at_hz, order_db, output[:, t], run, t) for t in tracks)
    even = np.isfinite(step_db)
    highest = None
    if at_hz >= _SHORT_WAVE_HZ and even:
        highest = tuple(highest_output(at_hz, order_db, output[:, t]) for t in tracks)
    squeezed = np.full(output.shape, np.nan)
    if even:
        for t in tracks:
            squeezed[:, t] = compression_db(order_db, output[:, t])
    return LevelSweep(
        at_hz, tuple(section.start_s for section in run), step_db, maximum, highest, squeezed
    )


def _believed_db(lowest: Sequence[float]) -> float:
    """What was sent from step to step, by the lowest steps; NaN if these tell nothing."""
    whole_db = _STEP_DB * float(np.rint(np.mean(lowest) / _STEP_DB))
    near = max(abs(step_db - whole_db) for step_db in lowest) < _STEP_OFF_DB
    return whole_db if near and whole_db > 0.0 else np.nan


def _maximum(
    at_hz: float, order_db: F64, output_db: F64, run: Sequence[MeasuredSection], track: int
) -> MaximumOutput:
    third, error = np.full((2, len(run)), np.nan)
    for row, section in enumerate(run):
        if section.tone is not None:
            harmonics = section.tone.harmonics
            third[row] = harmonics.percent[1, track]
            error[row] = harmonics.standard_error_percent[1, track]
    return maximum_output(at_hz, order_db, output_db, third, error)
