"""The calibration tape: what it is, and both heads set by it."""

from collections.abc import Mapping

import numpy as np

from fluxbench.lineup._adjust import Job, adjust
from fluxbench.lineup._azimuth import (
    AS_FOUND_ARCMIN,
    FINE,
    GLANCE_S,
    NEARLY,
    PROOF_S,
    angle_shows,
    azimuth,
    read_azimuth,
    rough_hold_ratio,
)
from fluxbench.lineup._bench import F64, Bench, Procedure
from fluxbench.lineup._condition import (
    SILENT_DB,
    check_alone,
    check_contact,
    check_short_waves,
    check_speed,
    learn_polarity,
    leave_out_silent,
)
from fluxbench.lineup._one_track import one_track_azimuth, short_section
from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._point import mean_level_db
from fluxbench.lineup._sections import calibration_pass, wrong_tape
from fluxbench.lineup._tape_standard import another_standard
from fluxbench.lineup._telling import Stop
from fluxbench.lineup._vanished import wiped_parts
from fluxbench.trade import azimuth_loss_db, pitch, wavelength_um

SLANT_DB = 0.1
"""An angle that takes no more than this of the short waves may wait until they are right."""


def first_look(bench: Bench) -> Procedure:
    """Both heads at the reference tone of the calibration tape, before anything is turned.

    Leaves out tracks that do not play, says how fast the tape runs and which tracks are reversed,
    and asks both heads, and all banks so far, whether this is the tape of its sheet. Gives the
    levels (tracks,) by head.
    """
    found_db: dict[str, F64] = yield from bench.step("first look", _first_look(bench))
    target = bench.plan.calibration_target_db(bench.plan.level_section)
    for head, level in found_db.items():
        off = level - target
        told = bench.live & np.isfinite(off) & ((head == "reproduce") | (off > SILENT_DB))
        bench.off_db |= {(head, int(t)): float(off[t]) for t in np.flatnonzero(told)}
    try:
        check_fluxivity(bench, np.array(list(bench.off_db.values())))
    except Stop as doubted:
        if not bench.trusted:
            yield from bench.doubt(doubted)
        bench.trusted = True
    return found_db


def _first_look(bench: Bench) -> Procedure:
    section = bench.plan.level_section
    target = bench.plan.calibration_target_db(section)
    yield from bench.play_section(section, "reproduce")
    points = yield from bench.gather(2.0)
    level = mean_level_db(points)[0]
    leave_out_silent(bench, level, target, "the reproduce head")
    if not bench.off_db:
        check_speed(bench, points, section.frequency_hz)
    learn_polarity(bench, points)
    found_db = {"reproduce": level}
    if "sync_level" in bench.plan.trimmers:
        yield from bench.play_on("sync")
        found_db["sync"] = (yield from bench.levels(1.5))[0]
    return found_db


def leave_out_wiped(bench: Bench, found_db: Mapping[int, F64]) -> None:
    """Say which parts of the calibration tape are wiped; leave out tracks that need such a part.

    `found_db` is what the sections (by number) read (tracks,).
    """
    plan = bench.plan
    needed = {s.number for s in (plan.level_section, plan.high_section, plan.azimuth_section)}
    for section, track in wiped_parts(found_db, plan.sections, bench.live):
        where = f"{pitch(section.frequency_hz)} (section {section.number})"
        bench.note(f"{plan.tape_told} is wiped at {where} on track {track + 1}: do not trust it")
        if section.number in needed and bench.live[track]:
            bench.leave_out(track, f"cannot be set by this tape: {where} is wiped there")


