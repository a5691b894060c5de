"""What the first plays of the calibration tape say of the deck itself, before a trimmer is turned.

Nothing here is set by a trimmer: speed, hum, restless contact, lost short waves, polarity off the
tape. The line-up says it and goes on, since only a person can clean, repair or swap.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._point import STEP_S, Point
from fluxbench.trade import HUM_HZ, LEVEL_HZ, pitch, spacing_loss_db, wavelength_um

SILENT_DB = -25.0
"""A track that reads so far below its target gives nothing."""
RESTLESS_UM = 0.083
"""Rms of the spacing, as means over 0.1 s show it, above which contact is worse than usual.

From memory: 0.05 to 0.2 um over all frequencies, of which such means keep about two thirds."""
SHORT_WAVES_LOST_DB = 1.5
FAR_DB = 4.5
"""As found, trimmers scatter by less."""
ERASED_DB = -55.0
"""What may be left of 0 VU at 1 kHz; common practice asks for -65 and less."""
ERASED_POINTS = 40
HUM_DB = -55.0
"""A line of hum above this, re 0 VU, is said; common practice asks for -60 and less."""
HUM_POINTS, HUM_PATIENCE_S = 20, 30.0


def leave_out_silent(bench: Bench, reading_db: F64, target_db: F64, where: str) -> None:
    """Go on without live tracks that give no tone, or clip (both (tracks,))."""
    for t in np.flatnonzero(bench.live & ~np.isfinite(reading_db)):
        bench.leave_out(int(t), f"clips at the interface on {where}: turn its return down")
    for t in np.flatnonzero(bench.live & (reading_db < target_db + SILENT_DB)):
        bench.leave_out(int(t), f"gives nothing on {where}: head, cable or amplifier")


def check_speed(bench: Bench, points: Sequence[Point], nominal_hz: float) -> None:
    """Speed from the frequency of a section of the calibration tape, the mean of all tracks."""
    off_hz = off_frequency_hz(bench, points)
    percent = 100.0 * off_hz / nominal_hz
    bench.write("speed", percent=percent)
    if abs(percent) > bench.plan.tolerances.speed_percent:
        bench.note(
            f"the tape runs {abs(percent):.2f} % {'fast' if percent > 0 else 'slow'}:"
            f" {pitch(nominal_hz)} of {bench.plan.tape_told} reads {nominal_hz + off_hz:.1f} Hz;"
            " see to the capstan, or to varispeed"
        )


def off_frequency_hz(bench: Bench, points: Sequence[Point]) -> float:
    """How far the first tone lies off its nominal frequency, the mean of all live tracks."""
    turns = np.concatenate(
        [e[1:] * e[:-1].conj() for e in (p.envelope[:, 0, bench.live] for p in points)]
    )
    return float(np.angle(turns.sum()) / (2.0 * np.pi * STEP_S))


def learn_polarity(bench: Bench, points: Sequence[Point]) -> None:
    """Which live tracks come back reversed against most others, from a long wave on all."""
    live = np.flatnonzero(bench.live)
    tones = np.concatenate([p.envelope[:, 0, live] for p in points])
    mean = (tones * tones[:, :1].conj()).sum(axis=0)
    steps = np.where((mean[1:] * mean[:-1].conj()).real < 0.0, -1.0, 1.0)
    sign = np.concatenate([[1.0], np.cumprod(steps)])
    bench.sign[:] = 1.0
    bench.sign[live] = sign if sign.sum() >= 0.0 else -sign
    for t in np.flatnonzero(bench.sign < 0.0):
        bench.note(f"track {t + 1} comes back reversed in polarity off the tape")


def check_short_waves(bench: Bench, off_db: F64, head: str) -> None:
    """Short against long waves, re target (tracks,): what all tracks lack together is no trimmer's.

    Trimmers alone scatter to both sides; dirt, wear and a tape of another equalisation do not.
    """
    live = off_db[bench.live & np.isfinite(off_db)]
    if not len(live):
        return
    mean = float(live.mean())
    error = float(live.std(ddof=1)) / np.sqrt(len(live)) if len(live) > 1 else np.inf
    if mean < -SHORT_WAVES_LOST_DB and -mean > 3.0 * max(error, 0.1):
        bench.note(
            f"all tracks of the {head} head lack short waves together, {-mean:.1f} dB in the mean:"
            " clean the path and play again; else the head is worn, or the tape has another"
            " equalisation"
        )


def check_contact(bench: Bench, points: Sequence[Point], frequency_hz: float, head: str) -> None:
    """How restless the spacing is, from the wavering of a short wave that nobody turns."""
    level = np.array([p.level_db[0] for p in points])[:, bench.live]
    time = np.arange(len(level)) - (len(level) - 1) / 2.0
    slope = (time[:, np.newaxis] * (level - level.mean(axis=0))).sum(axis=0) / (time**2).sum()
    waver_db = np.full(bench.plan.tracks, np.nan)
    waver_db[bench.live] = np.std(level - slope * time[:, np.newaxis], axis=0)
    if not np.isfinite(waver_db).any():
        return
    per_um_db = float(spacing_loss_db(1.0, wavelength_um(frequency_hz, bench.plan.speed_ips)))
    spacing_um = float(np.nanmedian(waver_db)) / per_um_db
    bench.write("contact", head=head, waver_db=waver_db, spacing_um=spacing_um)
    if spacing_um > RESTLESS_UM:
        bench.note(
            f"contact with the {head} head is restless: {pitch(frequency_hz)} wavers by"
            f" {np.nanmedian(waver_db):.2f} dB; clean head and guides, look at tension and tape"
        )


def check_alone(bench: Bench, off_db: F64, what: str) -> None:
    """A live track that stands far off all others, re target (tracks,), is more than trimming."""
    live = np.flatnonzero(bench.live & np.isfinite(off_db))
    if len(live) < 3:
        return
    for t in live:
        others = off_db[live[live != t]]
        away = float(off_db[t] - np.median(others))
        if abs(away) > FAR_DB:
            bench.note(
                f"track {t + 1} alone stands {away:+.1f} dB off the others {what}:"
                " its head or its amplifier; swap cards to know"
            )


def check_erasure(bench: Bench) -> Procedure:
    """Record silence over the tones of a moment ago: what is left of them at 1 kHz."""
    bench.silence()
    yield from bench.ask("locate", "go back to the beginning of the stock", position_s=0.0)
    yield from bench.record_all()
    bench.listen(LEVEL_HZ)
    yield from bench.wait(0.5)
    left: list[F64] = []
    while len(left) < ERASED_POINTS:
        point = yield from bench.whole_point()
        if len(point.level_db) == 1:
            left.append(point.level_db[0])
    left_db = np.percentile(np.array(left), 90.0, axis=0)
    bench.write("erasure", left_db=left_db)
    for t in np.flatnonzero(bench.live & (left_db > ERASED_DB)):
        bench.note(
            f"track {t + 1} erases by {-left_db[t]:.0f} dB only: look at its erase head and current"
        )


def check_hum(bench: Bench) -> Procedure:
    """Hum on the returns while nothing is sent and nothing is recorded."""
    bench.silence()
    bench.listen(0.0)
    yield from bench.wait(0.5)
    heard: list[NDArray[np.float32]] = []
    begin = bench.time_s
    while len(heard) < HUM_POINTS:  # one after another: a line is told from its neighbours by time
        if bench.time_s - begin > HUM_PATIENCE_S:
            bench.note("hum was not looked for: frames were lost all the time")
            return
        point = yield
        heard = [] if point.lost else [*heard, point.envelope[:, 0].real]
    signal = np.concatenate(heard).astype(np.float64)
    window = np.hanning(len(signal))
    time_s = STEP_S * np.arange(len(signal))
    lines = np.exp(-2j * np.pi * np.outer(HUM_HZ, time_s)) * window / window.sum()
    size = 2.0 * np.abs(lines @ signal)
    level_db = 20.0 * np.log10(np.maximum(size, 1e-9)) - bench.plan.zero_dbfs
    bench.write("hum", level_db=level_db.max(axis=0))
    humming = bench.live & (level_db.max(axis=0) > HUM_DB)
    if humming.any():
        track = int(np.argmax(np.where(humming, level_db.max(axis=0), -np.inf)))
        line = int(np.argmax(level_db[:, track]))
        who = "all tracks" if humming[bench.live].all() else f"{humming.sum()} of the tracks"
        bench.note(
            f"hum on {who}, most on track {track + 1}: {pitch(HUM_HZ[line])} at"
            f" {level_db[line, track]:.0f} dB re 0 VU; look at earthing, cables and supplies"
        )
