"""What is worked out: single answers, and all that follows of one thing side by side."""

from fluxbench.trade.work_out._answers import (
    DBU_FROM,
    WorkedOut,
    azimuth_worked_out,
    equalisation_worked_out,
    flux_worked_out,
    level_worked_out,
    losses_worked_out,
    over_bias_worked_out,
    reel_worked_out,
    wavelength_worked_out,
)
from fluxbench.trade.work_out._beside import (
    Page,
    azimuth_beside,
    equalisation_beside,
    levels_beside,
    losses_beside,
    over_bias_beside,
    reels_beside,
)

__all__ = [
    "DBU_FROM",
    "Page",
    "WorkedOut",
    "azimuth_beside",
    "azimuth_worked_out",
    "equalisation_beside",
    "equalisation_worked_out",
    "flux_worked_out",
    "level_worked_out",
    "levels_beside",
    "losses_beside",
    "losses_worked_out",
    "over_bias_beside",
    "over_bias_worked_out",
    "reel_worked_out",
    "reels_beside",
    "wavelength_worked_out",
]
