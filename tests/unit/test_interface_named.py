"""An interface by its name alone: under which host API it is opened again."""

import pytest

from fluxbench import links
from fluxbench.base import NoServerError
from fluxbench.cli import main
from fluxbench.cli._interface_named import host_api_now
from fluxbench.links import Interface

DESK = Interface("desk", "one", 24, 24, 96_000)
NAMESAKE = Interface("desk", "another", 2, 2, 48_000)


@pytest.mark.parametrize(
    ("there", "under"),
    [
        ([DESK, Interface("other", "another", 8, 8, 48_000)], "one"),
        ([DESK, NAMESAKE], None),  # opening it says so, and asks which
        ([], None),  # it may come later
    ],
)
def test_one_that_is_there_once_keeps_its_host_api(
    monkeypatch: pytest.MonkeyPatch, there: list[Interface], under: str | None
) -> None:
    monkeypatch.setattr(links, "interfaces", lambda: there)
    assert host_api_now("desk") == under


def test_without_a_sound_server_nothing_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> list[Interface]:
        raise NoServerError("nobody there")

    monkeypatch.setattr(links, "interfaces", none)
    assert host_api_now("desk") is None


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["serve", "--host-api", "jack"], "--host-api alone is no deck; give --interface as well"),
        (
            ["tones", "tones.wav", "--speed", "15", "--host-api", "jack"],
            "--host-api alone names no interface; give --interface as well",
        ),
    ],
)
def test_a_host_api_without_an_interface_is_one_line(
    words: list[str], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    assert capsys.readouterr().err.strip().endswith(line)
