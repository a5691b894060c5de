"""`fluxbench work-out`: the arithmetic of the trade, each answer with its source."""

import math
from typing import Annotated, Literal

import typer

from fluxbench.cli._answers import (
    check_angle,
    check_between,
    check_positive,
    print_losses,
    tell,
)

app = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None)


@app.callback()
def work_out() -> None:
    """Do the arithmetic of fluxes, losses and levels."""


AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on one line, nothing else.")]
SpeedIps = Annotated[float, typer.Option(help="Tape speed in inches per second.")]
FrequencyHz = Annotated[float, typer.Option(help="Frequency in Hz.")]

MAYBE_NEGATIVE = {"ignore_unknown_options": True}
"""Lets an argument such as -10 be a number instead of an unknown option."""


@app.command()
def flux(
    fluxivity: Annotated[float, typer.Argument(metavar="NWB_PER_M", help="Fluxivity in nWb/m.")],
    re: Annotated[float, typer.Option(help="The fluxivity to compare with, in nWb/m.")],
    as_json: AsJson = False,
) -> None:
    """Compare two fluxivities."""
    from fluxbench.trade.work_out import flux_worked_out

    check_positive({"NWB_PER_M": fluxivity, "--re": re})
    tell(as_json, flux_worked_out(fluxivity, re))


@app.command()
def equalisation(
    frequency_hz: FrequencyHz,
    t1_us: Annotated[
        float | None, typer.Option(help="Long-wave time constant in us, inf for none.")
    ] = None,
    t2_us: Annotated[float | None, typer.Option(help="Short-wave time constant in us.")] = None,
    standard: Annotated[
        str | None, typer.Option(help="Name of a standard, such as NAB, instead of t1 and t2.")
    ] = None,
    speed_ips: Annotated[
        float | None, typer.Option(help="Tape speed in inches per second, with --standard.")
    ] = None,
    re_hz: Annotated[float, typer.Option(help="Reference frequency in Hz.")] = 1000.0,
    as_json: AsJson = False,
) -> None:
    """Work out the flux of a flat recording, and how much of it is missing re a reference."""
    from fluxbench.base import MisuseError
    from fluxbench.trade import Equalisation, equalisation_named
    from fluxbench.trade.work_out import equalisation_worked_out

    check_positive({"--frequency-hz": frequency_hz, "--re-hz": re_hz})
    by_name, by_constants = (standard, speed_ips), (t1_us, t2_us)
    if by_constants == (None, None) and standard is not None and speed_ips is not None:
        chosen = equalisation_named(standard, speed_ips)
    elif by_name == (None, None) and t1_us is not None and t2_us is not None:
        chosen = Equalisation(None if t1_us == math.inf else t1_us, t2_us)
    else:
        raise MisuseError(
            "an equalisation is either --t1-us (inf for none) with --t2-us,"
            " or --standard with --speed-ips; give one of the two"
        )
    tell(as_json, equalisation_worked_out(chosen, frequency_hz, re_hz))


@app.command()
def wavelength(speed_ips: SpeedIps, frequency_hz: FrequencyHz, as_json: AsJson = False) -> None:
    """Work out the wavelength on tape."""
    from fluxbench.trade.work_out import wavelength_worked_out

    check_positive({"--frequency-hz": frequency_hz, "--speed-ips": speed_ips})
    tell(as_json, wavelength_worked_out(speed_ips, frequency_hz))


