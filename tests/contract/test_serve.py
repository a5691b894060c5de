"""The contract of `fluxbench serve`: one line when ready, clear lines when not, nothing lost."""

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin

pytestmark = pytest.mark.alone

WAIT_S = 250.0  # for a machine that is busy with other things


class Bench:
    """A bench in a process of its own, with a practice deck of one track."""

    def __init__(self, book: Path, port: int = 0) -> None:
        command = [
            sys.executable, "-m", "fluxbench", "serve", "--no-browser", "--tracks", "1",
            "--book", str(book), "--port", str(port),
        ]  # fmt: skip
        self.child = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.child.stdout is not None
        self.said = self.child.stdout.readline()
        found = re.fullmatch(r"Fluxbench: (http://127.0.0.1:\d+) \(Ctrl-C ends it\)\n", self.said)
        self.address = "" if found is None else found[1]

    def get(self, path: str) -> Any:
        with urllib.request.urlopen(self.address + path, timeout=WAIT_S) as answer:
            return json.load(answer)

    def post(self, path: str, body: Any) -> Any:
        request = urllib.request.Request(self.address + path, json.dumps(body).encode())
        request.add_header("Content-Type", "application/json")
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
            return json.load(answer)

    def until(self, path: str, wanted: Any) -> Any:
        end_s = time.monotonic() + WAIT_S
        while not wanted(seen := self.get(path)):
            assert time.monotonic() < end_s, seen
            time.sleep(0.05)
        return seen

    def end(self, number: int) -> tuple[int, str]:
        self.child.send_signal(number)
        _, errors = self.child.communicate(timeout=WAIT_S)
        return self.child.returncode, errors


def deck_process(book: Path) -> int:
    return int(json.loads(book.with_name(book.name + ".deck-runs").read_text())["process"])


def another_deck(book: Path, before: int) -> int:
    """The process of the deck that was started in place of that one."""
    end_s = time.monotonic() + WAIT_S
    while True:
        with suppress(OSError, ValueError):  # it is just being written
            if (found := deck_process(book)) != before:
                return found
        assert time.monotonic() < end_s, "no other deck is started"
        time.sleep(0.05)


def is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    try:
        return "State:\tZ" not in Path(f"/proc/{process}/status").read_text()
    except OSError:  # it has gone meanwhile
        return False


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    path = tmp_path_factory.mktemp("served") / "book.db"
    yield path
    if path.with_name(path.name + ".deck-runs").exists() and is_alive(deck_process(path)):
        os.kill(deck_process(path), signal.SIGKILL)


@pytest.mark.timeout(900)
def test_killed_and_started_again_it_goes_on_and_no_turn_is_lost(book: Path) -> None:
    bench = Bench(book)
    try:
        bench.until("/api/state", lambda s: s["bench"]["engine"] == "running")
        bench.post("/api/commands", {"id": "b", "command": "begin"})
        before = bench.until("/api/state", lambda s: s["ask"] is not None)
        bench.post("/api/deck/turn", {"id": "t", "trimmer": "bias", "turns": 0.5, "track": 1})
        bench.until("/api/deck", lambda deck: not deck["turning"])
        strangers(bench)
        in_the_way(bench, book)
    finally:
        assert bench.end(signal.SIGKILL)[0] == -signal.SIGKILL
    deck = deck_process(book)
    assert is_alive(deck)
    trimmers = json.loads(book.with_name(book.name + ".deck").read_text())["trimmers"]
    again = Bench(book)
    try:
        assert deck_process(book) == deck
        after = again.get("/api/state")
        assert after["ask"] == before["ask"]
        assert (after["lineup"]["id"], after["lineup"]["closed"]) == (before["lineup"]["id"], False)
        assert again.post("/api/commands", {"id": "b", "command": "begin"})["done"] is True
        assert len(again.get("/api/lineups")["lineups"]) == 1
        until_taken_up = again.until("/api/state", lambda s: s["lineup"]["resumed"] > 0)
        again.until("/api/state", lambda s: s["bench"]["engine"] == "running")
        os.kill(deck, signal.SIGKILL)
        # That it is lost stands there for a moment only; that it was taken up again stays.
        resumed = until_taken_up["lineup"]["resumed"]
        again.until("/api/state", lambda s: s["lineup"]["resumed"] > resumed)
        again.until("/api/state", lambda s: s["bench"]["engine"] == "running")
        assert again.get("/api/state")["ask"] == before["ask"]
        deck = another_deck(book, deck)
    finally:
        code, errors = again.end(signal.SIGTERM)
    assert (code, errors) == (0, "")
    kept = json.loads(book.with_name(book.name + ".deck").read_text())
    assert kept["trimmers"] == trimmers
    end_s = time.monotonic() + WAIT_S
    while is_alive(deck):
        assert time.monotonic() < end_s, "the practice deck runs on"
        time.sleep(0.05)


def strangers(bench: Bench) -> None:
    """The guard stands in the real server, too."""
    for header, value in (("Host", "bench.example"), ("Origin", "http://page.example")):
        request = urllib.request.Request(bench.address + "/api/state", headers={header: value})
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=WAIT_S)
        with refused.value as answer:
            assert answer.code == 403
    url = bench.address.replace("http", "ws") + "/api/sockets/meters"
    with pytest.raises(InvalidStatus):
        connect(url, origin=Origin("http://page.example"), open_timeout=WAIT_S)
    with connect(url, open_timeout=WAIT_S) as socket:
        assert "level_db" in json.loads(socket.recv(timeout=WAIT_S))


def in_the_way(bench: Bench, book: Path) -> None:
    """A second bench on the same book, and one on the same port."""
    port = int(bench.address.rpartition(":")[2])
    second = Bench(book)
    _, errors = second.child.communicate(timeout=WAIT_S)
    assert (second.said, second.child.returncode) == ("", 1)
    assert re.fullmatch(
        rf"fluxbench: the book \S+ is in use by another bench \(process {bench.child.pid}\); "
        r"end that one, or give this one a book of its own with --book\n", errors
    )  # fmt: skip
    third = Bench(book.with_name("other.db"), port)
    _, errors = third.child.communicate(timeout=WAIT_S)
    assert (third.said, third.child.returncode) == ("", 2)
    found = re.fullmatch(
        rf"fluxbench: port {port} cannot be had \(.+\); try --port (\d+)\n", errors
    )
    assert found is not None
    assert int(found[1]) > port
