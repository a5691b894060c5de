"""All that moves on the screen, as one message that replaces the one before."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup import Advice, AzimuthLine, Board, LineUp, Picture, Verdict
from fluxbench.measure import Hop, power_dbfs
from fluxbench.signals import PerTrack, Signal, Silence, Tone, Tones

F64 = NDArray[np.float64]

WINDOW_HOPS = 10
"""0.2 s."""
SLOW_EVERY = 10
"""Hops between two messages with the whole board, bias picture and azimuth line."""
MOST_POINTS = 400
FIT_POINTS = 25
LEAST_STEP_DB = 0.5
LEAST_POINTS = 8


@dataclass(frozen=True, slots=True)
class Shown:
    """A message: what changes all the time, and what is sent only when its number is new."""

    fast: Mapping[str, Any] = field(default_factory=dict)
    slow: Mapping[str, Any] = field(default_factory=dict)
    slow_number: int = 0

    @property
    def whole(self) -> dict[str, Any]:
        """All of it."""
        return {**self.fast, **self.slow}


class Meters:
    """Keeps the last hops and makes messages of them and of what the line-up shows."""

    def __init__(self) -> None:
        self._hops: deque[Hop] = deque(maxlen=WINDOW_HOPS)
        self._made = 0
        self._since_slow = 0
        self._slow_number = 0
        self._slow: Mapping[str, Any] = {}

    def take(self, hop: Hop) -> None:
        """Take the next hop; one under other tones begins a new window."""
        if self._hops and hop.frequencies_hz != self._hops[-1].frequencies_hz:
            self._hops.clear()
        self._hops.append(hop)
        self._since_slow += 1

    def forget(self) -> None:
        """The stream has been interrupted."""
        self._hops.clear()

    def message(self, lineup: LineUp | None, zero_dbfs: float, now: Mapping[str, Any]) -> Shown:
        """The message of this moment; `now` is what the session adds."""
        self._made += 1
        out: dict[str, Any] = {"n": self._made, **now, **self._levels(zero_dbfs, lineup)}
        if lineup is None:
            nothing = dict.fromkeys(("board", "azimuth", "bias"))
            out |= {"t": 0.0, "stage": None, "sending": [], "advice": None, "focus": None}
            return Shown(out | {"progress": None}, nothing, 0)
        view = lineup.view
        out |= {
            "t": round(view.time_s, 2),
            "stage": view.stage,
            "sending": sending(lineup.signal, zero_dbfs),
            "advice": advised(view.advice),
            "focus": focus(lineup),
            "progress": {"done": view.done, "due": view.due},
        }
        if self._since_slow >= SLOW_EVERY:
            self._since_slow = 0
            track = bias_track(lineup)
            self._slow_number += 1
            self._slow = {
                "board": None if view.closed else board(lineup.board, lineup.live),
                "azimuth": azimuth_line(lineup.line),
                "bias": None
                if track is None
                else bias_picture(lineup.pictures[track], lineup.plan.over_bias_db),
            }
        return Shown(out, self._slow, self._slow_number)

    def _levels(self, zero_dbfs: float, lineup: LineUp | None) -> dict[str, Any]:
        if not self._hops:
            return {"lost": False, "tones_hz": [], "level_db": [], "peak_dbfs": []}
        power = np.mean([hop.power for hop in self._hops], axis=0)
        level = power_dbfs(power) - zero_dbfs
        peak = np.max([hop.peak for hop in self._hops], axis=0)
        lost = any(hop.lost for hop in self._hops)
        level[:, np.any([hop.clipped for hop in self._hops], axis=0)] = np.nan
        if lost:
            level[:] = np.nan
        level = np.maximum(level, -120.0)
        peak_dbfs = 20.0 * np.log10(np.maximum(peak, 1e-6))
        if lineup is not None and len(peak) == lineup.plan.tracks:
            free = [t for t in range(len(peak)) if t not in lineup.cables.heard]
            level[:, free] = peak_dbfs[free] = np.nan  # no cable
        return {
            "lost": lost,
            "tones_hz": list(self._hops[-1].frequencies_hz),
            "level_db": [plain(row, 2) for row in level],
            "peak_dbfs": plain(peak_dbfs, 1),
        }


def plain(values: Any, decimals: int = 3) -> list[float | None]:
    """Numbers rounded, None where not finite."""
    array = np.asarray(values, np.float64)
    rounded = np.round(array, decimals).tolist()
    return [v if ok else None for v, ok in zip(rounded, np.isfinite(array), strict=True)]


def number(value: float | None, decimals: int = 3) -> float | None:
    """One number rounded, None where not finite."""
    return round(float(value), decimals) if value is not None and np.isfinite(value) else None


def sending(signal: Signal, zero_dbfs: float) -> list[dict[str, float]]:
    """The tones that go out on track 1, dB re 0 VU."""
    if isinstance(signal, PerTrack):
        signal = signal.signals[0]
    if isinstance(signal, Silence):
        return []
    tones = signal.tones if isinstance(signal, Tones) else (signal,)
    return [
        {"frequency_hz": t.frequency_hz, "level_db": round(t.level_dbfs - zero_dbfs, 2)}
        for t in tones
        if isinstance(t, Tone)
    ]


def advised(advice: Advice | None) -> dict[str, Any] | None:
    """The advice on the trimmer in hand."""
    if advice is None:
        return None
    return {
        "trimmer": advice.trimmer,
        "track": advice.track,
        "verdict": advice.verdict.value,
        "way": advice.way,
        "deviation": number(advice.deviation),
        "unit": advice.unit,
        "spread": number(advice.spread),
        "wait_s": round(advice.wait_s, 2),
        "words": advice.words,
        "moved_db": number(advice.moved_db),
        "to_go_db": number(advice.to_go_db),
        "back_ratio": number(advice.back_ratio),
        "from_found": number(advice.from_found),
        "goes_back": advice.goes_back,
    }


def focus(lineup: LineUp) -> dict[str, Any] | None:
    """The trimmer in hand and who chose it."""
    advice = lineup.view.advice
    if advice is None:
        return None
    by = "bench"
    for entry in reversed(lineup.journal[-50:]):
        if entry["what"] == "focus":
            by = str(entry["by"])
            break
    return {"trimmer": advice.trimmer, "track": advice.track, "by": by}


def board(shown: Board | None, live: NDArray[np.bool_]) -> dict[str, Any] | None:
    """Every track against its target."""
    if shown is None:
        return None
    off = shown.target - shown.reading
    verdicts = [
        (Verdict.of(float(o), shown.set_band) if np.isfinite(o) else Verdict.NO_READING).value
        for o in off
    ]
    return {
        "trimmer": shown.trimmer,
        "unit": shown.unit,
        "reading": plain(shown.reading),
        "target": plain(shown.target),
        "deviation": plain(off),
        "spread": plain(shown.spread),
        "verdict": verdicts,
        "live": live.tolist(),
        "hold": shown.hold_db,
        "set": shown.set_band,
    }


def azimuth_line(line: AzimuthLine | None) -> dict[str, Any] | None:
    """Delays of the tracks and the line through them."""
    if line is None:
        return None
    return {
        "trimmer": line.trimmer,
        "frequency_hz": line.frequency_hz,
        "position_mm": plain(line.position_mm),
        "delay_us": plain(line.delay_us),
        "line_us": plain(line.line_us),
        "scatter_us": plain(line.delay_us - line.line_us),
        "angle_arcmin": number(line.angle_arcmin),
        "error_arcmin": number(line.error_arcmin),
        "target_arcmin": number(line.target_arcmin),
    }


def bias_track(lineup: LineUp) -> int | None:
    """The track (from 0) whose bias is in hand."""
    advice = lineup.view.advice
    if advice is None or advice.trimmer != "bias" or advice.track is None:
        return None
    track = advice.track - 1
    return track if track in lineup.pictures else None


def bias_picture(picture: Picture, over_bias_db: float) -> dict[str, Any]:
    """Short waves against D of one track, the fitted top, the sheet's point, and here.

    The companion stands 30 dB below operating level: its third harmonic lies far below the
    noise of the tape there, and none is shown.
    """
    differ, short = picture.difference_db, picture.short_db
    every = max(1, -(-len(differ) // MOST_POINTS))
    points = len(differ[::every])
    peak = picture.peak
    out: dict[str, Any] = {
        "track": picture.track,
        "phase": picture.phase,
        "difference_db": plain(differ[::every]),
        "short_db": plain(short[::every]),
        "third_harmonic_percent": [None] * points,
        "modulation_noise_db": plain(picture.modulation_noise_db[::every], 1),
        "peak": None,
        "fit": None,
        "sheet": None,
        "here": None,
        "least_distortion_difference_db": None,
        "least_noise_difference_db": least_at(differ, picture.modulation_noise_db),
    }
    if points:
        here = slice(-min(7, len(differ)), None)
        out["here"] = {
            "difference_db": number(differ[here].mean()),
            "short_db": number(short[here].mean()),
        }
    if peak is None:
        return out
    out["peak"] = {
        "level_db": number(peak.level_db),
        "error_db": number(peak.error_db),
        "difference_db": number(peak.difference_db),
    }
    curve = fitted(differ, short, peak.level_db)
    if curve is None:
        return out
    at, level = curve
    out["fit"] = {"difference_db": plain(at), "short_db": plain(level)}
    beyond = (at < peak.difference_db) & (level <= peak.level_db - over_bias_db)
    if beyond.any():
        i = int(np.flatnonzero(beyond)[-1])
        out["sheet"] = {
            "difference_db": number(at[i]),
            "short_db": number(peak.level_db - over_bias_db),
        }
    return out


def least_at(differ: F64, noise_db: F64) -> float | None:
    """The D at which the noise is least, from means over steps of D; None if that is at an end."""
    step = np.round(differ / LEAST_STEP_DB)
    steps = [s for s in np.unique(step) if np.isfinite(noise_db[step == s]).sum() >= LEAST_POINTS]
    if len(steps) < 3:
        return None
    means = [float(np.nanmean(noise_db[step == s])) for s in steps]
    least = int(np.argmin(means))
    at_end = least in (0, len(steps) - 1)
    return None if at_end else float(steps[least] * LEAST_STEP_DB)


def fitted(differ: F64, short: F64, top_db: float) -> tuple[F64, F64] | None:
    """A cubic through the points within 4 dB of the top, for the eye."""
    near = short > top_db - 4.0
    if near.sum() < 20 or np.ptp(differ[near]) < 0.5:
        return None
    curve = np.polynomial.Polynomial.fit(differ[near], short[near], 3)
    at = np.linspace(differ[near].min(), differ[near].max(), FIT_POINTS)
    return at, np.asarray(curve(at))