@app.command()
def losses(
    speed_ips: SpeedIps,
    frequency_hz: FrequencyHz,
    spacing_um: Annotated[float | None, typer.Option(help="Head to tape, in um.")] = None,
    gap_um: Annotated[float | None, typer.Option(help="Reproduce gap in um.")] = None,
    coating_um: Annotated[float | None, typer.Option(help="Coating thickness in um.")] = None,
    azimuth_arcmin: Annotated[float | None, typer.Option(help="Azimuth error in arc-min.")] = None,
    track_width_mm: Annotated[
        float | None, typer.Option(help="Track width in mm, with --azimuth-arcmin.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Work out what a short wave loses in reproduction; a loss not asked for is null."""
    from fluxbench.base import MisuseError
    from fluxbench.trade.work_out import losses_worked_out

    check_positive({"--frequency-hz": frequency_hz, "--speed-ips": speed_ips})
    if (azimuth_arcmin is None) != (track_width_mm is None):
        raise MisuseError("an azimuth loss needs both --azimuth-arcmin and --track-width-mm")
    lengths = {"--spacing-um": spacing_um, "--gap-um": gap_um, "--coating-um": coating_um}
    check_positive({k: um for k, um in lengths.items() if um is not None}, or_zero=True)
    if azimuth_arcmin is not None and track_width_mm is not None:
        check_positive({"--track-width-mm": track_width_mm})
        check_angle(azimuth_arcmin)
    elif all(um is None for um in lengths.values()):
        raise MisuseError(
            "no loss is asked for; give --spacing-um, --gap-um, --coating-um,"
            " or --azimuth-arcmin with --track-width-mm"
        )
    answer = losses_worked_out(
        speed_ips,
        frequency_hz,
        spacing_um=spacing_um,
        gap_um=gap_um,
        coating_um=coating_um,
        azimuth_arcmin=azimuth_arcmin,
        track_width_mm=track_width_mm,
    )
    if as_json:
        tell(as_json, answer)
    else:
        print_losses(answer)


@app.command("over-bias")
def over_bias(
    drop_db: Annotated[float, typer.Option(help="Over-bias on the sheet, in dB below the peak.")],
    frequency_hz: FrequencyHz,
    speed_ips: SpeedIps,
    gap_um: Annotated[float, typer.Option(help="Record gap in um.")],
    to_speed_ips: Annotated[float | None, typer.Option(help="The other speed.")] = None,
    to_frequency_hz: Annotated[float | None, typer.Option(help="The other tone.")] = None,
    to_gap_um: Annotated[float | None, typer.Option(help="The other record gap.")] = None,
    as_json: AsJson = False,
) -> None:
    """Estimate the over-bias of the same bias with another speed, tone or record gap."""
    from fluxbench.base import MisuseError
    from fluxbench.trade.work_out import over_bias_worked_out

    given = {"--frequency-hz": frequency_hz, "--speed-ips": speed_ips, "--gap-um": gap_um}
    others = {
        "--to-speed-ips": to_speed_ips,
        "--to-frequency-hz": to_frequency_hz,
        "--to-gap-um": to_gap_um,
    }
    changed = {option: value for option, value in others.items() if value is not None}
    if not changed:
        raise MisuseError(f"nothing is to change; give at least one of {', '.join(others)}")
    check_positive(given | changed)
    answer = over_bias_worked_out(
        drop_db,
        frequency_hz,
        speed_ips,
        gap_um,
        to_frequency_hz=to_frequency_hz,
        to_speed_ips=to_speed_ips,
        to_gap_um=to_gap_um,
    )
    tell(as_json, answer)


@app.command()
def azimuth(
    arcmin: Annotated[float, typer.Option(help="Azimuth error in arc-min.")],
    distance_mm: Annotated[float, typer.Option(help="Between the two tracks' centres, in mm.")],
    speed_ips: SpeedIps,
    frequency_hz: FrequencyHz,
    as_json: AsJson = False,
) -> None:
    """Work out delay and phase between two tracks."""
    from fluxbench.trade.work_out import azimuth_worked_out

    check_angle(arcmin)
    check_positive(
        {"--distance-mm": distance_mm, "--speed-ips": speed_ips, "--frequency-hz": frequency_hz}
    )
    tell(as_json, azimuth_worked_out(arcmin, distance_mm, speed_ips, frequency_hz))


@app.command()
def reel(
    length_ft: Annotated[float, typer.Option(help="Length of tape in feet.")],
    speed_ips: SpeedIps,
    as_json: AsJson = False,
) -> None:
    """Work out how long a reel plays."""
    from fluxbench.trade.work_out import reel_worked_out

    check_positive({"--length-ft": length_ft, "--speed-ips": speed_ips})
    tell(as_json, reel_worked_out(length_ft, speed_ips))


@app.command(context_settings=MAYBE_NEGATIVE)
def level(
    value: Annotated[float, typer.Argument(help="The level.")],
    unit: Annotated[
        Literal["dbu", "dbv", "volts"], typer.Option(help="What the level is given in.")
    ],
    as_json: AsJson = False,
) -> None:
    """Say a level in dBu, dBV and volts rms; no voltage at all is null in dB."""
    from fluxbench.trade.work_out import DBU_FROM, level_worked_out

    if unit == "volts":
        check_positive({"VALUE": value}, or_zero=True)
    else:
        check_between("VALUE", value, -400.0, 400.0)
    tell(as_json, level_worked_out(float(DBU_FROM[unit](value))))
