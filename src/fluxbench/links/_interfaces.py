"""What sound interfaces there are, and which one is meant by a name."""

import json
import subprocess
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from types import ModuleType

from fluxbench.base import ChannelsError, MisuseError, NoServerError

LISTED_WITHIN_S = 60.0
"""On a machine that is busy with other things its libraries take long to load."""


@dataclass(frozen=True, slots=True)
class Interface:
    """A sound interface or sound-server client: remembered by name and host API, never by index.

    `rate_hz` is its default rate; under a sound server it is the server's, and no other works.
    """

    name: str
    host_api: str
    inputs: int
    outputs: int
    rate_hz: int


@dataclass(frozen=True, slots=True)
class Device:
    """An interface with the places of its two directions in PortAudio's list of the moment."""

    interface: Interface
    input_index: int | None
    output_index: int | None


def interfaces() -> list[Interface]:
    """All interfaces that can be opened now, asked in a short-lived child process.

    PortAudio's list is fixed when it starts; a child sees what was plugged in since, and disturbs
    no running stream. NoServerError if PortAudio is missing or does not answer.
    """
    command = [sys.executable, "-m", "fluxbench.links._list_interfaces"]
    try:
        child = subprocess.run(
            command, capture_output=True, text=True, timeout=LISTED_WITHIN_S, check=True
        )
        answer = json.loads(child.stdout)
    except subprocess.TimeoutExpired:
        raise NoServerError(
            f"the sound interfaces cannot be listed within {LISTED_WITHIN_S:g} s; "
            "is the sound server stuck?"
        ) from None
    except (subprocess.CalledProcessError, ValueError) as error:
        reason = (getattr(error, "stderr", "") or str(error)).strip().splitlines()[-1:]
        raise NoServerError(f"the sound interfaces cannot be listed: {' '.join(reason)}") from None
    if "error" in answer:
        raise NoServerError(answer["error"])
    return [Interface(**fields) for fields in answer["interfaces"]]


def answer_of_child() -> str:
    """What the child prints: one JSON object for `interfaces`."""
    try:
        found = devices(portaudio())
    except NoServerError as error:
        return json.dumps({"error": str(error)})
    return json.dumps({"interfaces": [asdict(device.interface) for device in found]})


def portaudio() -> ModuleType:
    """The module that speaks to PortAudio; NoServerError if either is missing."""
    try:
        import sounddevice  # type: ignore[import-untyped]
    except ImportError:
        raise NoServerError(
            "the Python package sounddevice is missing; install Fluxbench with all it needs"
        ) from None
    except OSError as error:
        raise NoServerError(
            f"PortAudio is missing ({error}); install it (Debian: libportaudio2), "
            "or use the practice deck, which needs none"
        ) from None
    except Exception as error:  # its own kind of error cannot be named before it is imported
        raise NoServerError(f"PortAudio does not start: {error}") from None
    module: ModuleType = sounddevice
    return module


def devices(sounddevice: ModuleType) -> list[Device]:
    """What PortAudio lists; an input and an output of one name and host API are one interface."""
    apis = [str(api["name"]) for api in sounddevice.query_hostapis()]
    found: list[Device] = []
    for index, info in enumerate(sounddevice.query_devices()):
        interface = Interface(
            name=str(info["name"]),
            host_api=apis[info["hostapi"]],
            inputs=int(info["max_input_channels"]),
            outputs=int(info["max_output_channels"]),
            rate_hz=round(info["default_samplerate"]),
        )
        device = Device(
            interface,
            index if interface.inputs else None,
            index if interface.outputs else None,
        )
        other = next((known for known in found if _are_halves(known, device)), None)
        if other is None:
            found.append(device)
        else:
            found[found.index(other)] = _joined(other, device)
    return found


def _are_halves(one: Device, other: Device) -> bool:
    a, b = one.interface, other.interface
    same = (a.name, a.host_api, a.rate_hz) == (b.name, b.host_api, b.rate_hz)
    return same and not (a.inputs and b.inputs) and not (a.outputs and b.outputs)


def _joined(one: Device, other: Device) -> Device:
    source, sink = (one, other) if one.interface.inputs else (other, one)
    interface = Interface(
        source.interface.name,
        source.interface.host_api,
        source.interface.inputs,
        sink.interface.outputs,
        source.interface.rate_hz,
    )
    return Device(interface, source.input_index, sink.output_index)


def chosen(found: Sequence[Device], name: str, host_api: str | None) -> Device:
    """The one device of that name; `host_api` may be a beginning, such as ``jack``.

    NoServerError if there is none, MisuseError if the name alone does not tell.
    """
    if not found:
        raise NoServerError(
            f"there is no interface {name!r}, nor any other; "
            "start the sound server or plug the interface in, then try again"
        )
    named = [device for device in found if device.interface.name == name]
    if not named:
        names = _listed(device.interface.name for device in found)
        raise NoServerError(f"there is no interface {name!r}; there are {names}")
    fitting = [
        device
        for device in named
        if host_api is None or device.interface.host_api.lower().startswith(host_api.lower())
    ]
    apis = _listed(device.interface.host_api for device in named)
    if not fitting:
        raise NoServerError(f"{name} is not there under {host_api!r}, but under {apis}")
    if len({device.interface.host_api for device in fitting}) > 1:
        raise MisuseError(f"{name} is there under several host APIs; name one of {apis}")
    if len(fitting) > 1:
        raise MisuseError(
            f"two interfaces are called {name} under {apis}; unplug or rename one of them"
        )
    return fitting[0]


def sending_to(source: Device, sink: Device) -> Device:
    """The inputs of one interface with the outputs of another; MisuseError if they cannot pair."""
    one, other = source.interface, sink.interface
    if one.host_api != other.host_api:
        raise MisuseError(
            f"{one.name} is there under {one.host_api} and {other.name} under {other.host_api}; "
            "choose two under one host API"
        )
    name = one.name if one.name == other.name else f"{one.name} and {other.name}"
    pair = Interface(name, one.host_api, one.inputs, other.outputs, one.rate_hz)
    return Device(pair, source.input_index, sink.output_index)


def check_channels(interface: Interface, inputs: int, outputs: int) -> None:
    """Refuse more channels than there are with ChannelsError, negative ones with MisuseError."""
    if inputs < 0 or outputs < 0:
        raise MisuseError(f"{inputs} inputs and {outputs} outputs cannot be had; give 0 or more")
    if inputs > interface.inputs or outputs > interface.outputs:
        raise ChannelsError(
            f"{interface.name} has {interface.inputs} inputs and {interface.outputs} outputs, "
            f"not {inputs} and {outputs}; measure in banks or choose another interface"
        )
    if inputs == 0:
        raise ChannelsError(f"{interface.name} would give no input; nothing can be measured")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(names))
