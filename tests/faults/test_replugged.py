"""Interfaces are unplugged and plugged in again: indices move, twins come, channels change.

200 made listings of PortAudio; with FLUXBENCH_PLUGS=5000 as many as that. Whatever is opened is
what was asked for; two that cannot be told apart are refused. The planted bug is a bench that
takes the first one of the name.
"""

import os
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import ModuleType, SimpleNamespace
from typing import Any, cast

import pytest

from fluxbench.base import MisuseError, NoServerError
from fluxbench.links._interfaces import Device, chosen, devices

PLUGS = int(os.environ.get("FLUXBENCH_PLUGS", "200"))
APIS = ("JACK Audio Connection Kit", "Core", "Windows WASAPI", "Windows DirectSound")
NAMES = ("desk", "deck", "box", "box 2")

Choose = Callable[[Sequence[Device], str, str | None], Device]


@dataclass(frozen=True, slots=True)
class Box:
    """A real thing on the desk, and how the system lists it."""

    serial: int
    name: str
    api: int
    inputs: int
    outputs: int
    rate_hz: int
    halves: bool
    """Listed as an input and, by itself, an output."""


def boxes(chance: random.Random) -> list[Box]:
    found = []
    for serial in range(chance.randint(0, 5)):
        name, api = chance.choice(NAMES), chance.randrange(len(APIS))
        inputs, outputs = chance.choice(((2, 2), (8, 8), (24, 24), (10, 8), (2, 0), (0, 2)))
        rate_hz = chance.choice((44_100, 48_000, 96_000))
        halves = bool(inputs and outputs) and chance.random() < 0.5
        found.append(Box(serial, name, api, inputs, outputs, rate_hz, halves))
    if found and chance.random() < 0.4:  # a twin in all but its serial number
        one = chance.choice(found)
        told = (one.name, one.api, one.inputs, one.outputs, one.rate_hz, one.halves)
        found.append(Box(len(found), *told))
    return found


def listed(there: Sequence[Box], chance: random.Random) -> tuple[list[Device], list[int]]:
    """The listing in any order, and the serial number behind each index."""
    entries: list[tuple[Box, int, int]] = []
    for box in there:
        if box.halves:
            entries += [(box, box.inputs, 0), (box, 0, box.outputs)]
        else:
            entries.append((box, box.inputs, box.outputs))
    chance.shuffle(entries)
    infos: list[dict[str, Any]] = [
        {
            "name": box.name,
            "hostapi": box.api,
            "max_input_channels": inputs,
            "max_output_channels": outputs,
            "default_samplerate": float(box.rate_hz),
        }
        for box, inputs, outputs in entries
    ]
    module = SimpleNamespace(
        query_hostapis=lambda: tuple({"name": name} for name in APIS),
        query_devices=lambda: infos,
    )
    return devices(cast(ModuleType, module)), [box.serial for box, _, _ in entries]


def check(chance: random.Random, choose: Choose) -> str:
    """Ask for one by name and API in a listing of the moment; how that ended."""
    there = boxes(chance)
    found, serials = listed(there, chance)
    asked = chance.choice(there) if there and chance.random() < 0.8 else None
    name = chance.choice(NAMES) if asked is None else asked.name
    apis = (None, *APIS, "windows") if asked is None else (None, APIS[asked.api], "windows")
    api = chance.choice(apis)
    fitting = [
        box
        for box in there
        if box.name == name and (api is None or APIS[box.api].lower().startswith(api.lower()))
    ]
    try:
        device = choose(found, name, api)
    except NoServerError:
        assert not fitting, "it is there and was not found"
        return "not there"
    except MisuseError:
        assert len(fitting) > 1, "it is there once and was refused"
        return "refused"
    assert fitting, "one was opened that was not asked for"
    opened = {serials[i] for i in (device.input_index, device.output_index) if i is not None}
    wanted = {box.serial for box in fitting}
    assert opened <= wanted, "one was opened that was not asked for"
    one_of_one = len(fitting) == 1
    complement = (
        sum(1 for box in fitting if box.inputs) == sum(1 for b in fitting if b.outputs) == 1
    )
    assert one_of_one or complement, "one of two that cannot be told apart was opened"
    told = (device.interface.name, device.interface.host_api)
    assert told == (name, APIS[fitting[0].api])
    if one_of_one:
        (box,) = fitting
        assert (device.interface.inputs, device.interface.outputs) == (box.inputs, box.outputs)
    return "opened"


def run(choose: Choose) -> dict[str, int]:
    ended = {"not there": 0, "refused": 0, "opened": 0}
    for seed in range(PLUGS):
        ended[check(random.Random(seed), choose)] += 1
    return ended


def test_never_another_one_is_opened() -> None:
    ended = run(chosen)
    assert min(ended.values()) > PLUGS // 50, f"the listings say too little: {ended}"
    print(f"{PLUGS} listings: {ended}")


def first_of_the_name(found: Sequence[Device], name: str, _host_api: str | None) -> Device:
    """The planted bug."""
    for device in found:
        if device.interface.name == name:
            return device
    raise NoServerError(name)


def the_index_of_before(found: Sequence[Device], name: str, host_api: str | None) -> Device:
    """The planted bug: an index that was right once."""
    chosen(found, name, host_api)
    return found[0]


@pytest.mark.parametrize("planted", [first_of_the_name, the_index_of_before])
def test_the_harness_finds(planted: Choose) -> None:
    with pytest.raises(AssertionError, match=r"not asked for|told apart"):
        run(planted)
