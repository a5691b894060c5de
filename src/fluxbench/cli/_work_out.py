"""`fluxbench work-out`: the arithmetic of the trade, each answer with its source."""

import math
from typing import Annotated, Literal

import typer

from fluxbench.cli._answers import (
    check_angle,
    check_between,
    check_positive,
    print_losses,
    rounded,
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
    from fluxbench.trade import NAMED_FLUXIVITIES, fluxivity_ratio_db

    check_positive({"NWB_PER_M": fluxivity, "--re": re})
    ratio_db = fluxivity_ratio_db(fluxivity, re)
    called = [
        f"{known.fluxivity_nwb_per_m:g} is called {' or '.join(known.called)} ({known.source})."
        for known in NAMED_FLUXIVITIES
        if known.fluxivity_nwb_per_m in {fluxivity, re}
    ]
    tell(
        as_json,
        {"ratio_db": rounded(ratio_db)},
        [f"{fluxivity:g} nWb/m is {ratio_db:+.2f} dB re {re:g} nWb/m.", *called],
        "20 lg of the ratio; a label such as +6 means different fluxivities, so note the nWb/m",
    )


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
    level_db = float(chosen.flux_level_db(frequency_hz))
    re_reference_db = float(chosen.flux_re_db(frequency_hz, re_hz))
    sentence = (
        f"With {chosen} the flux at {frequency_hz:g} Hz is {re_reference_db:+.2f} dB"
        f" re {re_hz:g} Hz ({level_db:+.2f} dB by the formula alone)."
    )
    tell(
        as_json,
        {"flux_level_db": rounded(level_db), "re_reference_db": rounded(re_reference_db)},
        [sentence],
        "IEC 60094-1 clause 15; time constants by name from IASA-TC 04 clause 5.4.10",
    )


@app.command()
def wavelength(speed_ips: SpeedIps, frequency_hz: FrequencyHz, as_json: AsJson = False) -> None:
    """Work out the wavelength on tape."""
    wavelength_um = _wavelength_um(frequency_hz, speed_ips)
    tell(
        as_json,
        {"wavelength_um": rounded(wavelength_um, significant=4)},
        [f"{frequency_hz:g} Hz at {speed_ips:g} ips is {wavelength_um:.5g} um on tape."],
        "speed / frequency",
    )


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
    from fluxbench import trade
    from fluxbench.base import MisuseError

    um = _wavelength_um(frequency_hz, speed_ips)
    if (azimuth_arcmin is None) != (track_width_mm is None):
        raise MisuseError("an azimuth loss needs both --azimuth-arcmin and --track-width-mm")
    found: dict[str, float] = {}
    sources = []
    for name, option, length_um, loss_db, source in (
        ("spacing", "--spacing-um", spacing_um, trade.spacing_loss_db, "Wallace 1951"),
        ("gap", "--gap-um", gap_um, trade.gap_loss_db, "Eargle 1994, factor 1.11"),
        ("thickness", "--coating-um", coating_um, trade.thickness_loss_db, "Wallace 1951"),
    ):
        if length_um is not None:
            check_positive({option: length_um}, or_zero=True)
            found[name] = float(loss_db(length_um, um))
            sources.append(f"{source} ({name})")
    if azimuth_arcmin is not None and track_width_mm is not None:
        check_positive({"--track-width-mm": track_width_mm})
        check_angle(azimuth_arcmin)
        found["azimuth"] = float(trade.azimuth_loss_db(azimuth_arcmin, track_width_mm, um))
        sources.append("sinc(w tan a / wavelength) (azimuth)")
    if not found:
        raise MisuseError(
            "no loss is asked for; give --spacing-um, --gap-um, --coating-um,"
            " or --azimuth-arcmin with --track-width-mm"
        )
    facts = {
        f"{name}_db": rounded(found[name], decimals) if name in found else None
        for name, decimals in {"spacing": 3, "gap": 3, "thickness": 3, "azimuth": 4}.items()
    }
    if not as_json:
        print_losses(found, f"Losses at {um:.4g} um ({frequency_hz:g} Hz, {speed_ips:g} ips)")
    tell(as_json, facts, [], "; ".join(sources))


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
    from fluxbench.trade import translate_over_bias

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
    estimate = translate_over_bias(
        drop_db,
        frequency_hz,
        speed_ips,
        gap_um,
        to_frequency_hz=to_frequency_hz,
        to_speed_ips=to_speed_ips,
        to_record_gap_um=to_gap_um,
    )
    sentence = (
        f"{drop_db:g} dB at {estimate.from_wavelength_um:.4g} um is about"
        f" {estimate.drop_db:.1f} dB at {estimate.to_wavelength_um:.4g} um."
    )
    tell(
        as_json,
        {"drop_db": rounded(estimate.drop_db), "estimate": True},
        [
            sentence,
            "This is an estimate for small signals (-20 dB): a sheet's own figure goes first.",
        ],
        "closed forms fitted to figures of the practice, not published",
    )


@app.command()
def azimuth(
    arcmin: Annotated[float, typer.Option(help="Azimuth error in arc-min.")],
    distance_mm: Annotated[float, typer.Option(help="Between the two tracks' centres, in mm.")],
    speed_ips: SpeedIps,
    frequency_hz: FrequencyHz,
    as_json: AsJson = False,
) -> None:
    """Work out delay and phase between two tracks."""
    from fluxbench.trade import delay_us, phase_deg

    check_angle(arcmin)
    check_positive(
        {"--distance-mm": distance_mm, "--speed-ips": speed_ips, "--frequency-hz": frequency_hz}
    )
    delay = float(delay_us(arcmin, distance_mm, speed_ips))
    phase = float(phase_deg(arcmin, distance_mm, speed_ips, frequency_hz))
    sentence = (
        f"{arcmin:g} arc-min over {distance_mm:g} mm is {delay:.4g} us at {speed_ips:g} ips,"
        f" or {phase:.1f} degrees at {frequency_hz:g} Hz."
    )
    wraps = [] if abs(phase) < 180 else ["More than half a turn: a phase meter shows another one."]
    tell(
        as_json,
        {
            "delay_us": rounded(delay, 2, significant=4),
            "phase_deg": rounded(phase, 1, significant=4),
        },
        [sentence, *wraps],
        "distance x tan(angle) / speed",
    )


@app.command()
def reel(
    length_ft: Annotated[float, typer.Option(help="Length of tape in feet.")],
    speed_ips: SpeedIps,
    as_json: AsJson = False,
) -> None:
    """Work out how long a reel plays."""
    from fluxbench.trade import playing_time_s

    check_positive({"--length-ft": length_ft, "--speed-ips": speed_ips})
    time_s = float(playing_time_s(length_ft, speed_ips))
    minutes, seconds = divmod(round(time_s), 60)
    tell(
        as_json,
        {"time_s": rounded(time_s)},
        [f"{length_ft:g} ft play {minutes} min {seconds} s at {speed_ips:g} ips."],
        "length / speed",
    )


@app.command(context_settings=MAYBE_NEGATIVE)
def level(
    value: Annotated[float, typer.Argument(help="The level.")],
    unit: Annotated[
        Literal["dbu", "dbv", "volts"], typer.Option(help="What the level is given in.")
    ],
    as_json: AsJson = False,
) -> None:
    """Say a level in dBu, dBV and volts rms; no voltage at all is null in dB."""
    from fluxbench import trade

    if unit == "volts":
        check_positive({"VALUE": value}, or_zero=True)
        dbu = float(trade.dbu_from_volts(value))
    else:
        check_between("VALUE", value, -400.0, 400.0)
        dbu = value if unit == "dbu" else float(trade.dbu_from_dbv(value))
    dbv, volts = float(trade.dbv_from_dbu(dbu)), float(trade.volts_from_dbu(dbu))
    vu = dbu - trade.ZERO_VU_DBU
    sentence = f"{dbu:+.2f} dBu = {dbv:+.2f} dBV = {volts:.5g} V rms = {vu:+.2f} VU."
    tell(
        as_json,
        {"dbu": rounded(dbu), "dbv": rounded(dbv), "volts": rounded(volts, 4, significant=5)},
        [sentence],
        "0 dBu = sqrt(0.6) V, IEC 60027-3 and ITU-R V.574; 0 VU = +4 dBu, IEC 60268-17",
    )


def _wavelength_um(frequency_hz: float, speed_ips: float) -> float:
    from fluxbench.trade import wavelength_um

    check_positive({"--frequency-hz": frequency_hz, "--speed-ips": speed_ips})
    return float(wavelength_um(frequency_hz, speed_ips))
