"""The procedure of a line-up: pure folds over readings; no clock, no I/O, no randomness."""

from fluxbench.lineup._bank_tables import response_with_bank, with_bank, with_first
from fluxbench.lineup._channels import Channels, cables_from_told
from fluxbench.lineup._check import CHECK_HZ, FiveMinuteCheck
from fluxbench.lineup._follow import Follower
from fluxbench.lineup._label import ReelLabel, label_from_told
from fluxbench.lineup._lineup import LineUp
from fluxbench.lineup._part import FIRST_TURNS_STAGES, FirstTurns, PartOfLineUp
from fluxbench.lineup._peak import Peak, Picture, find_peak
from fluxbench.lineup._plan import Plan, Section
from fluxbench.lineup._plan_told import PER_STACK, PER_TRACK, plan_from_state
from fluxbench.lineup._print_tones import PrintTones
from fluxbench.lineup._reel import REEL_STAGES, ReelFromElsewhere, plan_for_reel
from fluxbench.lineup._stage_list import stages_after, stages_of
from fluxbench.lineup._steps import Kept
from fluxbench.lineup._verification import READINGS, Verification
from fluxbench.lineup._view import Advice, Ask, AzimuthLine, Board, Verdict, View
from fluxbench.lineup._visits import COURSE
from fluxbench.lineup._whose_fault import WhoseFault
from fluxbench.lineup._working_copy import COPY_STAGES, WorkingCopy, copied_sections

__all__ = [
    "CHECK_HZ",
    "COPY_STAGES",
    "COURSE",
    "FIRST_TURNS_STAGES",
    "PER_STACK",
    "PER_TRACK",
    "READINGS",
    "REEL_STAGES",
    "Advice",
    "Ask",
    "AzimuthLine",
    "Board",
    "Channels",
    "FirstTurns",
    "FiveMinuteCheck",
    "Follower",
    "Kept",
    "LineUp",
    "PartOfLineUp",
    "Peak",
    "Picture",
    "Plan",
    "PrintTones",
    "ReelFromElsewhere",
    "ReelLabel",
    "Section",
    "Verdict",
    "Verification",
    "View",
    "WhoseFault",
    "WorkingCopy",
    "cables_from_told",
    "copied_sections",
    "find_peak",
    "label_from_told",
    "plan_for_reel",
    "plan_from_state",
    "response_with_bank",
    "stages_after",
    "stages_of",
    "with_bank",
    "with_first",
]
