"""Which interface a name means, on listings made up here."""

import subprocess
import sys
from types import ModuleType, SimpleNamespace
from typing import Any, cast

import pytest

from fluxbench.base import ChannelsError, MisuseError, NoServerError
from fluxbench.links import PortAudioLink
from fluxbench.links._interfaces import Device, Interface, check_channels, chosen, devices


def listing(*entries: tuple[str, int, int, int]) -> list[Device]:
    """Entries (name, API, inputs, outputs) as PortAudio would list them."""
    infos: list[dict[str, Any]] = [
        {
            "name": name,
            "hostapi": api,
            "max_input_channels": inputs,
            "max_output_channels": outputs,
            "default_samplerate": 96_000.0,
        }
        for name, api, inputs, outputs in entries
    ]
    module = SimpleNamespace(
        query_hostapis=lambda: ({"name": "JACK Audio Connection Kit"}, {"name": "Other"}),
        query_devices=lambda: infos,
    )
    return devices(cast(ModuleType, module))


def test_a_name_is_found_whatever_its_place() -> None:
    found = listing(("system", 0, 32, 32), ("deck", 0, 24, 24))
    device = chosen(found, "deck", None)
    assert device.interface == Interface("deck", "JACK Audio Connection Kit", 24, 24, 96_000)
    assert (device.input_index, device.output_index) == (1, 1)


def test_halves_of_one_name_are_one_interface() -> None:
    device = chosen(listing(("box", 1, 0, 8), ("box", 1, 10, 0)), "box", None)
    assert (device.interface.inputs, device.interface.outputs) == (10, 8)
    assert (device.input_index, device.output_index) == (1, 0)


def test_a_name_that_is_not_there_names_what_is() -> None:
    with pytest.raises(NoServerError, match="no interface 'dekc'; there are system, deck"):
        chosen(listing(("system", 0, 2, 2), ("deck", 0, 2, 2)), "dekc", None)


def test_nothing_there_at_all_says_to_start_the_server() -> None:
    with pytest.raises(NoServerError, match="start the sound server"):
        chosen([], "deck", None)


def test_a_name_found_twice_asks_for_the_host_api() -> None:
    found = listing(("box", 0, 2, 2), ("box", 1, 2, 2))
    with pytest.raises(MisuseError, match="several host APIs; name one of JACK Audio"):
        chosen(found, "box", None)
    assert chosen(found, "box", "oth").input_index == 1
    with pytest.raises(NoServerError, match="not there under 'none', but under JACK"):
        chosen(found, "box", "none")


def test_two_of_one_name_under_one_api_cannot_be_told_apart() -> None:
    with pytest.raises(MisuseError, match="two interfaces are called box"):
        chosen(listing(("box", 1, 2, 2), ("box", 1, 2, 2)), "box", None)


@pytest.mark.parametrize(("inputs", "outputs"), [(25, 24), (24, 25), (0, 2)])
def test_too_few_channels_are_said(inputs: int, outputs: int) -> None:
    with pytest.raises(ChannelsError, match="deck"):
        check_channels(Interface("deck", "JACK", 24, 24, 96_000), inputs, outputs)
    check_channels(Interface("deck", "JACK", 24, 24, 96_000), 24, 0)


class NoPortAudio:
    """Finds sounddevice, but without the library that it needs."""

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")


def test_without_portaudio_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [NoPortAudio(), *sys.meta_path])
    with pytest.raises(NoServerError, match=r"PortAudio is missing .*libportaudio2"):
        PortAudioLink("deck")


def test_without_sounddevice_one_line_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(NoServerError, match="package sounddevice is missing"):
        PortAudioLink("deck")


def test_links_import_no_portaudio_by_themselves() -> None:
    code = "import sys, fluxbench.links; print('sounddevice' in sys.modules)"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert child.stdout == "False\n"
