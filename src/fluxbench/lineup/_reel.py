"""A reel from elsewhere: its own tones take the place of the calibration tape."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fluxbench.base import MisuseError
from fluxbench.lineup._bench import Procedure
from fluxbench.lineup._condition import learn_polarity, leave_out_silent, off_frequency_hz
from fluxbench.lineup._label import Judged, ReelLabel, judge_label
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._plan import Plan
from fluxbench.lineup._sections import calibration_pass, wrong_tape
from fluxbench.lineup._stages_before import safe_check
from fluxbench.lineup._stages_reproduce import (
    high_and_level,
    reproduce_azimuth,
    stop_tape,
)
from fluxbench.lineup._steps import Kept
from fluxbench.lineup._telling import Stop
from fluxbench.trade import fluxivity_ratio_db, pitch

SET_BY_A_REEL = frozenset({"reproduce_level", "reproduce_high", "reproduce_azimuth"})
REEL_STAGES = ("prepare", "tones of the reel", "reproduce")
UNPROVED = (
    "what these tones do not prove: speed, since studio oscillators are off by a per cent or two;"
    " and fluxivity, unless this deck stands as its own calibration tape left it"
)


def plan_for_reel(plan: Plan, label: ReelLabel) -> Plan:
    """The plan of a deck that is lined up to a reel; MisuseError for tones that do not suffice."""
    middle = [s for s in label.tones if 250.0 <= s.frequency_hz <= 1100.0]
    if not middle:
        raise MisuseError("the reel's label names no tone from 250 to 1100 Hz to set levels by")
    reference = min(middle, key=lambda s: abs(np.log(s.frequency_hz / 1000.0)))
    theirs = replace(
        plan,
        tape="reel",
        calibration_nwb_per_m=label.fluxivity_nwb_per_m,
        reference_hz=reference.frequency_hz,
        full_width=False,
        sections=label.tones,
        trimmers=plan.trimmers & SET_BY_A_REEL,
        remarks=(),
    )
    if not any(7900.0 <= s.frequency_hz <= 12600.0 for s in label.tones):
        raise MisuseError("the reel's label names no tone from 8 to 12.5 kHz to set high ends by")
    return theirs


class ReelFromElsewhere(LineUp):
    """Reads a reel's tones, says whether its label can be true, and lines the deck up to it.

    `plan` comes from `plan_for_reel`. Nothing is sent and nothing is recorded. As found is written
    down for every trimmer: turned back until the reel's tones read that again, the deck stands as
    before.
    """

    IN_STAGES = False

    def __init__(
        self,
        plan: Plan,
        label: ReelLabel,
        past: Sequence[Kept] | None = None,
        time_s: float = 0.0,
    ) -> None:
        self._label = label
        super().__init__(plan, past, time_s)

    def _run(self) -> Procedure:
        if not self._recalling:
            yield
        yield from safe_check(self)
        self.stage("tones of the reel")
        yield from self.step("label", self._read_label())
        self.stage("reproduce")
        yield from reproduce_azimuth(self)
        yield from high_and_level(self, "reproduce")
        self.note(
            "to go back: turn each trimmer until these tones read as found again, or line the deck"
            " up to its own calibration tape"
        )
        yield from stop_tape(self)

    def _read_label(self) -> Procedure:
        section = self.plan.level_section
        read_db = yield from calibration_pass(self, "reproduce")
        if section.number not in read_db:
            raise wrong_tape(self, f"its {pitch(section.frequency_hz)} tone was not found")
        target_db = self.plan.calibration_target_db(section)
        leave_out_silent(self, read_db[section.number], target_db, "the reel")
        if not self.live.any():
            raise Stop("no track of the reel gives its tone: see to monitor and cables")
        yield from self.play_section(section, "reproduce")
        points = yield from self.gather(2.0)
        learn_polarity(self, points)
        hz = section.frequency_hz + off_frequency_hz(self, points)
        judged = judge_label(self._label, self.plan, read_db, self.live)
        self._tell(judged, hz)
        if judged.contradicts:
            yield from self.doubt(
                Stop("its label cannot be true, so the deck is not lined up to it")
            )

    def _tell(self, judged: Judged, hz: float) -> None:
        nominal_hz = self.plan.level_section.frequency_hz
        percent = 100.0 * (hz / nominal_hz - 1.0)
        self.write(
            "label",
            words=list(judged.words),
            contradicts=judged.contradicts,
            fluxivity_nwb_per_m=round(judged.fluxivity_nwb_per_m, 1),
            offset_percent=round(percent, 3),
            standards=[
                {
                    "names": list(fit.names),
                    "t1_us": fit.equalisation.t1_us,
                    "t2_us": fit.equalisation.t2_us,
                    "on_label": fit.on_label,
                    "fits": fit.fits,
                    "off_db": {f"{at:g}": round(db, 2) for at, db in fit.off_db.items()},
                }
                for fit in judged.fits
            ],
        )
        for line in judged.words:
            self.note(line)
        stated = self.plan.calibration_nwb_per_m
        label_db = fluxivity_ratio_db(judged.fluxivity_nwb_per_m, stated)
        self.note(
            f"{pitch(nominal_hz)} reads {hz:.1f} Hz and {judged.fluxivity_nwb_per_m:.0f} nWb/m"
            f" where the label says {stated:g} ({label_db:+.1f} dB), if"
            " the deck stands as its own calibration tape left it"
        )
        self.note(UNPROVED)
