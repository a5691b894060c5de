"""A real `fluxbench serve --lan` and real clients on a network of their own: who gets in."""

import json
import re
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.network.people import Bench, Person, pair
from tests.network.rooms import DESK, TABLET, Room, two_rooms

pytestmark = [pytest.mark.network, pytest.mark.timeout(900)]
QUICK = ("--interface", "one that is not there")  # who gets in is not a matter of the deck
SOCKETS = ("/api/sockets/events", "/api/sockets/meters", "/api/lan/socket")


@pytest.fixture(scope="module")
def rooms() -> Iterator[tuple[Room, Room]]:
    with two_rooms() as made:
        yield made


@contextmanager
def running(bench: Bench) -> Iterator[Bench]:
    with ExitStack() as stack:
        stack.callback(bench.end)
        bench.start()
        yield bench


@contextmanager
def people(rooms: tuple[Room, Room], bench: Bench, *also: str) -> Iterator[list[Person]]:
    """Somebody at the desk, and one with a tablet."""
    with ExitStack() as stack:
        desk = stack.enter_context(closing(Person(rooms[0], "127.0.0.1", bench.port)))
        tablet = stack.enter_context(closing(Person(rooms[1], DESK, bench.port)))
        yield [desk, tablet]


def gets(person: Person, **headers: str) -> dict[str, Any]:
    """What the bench answers to everything that somebody may try: statuses, 101 for a socket."""
    silence = {"id": "x", "command": "silence", "on": True}
    return {
        "page": person.get("/", **headers)["status"],
        "state": person.get("/api/state", **headers)["status"],
        "silence": person.post("/api/commands", silence, **headers)["status"],
        **{path: person.open(path, **headers) for path in SOCKETS},
    }


IN = {"page": 200, "state": 200, "silence": 200, **dict.fromkeys(SOCKETS, 101)}
ASKED_FOR_THE_CODE = {"page": 200, "state": 401, "silence": 401, **dict.fromkeys(SOCKETS, 403)}
TURNED_AWAY = dict.fromkeys(IN, 403)


def test_who_gets_in_and_who_does_not(rooms: tuple[Room, Room], tmp_path: Path) -> None:
    """One bench for all of it: starting one takes long."""
    bench = Bench(rooms[0], tmp_path / "book.db", tmp_path / "log")
    secrets: list[str] = []
    with running(bench), people(rooms, bench) as (desk, tablet):
        assert gets(desk) == IN
        assert gets(tablet) == ASKED_FOR_THE_CODE
        assert "Code from the desk" in tablet.get("/")["text"]

        first = json.loads(desk.get("/api/lan")["text"])["code"]["digits"]
        secrets.append(first)
        wrong = f"{(int(first) + 1) % 10**6:06}"
        assert tablet.post("/api/lan/pair", {"code": wrong})["status"] == 403
        assert gets(tablet) == ASKED_FOR_THE_CODE

        key = pair(desk, tablet, "Tablet")
        secrets += tablet.cookies.values()
        assert gets(tablet) == IN
        assert tablet.hear("/api/lan/socket")["holder"]["name"] == "the desk"
        assert desk.command("a", "silence", on=False) == 200
        assert tablet.command("b", "silence", on=False) == 403

        assert gets(tablet, Host=f"bench.example:{bench.port}") == TURNED_AWAY
        assert gets(tablet, Host=f"127.0.0.1:{bench.port}") == TURNED_AWAY
        assert gets(tablet, Origin="http://page.example") == TURNED_AWAY
        assert gets(tablet, Origin=f"http://{TABLET}") == TURNED_AWAY
        told = {"X-Forwarded-For": "127.0.0.1", "Forwarded": "for=127.0.0.1", "Cookie": ""}
        assert gets(tablet, **told) == ASKED_FOR_THE_CODE  # what a client says of itself is nothing

        assert tablet.post("/api/lan/ask", {})["status"] == 200
        assert desk.post("/api/lan/give", {})["status"] == 200
        assert tablet.command("c", "silence", on=False) == 200
        assert desk.command("d", "silence", on=False) == 403
        assert desk.post("/api/lan/take", {})["status"] == 200
        assert tablet.command("e", "silence", on=False) == 403

        assert desk.post(f"/api/lan/devices/{key}/revoke", {})["status"] == 200
        for path in SOCKETS:
            ended = tablet.until_closed(path)
            assert (ended["closed"], ended["code"]) == (True, 1008)
        assert gets(tablet) == ASKED_FOR_THE_CODE

        pair(desk, tablet, "Tablet")  # for the restart
        secrets += tablet.cookies.values()
        secrets.append(json.loads(desk.get("/api/lan")["text"])["code"]["digits"])
        port = bench.port
    in_the_log = bench.log.read_text()
    assert f"On the local network: http://{DESK}:{port}" in in_the_log
    assert [secret for secret in [*secrets, "#pair"] if secret in in_the_log] == []
    assert len(set(secrets)) == 4
    listed = (tmp_path / "book.db.devices").read_text()
    assert [cookie for cookie in tablet.cookies.values() if cookie in listed] == []

    without = Bench(rooms[0], bench.book, tmp_path / "log-without", options=QUICK, port=port)
    with running(without), people(rooms, without) as (desk, other):
        other.cookies = tablet.cookies
        assert desk.get("/api/state")["status"] == 200
        assert other.get("/", within_s=1.0)["status"] == 0  # nobody answers
        assert other.open("/api/sockets/meters") == 0


def test_a_bench_that_forgets_sockets_is_found(rooms: tuple[Room, Room], tmp_path: Path) -> None:
    planted = ("-m", "tests.network.careless_bench")
    bench = Bench(
        rooms[0], tmp_path / "book.db", tmp_path / "log", ("--lan", *QUICK), starter=planted
    )
    with running(bench), people(rooms, bench) as (_, tablet):
        found = gets(tablet)
    assert found != ASKED_FOR_THE_CODE
    assert re.findall("101", str(found)) == ["101"] * len(SOCKETS)
