"""Work out: the trade's arithmetic as the command has it, and all that follows side by side."""

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter, Query

from fluxbench.captures.catalogue import equalisation_of
from fluxbench.trade import EQUALISATION_STANDARDS, FORMATS, format_named
from fluxbench.trade.work_out import (
    DBU_FROM,
    Page,
    WorkedOut,
    azimuth_beside,
    azimuth_worked_out,
    equalisation_beside,
    equalisation_worked_out,
    flux_worked_out,
    level_worked_out,
    levels_beside,
    losses_beside,
    losses_worked_out,
    over_bias_beside,
    over_bias_worked_out,
    reel_worked_out,
    reels_beside,
    wavelength_worked_out,
)
from fluxbench.web._calls import REFUSALS

Size = Annotated[float, Query(ge=1e-6, le=1e9, allow_inf_nan=False)]
OrZero = Annotated[float, Query(ge=0.0, le=1e9, allow_inf_nan=False)]
Angle = Annotated[float, Query(ge=-5000.0, le=5000.0, allow_inf_nan=False)]
Drop = Annotated[float, Query(ge=0.0, le=20.0, allow_inf_nan=False)]
Level = Annotated[float, Query(ge=-400.0, le=1e9, allow_inf_nan=False)]
Constants = Annotated[str, Query(min_length=1, max_length=60)]
Unit = Literal["dbu", "dbv", "volts"]

router = APIRouter(prefix="/api/work-out", responses=REFUSALS)


def _told(answer: WorkedOut) -> dict[str, Any]:
    return {
        "facts": dict(answer.facts), "sentences": list(answer.sentences), "source": answer.source,
    }  # fmt: skip


def _page(page: Page) -> dict[str, Any]:
    """A page; what is infinite or not there is null."""
    curves = page.curves
    return {
        "sentences": list(page.sentences), "heads": list(page.heads),
        "rows": [[_cell(cell) for cell in row] for row in page.rows],
        "curves": None if curves is None else {
            "x": curves.x, "y": curves.y, "log": curves.log,
            "at": [_cell(float(v)) for v in curves.at],
            "lines": [
                {"name": name, "values": [_cell(float(v)) for v in values]}
                for name, values in curves.lines
            ],
        },
        "source": page.source, "sure": page.sure,
    }  # fmt: skip


def _cell(value: str | float | None) -> str | float | None:
    if isinstance(value, str) or value is None:
        return value
    return float(f"{value:.7g}") if np.isfinite(value) else None


@router.get("/usual")
def usual() -> dict[str, Any]:
    """What there is to choose from: equalisations by speed, formats with the width of a track."""
    return {
        "equalisations": [
            {"speed_ips": s.speed_ips, "names": list(s.names), "t1_us": s.equalisation.t1_us,
             "t2_us": s.equalisation.t2_us, "dates": s.dates}
            for s in EQUALISATION_STANDARDS
        ],
        "formats": [{"name": f.name, "track_width_mm": f.track_width_mm} for f in FORMATS],
    }  # fmt: skip


@router.get("/flux")
def flux(fluxivity_nwb_per_m: Size, re_nwb_per_m: Size) -> dict[str, Any]:
    """Compare two fluxivities."""
    return _told(flux_worked_out(fluxivity_nwb_per_m, re_nwb_per_m))


@router.get("/equalisation")
def equalisation(
    frequency_hz: Size, of: Constants, speed_ips: Size | None = None, re_hz: Size = 1000.0
) -> dict[str, Any]:
    """The flux of a flat recording; `of` is a name at a speed, or constants such as 3180/50."""
    return _told(equalisation_worked_out(equalisation_of(of, speed_ips), frequency_hz, re_hz))


@router.get("/wavelength")
def wavelength(speed_ips: Size, frequency_hz: Size) -> dict[str, Any]:
    """The wavelength on tape."""
    return _told(wavelength_worked_out(speed_ips, frequency_hz))


