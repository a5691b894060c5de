"""The stages before anything is recorded: input check, safe, calibration tape, both heads."""

import numpy as np

from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._azimuth import azimuth
from fluxbench.lineup._bench import F64, Bench, Procedure, Stop
from fluxbench.lineup._plan import Section
from fluxbench.lineup._probe import PROBE_HZ, check_head_delay, check_order, onset_s
from fluxbench.lineup._sections import calibration_pass, wrong_tape


def input_check(bench: Bench) -> Procedure:
    """No tape: levels, order and polarity of every return, and the round trip of the link."""
    bench.stage("input check")
    yield from bench.step("input check", _input_check(bench))


def _input_check(bench: Bench) -> Procedure:
    yield from bench.ask(
        "transport",
        "stop the tape and listen to the input",
        state="stop",
        ready=[],
        monitor="input",
    )
    bench.listen(PROBE_HZ)
    yield from bench.wait(0.6)
    bench.round_trip_s = yield from onset_s(bench)
    if np.isnan(bench.round_trip_s):
        raise Stop("nothing comes back: check interface, cables and the deck's monitor switch")
    yield from bench.wait(0.6)
    levels = (yield from bench.levels(1.0))[0]
    bench.live = np.isfinite(levels) & (levels > -30.0)
    for t in np.flatnonzero(~bench.live):
        bench.note(f"track {t + 1} is dead: its input does not come back; it is left out")
    if not bench.live.any():
        raise Stop("no track returns its input; check the interface, or the return clips")
    bench.write("input levels", level_db=levels)
    off = bench.live & (np.abs(levels) > 1.0)
    for t in np.flatnonzero(off):
        bench.note(f"track {t + 1} returns its input at {levels[t]:+.1f} dB: check its input level")
    phase = (yield from bench.gather(0.3))[0].envelope.mean(axis=0)[0]
    reference = np.exp(1j * np.angle(phase[bench.live].sum() if bench.live.any() else 1.0))
    for t in np.flatnonzero(bench.live & ((phase * reference.conj()).real < 0.0)):
        bench.note(f"track {t + 1} comes back reversed in polarity")
    yield from check_order(bench)
    bench.silence()
    yield from bench.wait(0.3)


def safe_check(bench: Bench) -> Procedure:
    """On scrap tape, record pressed with every track safe: nothing may come back off the tape."""
    bench.stage("prepare")
    yield from bench.step("safe", _safe_check(bench))


def _safe_check(bench: Bench) -> Procedure:
    yield from bench.ask("load", "load scrap tape (the stock will do)", tape="stock")
    yield from bench.ask("transport", "all tracks safe; press record; listen to the reproduce head",
                         state="record", ready=[], monitor="reproduce")  # fmt: skip
    bench.silence()
    bench.listen(PROBE_HZ)
    yield from bench.wait(1.5)
    onset = yield from onset_s(bench)
    bench.silence()
    if not np.isnan(onset):
        check_head_delay(bench, onset)
        raise Stop("a track records although all are safe: it would wipe the calibration tape")
    bench.write("safe", proved=True)
    yield from bench.ask("transport", "stop", state="stop", ready=[], monitor="reproduce")


def check_fluxivity(bench: Bench, found: dict[int, F64]) -> None:
    """Every track off by the same amount speaks for another tape, not for 24 trimmers."""
    section = bench.plan.level_section
    if section.number not in found:
        raise wrong_tape(bench, f"its {section.frequency_hz:g} Hz reference section was not found")
    off = (found[section.number] - bench.plan.calibration_target_db(section))[bench.live]
    n = len(off)
    if n < 4:
        return
    mean, scatter = float(off.mean()), float(off.std(ddof=1))
    times = abs(mean) / (max(scatter, 0.05) / np.sqrt(n))
    if abs(mean) < 1.2 or times < 3.0:
        return
    flux = bench.plan.calibration_nwb_per_m * 10.0 ** (mean / 20.0)
    what = f"all tracks read {mean:+.1f} dB together, as from a tape of {flux:.0f} nWb/m"
    if times > (4.5 if n >= 8 else 10.0):
        raise wrong_tape(bench, what)
    bench.note(f"{what}: look at the label of the calibration tape")


def reproduce(bench: Bench, head: str) -> Procedure:
    """Azimuth (reproduce head only), high end against level, then level; keeps what was left.

    The high end comes first, against 1 kHz, since its trimmer moves 1 kHz a little and the level
    trimmer moves both alike: so that each trimmer is visited once.
    """
    plan = bench.plan
    bench.stage(head)
    monitor = "reproduce" if head == "reproduce" else "sync"
    level_trimmer, high_trimmer = f"{head}_level", f"{head}_high"
    level_at, high_at = plan.level_section, plan.high_section
    level_found: F64 | None = None
    if head == "reproduce":
        found = yield from bench.step("calibration pass", calibration_pass(bench, monitor))
        check_fluxivity(bench, found)
        level_found = found[level_at.number]
        if "reproduce_azimuth" in plan.trimmers and plan.tracks > 1:
            yield from bench.play_section(plan.azimuth_section, monitor)
            bench.azimuth_left_arcmin = yield from azimuth(bench, "reproduce_azimuth", 0.0)
    if level_found is None:
        yield from bench.play_section(level_at, monitor)
        level_found = (yield from bench.levels(2.5))[0]
    bench.write("as found", trimmer=level_trimmer, reading_db=level_found)
    level_target, high_target = (plan.calibration_target_db(s) for s in (level_at, high_at))
    if high_trimmer in plan.trimmers:
        yield from bench.play_section(high_at, monitor)
        high_found = (yield from bench.levels(3.0))[0]
        coupling = plan.high_coupling(high_at.frequency_hz)
        move = (high_target - high_found - (level_target - level_found)) / (1.0 - coupling)
        job = Job(high_trimmer, plan.tolerances.high_end, 1.5, lambda point: point.level_db[0])
        yield from adjust(bench, job, high_found + move)
    if level_trimmer in plan.trimmers:
        yield from bench.play_section(level_at, monitor)
        job = Job(level_trimmer, plan.tolerances.level, 0.6, lambda point: point.level_db[0])
        level_left = (yield from adjust(bench, job, level_target)) - level_target
    else:
        level_left = (yield from _left(bench, level_at, monitor)) - level_target
    high_left = (yield from _left(bench, high_at, monitor)) - high_target
    bench.write("as left", trimmer=high_trimmer, deviation_db=high_left)
    bench.write("as left", trimmer=level_trimmer, deviation_db=level_left)
    bench.left_db[head] = level_left, high_left


def sync(bench: Bench) -> Procedure:
    """The same for the record head as a reproducer, where it has trimmers of its own."""
    if {"sync_level", "sync_high"} & bench.plan.trimmers:
        yield from reproduce(bench, "sync")


def stop_tape(bench: Bench) -> Procedure:
    """Have the calibration tape stopped."""
    yield from bench.ask(
        "transport", "stop the calibration tape", state="stop", ready=[], monitor="reproduce"
    )


def _left(bench: Bench, section: Section, monitor: str) -> Procedure:
    if bench.source != ("play", section):
        yield from bench.play_section(section, monitor)
    return (yield from bench.levels(4.0))[0]
