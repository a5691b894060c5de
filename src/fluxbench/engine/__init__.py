"""Link, signal and measurement in one object that steps."""

from fluxbench.engine._calibrated import (
    CalibratedChannel,
    calibrated_inputs,
    calibrated_outputs,
)
from fluxbench.engine._engine import Engine, Stretch
from fluxbench.engine._loop_back import Cable, LoopBack
from fluxbench.engine._loop_check import LoopCheck

__all__ = [
    "Cable",
    "CalibratedChannel",
    "Engine",
    "LoopBack",
    "LoopCheck",
    "Stretch",
    "calibrated_inputs",
    "calibrated_outputs",
]
