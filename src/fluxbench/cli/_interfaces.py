"""`fluxbench interfaces`: the sound interfaces that can be opened now."""

import json
from dataclasses import asdict
from typing import Annotated

import typer


def interfaces(
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, nothing else.")
    ] = False,
) -> None:
    """List the sound interfaces with their host API, channels and default rate."""
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
