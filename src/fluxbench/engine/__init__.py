"""Link, signal and measurement in one object that steps."""

from fluxbench.engine._calibrated import (
    CalibratedChannel,
    calibrated_inputs,
    calibrated_outputs,
    level_dbu,
)
from fluxbench.engine._ear import Ear, Left, Listening
from fluxbench.engine._engine import Engine, Stretch
from fluxbench.engine._loop_back import Cable, LoopBack
from fluxbench.engine._loop_check import LoopCheck
from fluxbench.engine._trims import ChannelTrims, EvenLink

__all__ = [
    "Cable",
    "CalibratedChannel",
    "ChannelTrims",
    "Ear",
    "Engine",
    "EvenLink",
    "Left",
    "Listening",
    "LoopBack",
    "LoopCheck",
    "Stretch",
    "calibrated_inputs",
    "calibrated_outputs",
    "level_dbu",
]
