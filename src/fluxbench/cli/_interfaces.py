"""`fluxbench interfaces`: the sound interfaces that can be opened now, and a check of one."""

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from fluxbench.cli._interface_named import HostApi, Name
from fluxbench.cli._interfaces_calibrated import (
    Agreed,
    AsJson,
    Inputs,
    Level,
    Outputs,
    Rate,
    calibrate,
)

if TYPE_CHECKING:
    from fluxbench.engine import LoopBack

CAUTION = (
    "A loud tone follows on all outputs, one after the other: cable outputs to inputs, monitors "
    "and headphones down, no deck that records."
)

app = typer.Typer(add_completion=False, rich_markup_mode=None)
app.command("calibrate")(calibrate)


@app.callback(invoke_without_command=True)
def interfaces(
    context: typer.Context,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, nothing else.")
    ] = False,
) -> None:
    """List the sound interfaces with their host API, channels and default rate."""
    if context.invoked_subcommand is not None:
        return
    from fluxbench.links import interfaces as listed

    found = listed()
    if as_json:
        for interface in found:
            print(json.dumps(asdict(interface)))
        return
    if not found:
        print("No sound interface; start the sound server or plug one in.")
        return
    width = max(len(interface.name) for interface in found)
    for interface in found:
        print(
            f"{interface.name:{width}}  {interface.inputs:3} in  {interface.outputs:3} out  "
            f"{interface.rate_hz:6} Hz  {interface.host_api}"
        )


@app.command("check")
def check(
    interface: Name,
    host_api: HostApi = None,
    send_to: Annotated[
        str | None, typer.Option(help="Interface of the outputs, if another one.")
    ] = None,
    rate: Rate = None,
    inputs: Inputs = None,
    outputs: Outputs = None,
    level: Level = -12.0,
    seconds: Annotated[
        float, typer.Option(min=1.0, max=3600.0, help="How long each of the two tones stands.")
    ] = 4.0,
    agreed: Agreed = False,
    as_json: AsJson = False,
) -> None:
    """Check an interface whose outputs are cabled to its inputs.

    Round trip, gain, noise, harmonics, crosstalk, polarity, order, lost frames, drift. Nothing is
    opened or sent before the caution is agreed to. Exit code 1 if something is wrong.
    """
    from fluxbench.base import MisuseError
    from fluxbench.engine import LoopCheck
    from fluxbench.links import PortAudioLink

    if not agreed:
        typer.echo(CAUTION, err=True)
        try:
            agreed = typer.confirm("Send?", err=True)
        except typer.Abort:
            raise MisuseError("nobody agreed to the caution; give --agreed") from None
        if not agreed:
            raise MisuseError("nothing was sent, as you wished")
    link = PortAudioLink(interface, rate, inputs, outputs, host_api, send_to=send_to)
    try:
        found = LoopCheck(link, level, seconds).to_its_end()
    finally:
        link.close()
    name = (link.interface.name, link.interface.host_api)
    if as_json:
        told = {"name": name[0], "host_api": name[1], **found.told()}
        print(json.dumps(told, allow_nan=False))
    else:
        show(found, *name)
    if found.faults:
        raise typer.Exit(1)


def show(found: "LoopBack", name: str, host_api: str) -> None:
    """Print the check for people: facts, a table, one line for every fault."""
    from rich.console import Console
    from rich.table import Table

    print(f"{name} ({host_api}), {found.rate_hz} Hz, {found.inputs} in, {found.outputs} out")
    if found.round_trip_frames is not None:
        way_ms = 1000.0 * found.round_trip_frames / found.rate_hz
        print(f"Round trip {found.round_trip_frames} frames ({way_ms:.1f} ms).")
    if found.drift_ppm is not None:
        print(f"Inputs against outputs: {found.drift_ppm:+.2f} millionths.")
    table = Table()
    for title in ("input", "hears", "gain dB", "harmonics %", "noise dBFS", "crosstalk dB"):
        table.add_column(title, justify="right")
    for cable in found.cables:
        n = cable.input - 1
        apart = _number(found.crosstalk_db[n], 0)
        if not apart and found.crosstalk_below_db[n] is not None:
            apart = f"< {_number(found.crosstalk_below_db[n], 0)}"
        table.add_row(
            str(cable.input),
            f"output {cable.output}{', reversed' * cable.reversed}",
            _number(cable.gain_db, 2, "+"),
            _number(cable.harmonics_percent, 4),
            _number(found.noise_dbfs[n], 0),
            apart,
        )
    Console().print(table)
    for fault in found.faults or ["Nothing is wrong."]:
        print(fault)


def _number(value: float | None, decimals: int, sign: str = "") -> str:
    return "" if value is None else f"{value:{sign}.{decimals}f}"
