"""Where the bench answers on the network, and what the terminal says of it."""

import socket
import sys
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from fluxbench.base import MisuseError
from fluxbench.cli import main
from fluxbench.cli._lan import chosen, is_local, lan_at, local_addresses, tell_lan

# RFC 1918 and RFC 3927 (networks of one's own), RFC 6890 (what else is special).
LOCAL = ["10.0.0.1", "172.16.0.1", "172.31.255.254", "192.168.1.7", "169.254.3.4"]
NOT_LOCAL = [
    "8.8.8.8", "172.32.0.1", "172.15.0.1", "192.169.0.1", "11.0.0.1", "127.0.0.1", "127.0.0.2",
    "0.0.0.0", "::1", "fe80::1", "localhost", "bench.local", "192.168.1.7:80", "", "192.168.1.07",
]  # fmt: skip


def test_only_numbers_of_local_networks_count() -> None:
    assert [one for one in LOCAL if not is_local(one)] == []
    assert [one for one in NOT_LOCAL if is_local(one)] == []


def test_addresses_that_somebody_names_are_looked_at() -> None:
    assert chosen(["10.0.0.1", "192.168.1.7", "10.0.0.1"]) == ("10.0.0.1", "192.168.1.7")
    with pytest.raises(MisuseError, match="no number of a local network"):
        chosen(["10.0.0.1", "8.8.8.8"])


def test_all_local_numbers_of_what_is_up_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def at(address: str, family: int = socket.AF_INET) -> SimpleNamespace:
        return SimpleNamespace(family=family, address=address)

    addresses = {
        "lo": [at("127.0.0.1")],
        "cable": [at("192.168.1.7"), at("fe80::1", socket.AF_INET6)],
        "radio": [at("10.0.0.1")],
        "modem": [at("203.0.114.9")],
        "unplugged": [at("192.168.9.9")],
    }
    up = {name: SimpleNamespace(isup=name != "unplugged") for name in addresses}
    monkeypatch.setattr(psutil, "net_if_addrs", lambda: addresses)
    monkeypatch.setattr(psutil, "net_if_stats", lambda: up)
    assert local_addresses() == ("192.168.1.7", "10.0.0.1")
    addresses["cable"], addresses["radio"] = [], []
    with pytest.raises(MisuseError, match="no address on a local network"):
        local_addresses()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--lan-address", "10.0.0.1"], "give --lan as well"),
        (["--lan", "--lan-address", "8.8.8.8"], "no number of a local network"),
        (["--lan", "--lan-address", "10.254.254.254", "--port", "0"], "at 10.254.254.254 cannot"),
    ],
)
def test_what_cannot_be_is_one_line(
    words: list[str], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["serve", "--no-browser", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert line in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize("terminal", [True, False])
def test_the_code_is_printed_for_eyes_alone(
    terminal: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    lan = lan_at(("192.168.1.7", "10.0.0.1"), 7355, tmp_path / "book.db")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: terminal)
    tell_lan(lan)
    _, secret = lan.let_in("Tablet")
    said = capsys.readouterr().out
    assert "http://192.168.1.7:7355 http://10.0.0.1:7355" in said
    code = lan.pairing.code
    assert code is not None
    assert (f"{code[:3]} {code[3:]}" in said) == terminal
    assert ("Paired: Tablet" in said) == terminal
    assert ("under Devices" in said) is True
    assert secret not in said
    if not terminal:
        assert code not in said