def check_fluxivity(bench: Bench, off_db: F64) -> None:
    """All tracks of both heads off by the same amount speak for another tape, not for trimmers.

    `off_db` holds a deviation for each head of each track. A few values cannot tell a tape from
    trimmers that happen to agree: it is said all the same.
    """
    n, mean = len(off_db), float(off_db.mean())
    scatter = float(off_db.std(ddof=1)) if n > 1 else 1.0
    times = abs(mean) / (max(scatter, 0.05) / np.sqrt(n))
    few = n < 4 and abs(mean) > 1.5 and bool((off_db * mean > 0.0).all())
    if not few and (n < 4 or abs(mean) < 0.7 or times < 3.0):
        return
    flux = bench.plan.calibration_nwb_per_m * 10.0 ** (mean / 20.0)
    what = f"all tracks read {mean:+.1f} dB together, as from a tape of {flux:.0f} nWb/m"
    if abs(mean) > 1.2 and times > (4.5 if n >= 8 else 10.0) and not few:
        raise wrong_tape(bench, what)
    bench.note(f"{what}: look at the label of {bench.plan.tape_told} before you believe a level")


def reproduce(bench: Bench, head: str, pass_first: bool = True) -> Procedure:
    """Azimuth (reproduce head only), high end against level, then level; keeps what was left.

    The high end comes first, against 1 kHz, since its trimmer moves 1 kHz a little and the level
    trimmer moves both alike: so that each trimmer is visited once. It moves the phase of short
    waves, too, track by track: the angle is set finely once all high ends are right, and nearly
    before only if it may take short waves away. Without `pass_first` the tape is taken for what
    its sheet says.
    """
    bench.stage(head)
    again = head == "reproduce" and {"reproduce_azimuth", "reproduce_high"} <= bench.plan.trimmers
    if head == "reproduce":
        if pass_first:
            yield from know_the_tape(bench)
        bench.found_db = yield from first_look(bench)
        again = again and bench.live.sum() > 1
        if not again:
            yield from reproduce_azimuth(bench)
        elif _slant_loss_db(bench.plan) > SLANT_DB:
            yield from reproduce_azimuth(bench, NEARLY, GLANCE_S)
    yield from high_and_level(bench, head)
    if again:
        yield from reproduce_azimuth(bench)


def _slant_loss_db(plan: Plan) -> float:
    """What the angle may take away of the section that the high end is set by."""
    wave_um = wavelength_um(plan.high_section.frequency_hz, plan.speed_ips)
    return float(azimuth_loss_db(AS_FOUND_ARCMIN, plan.width_mm, wave_um))


def reproduce_across(bench: Bench) -> Procedure:
    """What is done once on a deck of several banks: the tape is known by it, azimuth is set."""
    bench.stage("reproduce")
    yield from know_the_tape(bench)
    yield from first_look(bench)
    yield from reproduce_azimuth(bench)


def reproduce_bank(bench: Bench) -> Procedure:
    """High end and level of the reproduce head, bank by bank."""
    bench.stage("reproduce")
    bench.found_db = yield from first_look(bench)
    yield from high_and_level(bench, "reproduce")


def know_the_tape(bench: Bench) -> Procedure:
    """Play the whole calibration tape once; `Stop` if it is another, or lacks its reference."""
    level_at = bench.plan.level_section
    found = yield from bench.step("calibration pass", calibration_pass(bench, "reproduce"))
    if level_at.number not in found:
        raise wrong_tape(bench, f"its {pitch(level_at.frequency_hz)} reference was not found")
    leave_out_wiped(bench, found)
    other = another_standard(bench.plan, found, bench.live)
    if other is not None and not bench.trusted:
        yield from bench.doubt(wrong_tape(bench, str(other)))
        bench.trusted = True


def reproduce_azimuth(
    bench: Bench, held_ratio: float = FINE, proof_s: float = PROOF_S
) -> Procedure:
    """The angle of the reproduce head: set, or only read where only the record head's is set."""
    trimmers = bench.plan.trimmers
    if not {"reproduce_azimuth", "record_azimuth"} & trimmers:
        return
    if bench.live.sum() == 1 and "reproduce_azimuth" in trimmers:
        section = short_section(bench.plan)
        yield from bench.play_section(section, "reproduce")
        expected_db = float(bench.plan.calibration_target_db(section)[bench.live][0])
        yield from one_track_azimuth(bench, "reproduce_azimuth", expected_db)
    elif angle_shows(bench, "reproduce_azimuth"):
        section = bench.plan.azimuth_section
        rough = rough_hold_ratio(bench, section.frequency_hz)
        if rough is not None and "reproduce_azimuth" in trimmers:
            yield from bench.play_section(bench.plan.level_section, "reproduce")
            yield from azimuth(bench, "reproduce_azimuth", 0.0, rough, GLANCE_S)
        yield from bench.play_section(section, "reproduce")
        if "reproduce_azimuth" in trimmers:
            left = yield from azimuth(bench, "reproduce_azimuth", 0.0, held_ratio, proof_s)
        else:
            left = yield from read_azimuth(bench, "reproduce_azimuth")
        bench.azimuth_left_arcmin = left


