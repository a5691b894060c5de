"""The commands `deck` and `interfaces` with a real sound server."""

import json
import subprocess
from collections.abc import Callable
from typing import Any

import pytest
import typer
from click.testing import Result
from typer.testing import CliRunner

from fluxbench.base import MisuseError, NoServerError
from fluxbench.cli._deck import deck
from fluxbench.cli._interfaces import interfaces
from tests.sound.server import SoundServer

pytestmark = pytest.mark.sound


@pytest.fixture(scope="module", autouse=True)
def loopback(server: SoundServer) -> "subprocess.Popen[str]":
    return server.loopback("deck", 24)


def run(command: Callable[..., Any], *arguments: str) -> Result:
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