@router.get("/losses")
def losses(
    speed_ips: Size,
    frequency_hz: Size,
    spacing_um: OrZero | None = None,
    gap_um: OrZero | None = None,
    coating_um: OrZero | None = None,
    azimuth_arcmin: Angle | None = None,
    track_width_mm: Size | None = None,
) -> dict[str, Any]:
    """What a short wave loses; a loss that is not asked for is null."""
    return _told(
        losses_worked_out(
            speed_ips, frequency_hz, spacing_um=spacing_um, gap_um=gap_um, coating_um=coating_um,
            azimuth_arcmin=azimuth_arcmin, track_width_mm=track_width_mm,
        )
    )  # fmt: skip


@router.get("/over-bias")
def over_bias(
    drop_db: Drop,
    frequency_hz: Size,
    speed_ips: Size,
    gap_um: Size,
    to_speed_ips: Size | None = None,
    to_frequency_hz: Size | None = None,
    to_gap_um: Size | None = None,
) -> dict[str, Any]:
    """The over-bias of the same bias with another speed, tone or gap: an estimate."""
    return _told(
        over_bias_worked_out(
            drop_db, frequency_hz, speed_ips, gap_um,
            to_frequency_hz=to_frequency_hz, to_speed_ips=to_speed_ips, to_gap_um=to_gap_um,
        )
    )  # fmt: skip


@router.get("/azimuth")
def azimuth(
    arcmin: Angle, distance_mm: Size, speed_ips: Size, frequency_hz: Size
) -> dict[str, Any]:
    """Delay and phase between two tracks."""
    return _told(azimuth_worked_out(arcmin, distance_mm, speed_ips, frequency_hz))


@router.get("/reel")
def reel(length_ft: Size, speed_ips: Size) -> dict[str, Any]:
    """How long a reel plays."""
    return _told(reel_worked_out(length_ft, speed_ips))


@router.get("/level")
def level(value: Level, unit: Unit) -> dict[str, Any]:
    """A level in dBu, dBV and volts rms."""
    return _told(level_worked_out(float(DBU_FROM[unit](value))))


@router.get("/beside/levels")
def beside_levels(
    fluxivity_nwb_per_m: Size, value: Level = 4.0, unit: Unit = "dbu"
) -> dict[str, Any]:
    """A fluxivity against every one that has a name, and a level in every unit."""
    return _page(levels_beside(fluxivity_nwb_per_m, float(DBU_FROM[unit](value))))


@router.get("/beside/equalisation")
def beside_equalisation(one: Constants, other: Constants, speed_ips: Size) -> dict[str, Any]:
    """Two equalisations and their difference."""
    named = [equalisation_of(text, speed_ips) for text in (one, other)]
    return _page(equalisation_beside(named[0], named[1], speed_ips))


@router.get("/beside/losses")
def beside_losses(
    speed_ips: Size,
    frequency_hz: Size,
    spacing_um: OrZero,
    gap_um: OrZero,
    coating_um: OrZero,
    azimuth_arcmin: Angle,
    track_width_mm: Size,
) -> dict[str, Any]:
    """All losses at the usual tones and over frequency."""
    return _page(
        losses_beside(
            speed_ips, frequency_hz, spacing_um, gap_um, coating_um, azimuth_arcmin, track_width_mm
        )
    )


@router.get("/beside/over-bias")
def beside_over_bias(
    drop_db: Drop, frequency_hz: Size, speed_ips: Size, gap_um: Size
) -> dict[str, Any]:
    """The same bias by the usual tones, speeds and gaps."""
    return _page(over_bias_beside(drop_db, frequency_hz, speed_ips, gap_um))


@router.get("/beside/azimuth")
def beside_azimuth(arcmin: Angle, format: Constants, speed_ips: Size) -> dict[str, Any]:
    """An azimuth error as delay, phase and loss."""
    return _page(azimuth_beside(arcmin, format_named(format), speed_ips))


@router.get("/beside/reels")
def beside_reels(length_ft: Size) -> dict[str, Any]:
    """How long a length and the usual reels play."""
    return _page(reels_beside(length_ft))