def high_and_level(bench: Bench, head: str) -> Procedure:
    """High end against level, then level, of one head from the tape that is played."""
    plan, trimmers = bench.plan, bench.plan.trimmers
    level_trimmer, high_trimmer = f"{head}_level", f"{head}_high"
    level_at, high_at = plan.level_section, plan.high_section
    level_target, high_target = (plan.calibration_target_db(s) for s in (level_at, high_at))
    level_found = bench.found_db.pop(head, None)
    if level_found is None:
        yield from bench.play_section(level_at, head)
        level_found = (yield from bench.levels(2.5))[0]
    bench.write("as found", trimmer=level_trimmer, reading_db=level_found, target_db=level_target)
    leave_out_silent(bench, level_found, level_target, f"the {head} head")
    if high_trimmer in trimmers:
        high_found = yield from short_waves(bench, head, level_found - level_target)
        coupling = plan.high_coupling(high_at.frequency_hz)
        move = (high_target - high_found - (level_target - level_found)) / (1.0 - coupling)
        job = Job(high_trimmer, plan.tolerances.high_end, 1.5, lambda point: point.level_db[0])
        yield from adjust(bench, job, high_found + move)
    if level_trimmer in trimmers:
        yield from bench.play_section(level_at, head)
        job = Job(level_trimmer, plan.tolerances.level, 0.6, lambda point: point.level_db[0])
        level_left = (yield from adjust(bench, job, level_target)) - level_target
    else:
        level_left = (yield from _left(bench, level_at, head)) - level_target
    high_left = (yield from _left(bench, high_at, head)) - high_target
    for trimmer, left, target in (
        (high_trimmer, high_left, high_target),
        (level_trimmer, level_left, level_target),
    ):
        bench.write("as left", trimmer=trimmer, deviation_db=left, target_db=target)
    bench.keep_left(head, level_left, high_left)


def sync(bench: Bench) -> Procedure:
    """The same for the record head as a reproducer, where it has trimmers of its own.

    A track that gives nothing here may still record and reproduce.
    """
    if not {"sync_level", "sync_high"} & bench.plan.trimmers:
        return
    in_use = bench.in_use.copy()
    try:
        yield from reproduce(bench, "sync")
    finally:
        bench.in_use = in_use
        bench.plug(bench.cables)


def stop_tape(bench: Bench) -> Procedure:
    """Have the tape stopped that runs."""
    told = "the stock" if bench.source[0] == "record" else bench.plan.tape_told
    yield from bench.ask("transport", f"stop {told}", state="stop", ready=[], monitor="reproduce")


def short_waves(bench: Bench, head: str, level_off_db: F64) -> Procedure:
    """Read the high section, and say what it tells of the deck; level (tracks,) in dB re 0 VU."""
    return (yield from bench.step("short waves", _short_waves(bench, head, level_off_db)))


def _short_waves(bench: Bench, head: str, level_off_db: F64) -> Procedure:
    section = bench.plan.high_section
    yield from bench.play_section(section, head)
    points = yield from bench.gather(5.0)
    level = np.asarray(mean_level_db(points)[0])
    off = level - bench.plan.calibration_target_db(section) - level_off_db
    check_contact(bench, points, section.frequency_hz, head)
    check_short_waves(bench, off, head)
    check_alone(bench, off, f"in short against long waves on the {head} head")
    return level


def _left(bench: Bench, section: Section, monitor: str) -> Procedure:
    if bench.source != ("play", section):
        yield from bench.play_section(section, monitor)
    return (yield from bench.levels(4.0))[0]
