"""The commands `deck` and `interfaces` with a real sound server."""

import json
import subprocess
from collections.abc import Callable
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from fluxbench.base import MisuseError, NoServerError
from fluxbench.cli._deck import deck
from fluxbench.cli._interfaces import app as interfaces
from tests.sound.server import SoundServer

pytestmark = [pytest.mark.sound, pytest.mark.timeout(900)]


@pytest.fixture(scope="module", autouse=True)
def loopback(server: SoundServer) -> "subprocess.Popen[str]":
    return server.loopback("deck", 24)


def run(command: Callable[..., Any] | typer.Typer, *arguments: str) -> Result:
    if isinstance(command, typer.Typer):
        return CliRunner().invoke(command, list(arguments))
    app = typer.Typer()
    app.command()(command)
    return CliRunner().invoke(app, list(arguments))


def test_interfaces_as_json_lines() -> None:
    result = run(interfaces, "--json")
    found = [json.loads(line) for line in result.stdout.splitlines()]
    assert {
        "name": "deck",
        "host_api": "JACK Audio Connection Kit",
        "inputs": 24,
        "outputs": 24,
        "rate_hz": 96_000,
    } in found


def test_interfaces_for_people() -> None:
    lines = run(interfaces).stdout.splitlines()
    assert "deck     24 in   24 out   96000 Hz  JACK Audio Connection Kit" in lines


def test_a_deck_without_a_server_or_with_a_name_in_use_is_refused() -> None:
    refused = run(deck, "--port", "0", "--server", "nobody-runs-this").exception
    assert isinstance(refused, NoServerError)
    assert "no JACK sound server called 'nobody-runs-this' answers" in str(refused)
    assert isinstance(run(deck, "--port", "0").exception, MisuseError)


def checked() -> dict[str, Any]:
    """What a check of four wires finds; where frames were lost, all that is said is honest."""
    result = run(interfaces, "check", "--interface", "deck", "--inputs", "4", "--outputs", "4",
                 "--seconds", "1", "--agreed", "--json")  # fmt: skip
    found = dict(json.loads(result.stdout))
    assert (found["name"], found["rate_hz"]) == ("deck", 96_000)
    assert {(c["output"], c["input"]) for c in found["cables"]} <= {(n, n) for n in range(1, 5)}
    for cable in found["cables"]:
        if cable["gain_db"] is not None:  # a busy machine may lose frames: then there is no number
            assert abs(cable["gain_db"]) < 0.001
            assert abs(cable["drift_ppm"]) < 0.01
    assert result.exit_code == int(bool(found["faults"]))
    if lost(found):
        assert found["faults"]
    else:
        assert len(found["cables"]) == 4
        assert found["faults"] == []
    return found


def lost(found: dict[str, Any]) -> int:
    return int(found["lost_told"] + found["lost_silent"])


def test_a_loop_back_check_measures_a_wire() -> None:
    # The bench sends 60 ms after what it takes, and the loop of two clients adds a period.
    wanted = 5760 + 1024
    for _ in range(5):
        found = checked()
        if found["round_trip_frames"] == wanted or not lost(found):
            break
    assert found["round_trip_frames"] == wanted


def test_nothing_is_sent_before_the_caution_is_agreed_to() -> None:
    refused = run(interfaces, "check", "--interface", "deck")
    assert isinstance(refused.exception, MisuseError)
    assert "loud tone" in refused.stderr
    assert refused.stdout.strip() == ""
