"""A running line-up: commands in; journal, events and meters out; the engine in its process."""

from fluxbench.session._calibrations import keep_calibration, named_interface
from fluxbench.session._commands import Command, NotNowError
from fluxbench.session._from_book import begun_with
from fluxbench.session._ledger import event
from fluxbench.session._meters import Shown, bias_picture
from fluxbench.session._one_trial import Wish
from fluxbench.session._pages import now_utc, readings_of
from fluxbench.session._session import Session
from fluxbench.session._trial_process import LoopTrial, MeterTrial
from fluxbench.session._trials import Trials

__all__ = [
    "Command",
    "LoopTrial",
    "MeterTrial",
    "NotNowError",
    "Session",
    "Shown",
    "Trials",
    "Wish",
    "begun_with",
    "bias_picture",
    "event",
    "keep_calibration",
    "named_interface",
    "now_utc",
    "readings_of",
]
