"""The contract of the HTTP API: who may call, what is answered, what is never lost."""

import asyncio
import json
import re
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from fluxbench.base import BookError
from fluxbench.book import Book, Page, Writing
from fluxbench.deck import PracticeDeck
from fluxbench.lineup import _print_tones
from fluxbench.session import Session
from fluxbench.session._engine_process import HEARTBEAT_S
from fluxbench.session._watch import LINE as HANGS
from fluxbench.trade import LineUpTone
from fluxbench.web import _calls, build_app
from tests.benches.lateness import Lateness

ROOT = Path(__file__).parents[2]
OWN = "http://127.0.0.1:7355"
SOCKETS = "ws://127.0.0.1:7355"
WAIT_S = 120.0  # for a machine that is busy with other things


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    deck = PracticeDeck(tracks=2, rate_hz=8000)
    shown = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    return dict(json.loads(json.dumps(shown)))


def post(client: TestClient, path: str, body: Any, **headers: str) -> Any:
    return client.post(path, json=body, headers=headers)


def command(client: TestClient, key: str, name: str, **fields: Any) -> Any:
    return post(client, "/api/commands", {"id": key, "command": name, **fields})


def until(client: TestClient, wanted: Any) -> dict[str, Any]:
    """The state, once it is as wanted."""
    end_s = time.monotonic() + WAIT_S
    while True:
        state = dict(client.get("/api/state").json())
        if wanted(state):
            return state
        assert time.monotonic() < end_s, state
        time.sleep(0.01)


def begin(client: TestClient, plan: dict[str, Any]) -> None:
    assert command(client, "begin", "begin", plan=plan).json()["done"] is True
    until(client, lambda state: state["ask"] is not None)
    assert command(client, "play", "acknowledge", ask=1).json()["done"] is True


# Who may call.

FOREIGN = [
    {"host": "bench.example:7355"},
    {"host": "127.0.0.1.example"},
    {"host": "127.0.0.1:7355@bench.example"},
    {"host": ""},
    {"origin": "http://page.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:8000"},  # another program's page on this machine
    {"origin": "https://127.0.0.1:7355"},
    {"origin": "http://localhost:7355"},  # our own port by another name is another origin
]


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
def test_a_foreign_page_can_neither_read_nor_write(
    client: TestClient, headers: dict[str, str]
) -> None:
    for path in ("/api/state", "/api/events", "/api/openapi.json", "/"):
        refused = client.get(path, headers=headers)
        assert refused.status_code == 403
        assert list(refused.json()) == ["error"]
    body = {"id": "a", "command": "silence", "on": True}
    assert post(client, "/api/commands", body, **headers).status_code == 403
    assert client.get("/api/state").json()["bench"]["silenced"] is False
    for path in ("/api/sockets/events", "/api/sockets/meters"):
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect(SOCKETS + path, headers=headers),
        ):
            pytest.fail("a stranger listens")


@pytest.mark.parametrize("host", ["127.0.0.1:7355", "localhost:7355", "[::1]:7355"])
def test_our_own_page_may(client: TestClient, host: str) -> None:
    headers = {"host": host, "origin": f"http://{host}"}
    assert client.get("/api/state", headers=headers).status_code == 200
    body = {"id": "a", "command": "silence", "on": True}
    assert post(client, "/api/commands", body, **headers).status_code == 200
    with client.websocket_connect(SOCKETS + "/api/sockets/events", headers=headers) as socket:
        assert socket.receive_json()["what"] == "state"


def test_a_form_of_another_page_is_no_write(client: TestClient) -> None:
    """A browser sends such a body without asking, and sometimes without an origin."""
    content = json.dumps({"id": "a", "command": "silence", "on": True})
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        refused = client.post("/api/commands", content=content, headers={"content-type": kind})
        assert refused.status_code == 400
    assert client.get("/api/state").json()["bench"]["silenced"] is False


def test_nobody_may_put_us_into_a_frame(client: TestClient) -> None:
    headers = client.get("/api/state").headers
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "access-control-allow-origin" not in headers


# What is refused, and how.


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, 400),
        ({"id": "a", "command": "fly"}, 400),
        ({"id": "a b", "command": "silence", "on": True}, 400),
        ({"id": "a", "command": "silence", "on": "yes"}, 400),
        ({"id": "a", "command": "silence", "on": True, "more": 1}, 400),
        ({"id": "a", "command": "acknowledge", "ask": 1}, 409),
        ({"id": "a", "command": "skip", "stage": "bias", "reason": "no"}, 409),
        ({"id": "a", "command": "begin", "plan": {"calibration": {}, "stock": {}}}, 400),
        ({"id": "a", "command": "begin"}, 400),
    ],
)
def test_refusals_are_one_line(client: TestClient, body: Any, status: int) -> None:
    refused = post(client, "/api/commands", body)
    assert refused.status_code == status
    assert list(refused.json()) == ["error"]
    assert "\n" not in refused.json()["error"]


def test_bodies_have_an_end(client: TestClient) -> None:
    body = {"id": "a", "command": "silence", "on": True, "more": "x" * 300_000}
    assert post(client, "/api/commands", body).status_code == 413


def test_what_is_not_there_is_404(client: TestClient) -> None:
    for path in ("/api/nothing", "/api/bias/1", "/api/lineups/none/journal", "/api/deck"):
        assert client.get(path).status_code == 404


# Commands, readings, events.


def test_a_command_is_carried_out_once(client: TestClient, plan: dict[str, Any]) -> None:
    begin(client, plan)
    again = [command(client, "begin", "begin", plan=plan).json() for _ in range(3)]
    assert all(answer["done"] for answer in again)
    assert command(client, "other", "begin", plan=plan).status_code == 409
    assert command(client, "play", "acknowledge", ask=1).json()["done"] is True
    for _ in range(3):
        command(client, "key", "silence", on=True)
    lineup = client.get("/api/state").json()["lineup"]["id"]
    journal = client.get(f"/api/lineups/{lineup}/journal").json()["journal"]
    said = [entry["what"] for entry in journal]
    assert (said.count("begun"), said.count("answered"), said.count("silence")) == (1, 1, 1)
    assert len(client.get("/api/lineups").json()["lineups"]) == 1


def test_no_reading_is_shown_before_it_is_in_the_book(
    client: TestClient, session: Session, plan: dict[str, Any]
) -> None:
    late: list[int] = []
    told = session.ledger.on_event

    def check(message: Any) -> None:
        if message["what"] == "taken" and session.book.last_seq() < message["seq"]:
            late.append(message["seq"])
        told(message)

    session.ledger.on_event = check
    begin(client, plan)
    state = until(client, lambda s: s["seq"] > 20)
    assert late == []
    assert [t["trimmer"] for t in state["taken"]] == ["reproduce_level"]


def test_what_is_left_comes_as_sound_to_who_listens_only(
    client: TestClient, session: Session
) -> None:
    assert not session.ears.open
    with client.websocket_connect(f"{SOCKETS}/api/sockets/left") as socket:
        assert json.loads(socket.receive_text()) == {"track": 1, "rate_hz": 8000}
        for _ in range(3):
            block = np.frombuffer(socket.receive_bytes(), "<i2")
            assert len(block) == 160  # 20 ms
            assert not block.any()  # wires, and nothing is sent
        assert session.ears.open
    end_s = time.monotonic() + WAIT_S
    while session.ears.open:
        assert time.monotonic() < end_s
        time.sleep(0.01)


def test_events_come_in_order_and_none_is_left_out(
    client: TestClient, plan: dict[str, Any]
) -> None:
    begin(client, plan)
    until(client, lambda s: s["seq"] > 12)
    with client.websocket_connect(SOCKETS + "/api/sockets/events?since=4") as socket:
        past: list[Any] = []
        while (message := socket.receive_json())["what"] != "state":
            past.append(message)
        state = message
        live = [socket.receive_json() for _ in range(5)]
    assert [m["seq"] for m in past] == list(range(5, state["seq"] + 1))
    assert all("set" not in m for m in past)
    assert [m["seq"] for m in live] == list(range(state["seq"] + 1, state["seq"] + 6))
    folded = dict(state["set"])
    for m in live:
        folded |= m["set"]
    assert folded["taken"][0]["seq"] == live[-1]["seq"]
    page = client.get(f"/api/events?since={live[0]['seq'] - 1}").json()["events"]
    assert [e["seq"] for e in page[:5]] == [m["seq"] for m in live]
    assert page[0]["facts"] == live[0]["facts"]


def test_meters_are_the_newest(client: TestClient, plan: dict[str, Any]) -> None:
    begin(client, plan)
    with client.websocket_connect(SOCKETS + "/api/sockets/meters") as socket:
        first = socket.receive_json()
        time.sleep(0.3)
        seen = [socket.receive_json() for _ in range(30)]
    assert {"board", "azimuth", "bias"} <= first.keys()
    assert all(b["n"] > a["n"] for a, b in zip([first, *seen], seen, strict=False))
    last = seen[-1]
    assert last["stage"] == "reproduce"
    assert last["sending"] == [{"frequency_hz": 1000.0, "level_db": -6.0}]
    # The deck is a wire: what comes back is what was sent.
    assert last["level_db"][0] == pytest.approx([-6.0, -6.0], abs=0.02)


def test_a_restart_goes_on_and_knows_its_commands(
    session: Session, plan: dict[str, Any], tmp_path: Path
) -> None:
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as client:
        begin(client, plan)
        before = until(client, lambda s: s["seq"] > 15)
    session.book.close()
    book = Book(tmp_path / "book.db")
    again = Session(book, lambda silence: pytest.fail("no link here"), "wires", "1.2.3")
    with TestClient(build_app(again, Path("nowhere")), base_url=OWN) as client:
        after = until(client, lambda s: s["seq"] > before["seq"] + 10)
        assert command(client, "begin", "begin", plan=plan).json()["done"] is True
        assert len(client.get("/api/lineups").json()["lineups"]) == 1
        lineup = after["lineup"]
        assert (lineup["id"], lineup["resumed"]) == (before["lineup"]["id"], 1)
        assert after["bench"]["run"] != before["bench"]["run"]
        journal = client.get(f"/api/lineups/{lineup['id']}/journal").json()["journal"]
    numbers = [e["facts"]["number"] for e in journal if e["what"] == "taken"]
    assert numbers == list(range(1, len(numbers) + 1))
    book.close()


# What goes wrong is seen.


def test_a_dead_engine_is_started_again_and_the_line_up_goes_on(
    client: TestClient, session: Session, plan: dict[str, Any]
) -> None:
    begin(client, plan)
    before = until(client, lambda s: s["seq"] > 10)
    with client.websocket_connect(SOCKETS + "/api/sockets/events") as socket:
        session._host.dies = True  # type: ignore[attr-defined]
        said: list[str] = []
        hung = False
        while "running" not in said:
            message = socket.receive_json()
            if message["what"] != "bench" or "engine" not in message["facts"]:
                continue
            engine = message["facts"]["engine"]
            hung, hung_before = message["facts"].get("line") == HANGS, hung
            if not hung and not (hung_before and engine == "running"):  # on a slow disk
                said.append(engine)
    assert said == ["lost", "starting", "running"]
    after = until(client, lambda s: s["lineup"]["resumed"] == 1)
    assert after["seq"] > before["seq"]
    until(client, lambda s: s["seq"] > after["seq"] + 10)


def test_a_dead_thread_is_seen(
    client: TestClient, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise ZeroDivisionError("for this test")

    monkeypatch.setattr(session._meter_box, "message", broken)
    bench = until(client, lambda s: s["bench"]["engine"] == "failed")["bench"]
    assert "ZeroDivisionError" in bench["line"]
    refused = command(client, "a", "focus", track=1)
    assert refused.status_code == 409
    assert refused.json()["error"] == bench["line"]
    assert session._host.silence.is_set()


def test_nothing_is_taken_while_the_book_cannot_be_written(
    client: TestClient, session: Session, plan: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    begin(client, plan)
    until(client, lambda s: s["seq"] > 10)
    write = session.book.write

    def full(page: Page) -> Any:
        raise BookError("the book cannot be written (for this test)")

    monkeypatch.setattr(session.book, "write", full)
    stuck = until(client, lambda s: not s["bench"]["saved"])
    time.sleep(0.3)
    assert client.get("/api/state").json()["seq"] == stuck["seq"] == session.book.last_seq()
    monkeypatch.setattr(session.book, "write", write)
    state = until(client, lambda s: s["seq"] > stuck["seq"] + 5)
    assert state["bench"]["saved"] is True
    numbers = [
        e["facts"]["number"]
        for e in client.get("/api/events").json()["events"]
        if e["what"] == "taken"
    ]
    assert numbers == list(range(1, len(numbers) + 1))


def test_a_book_that_cannot_be_read_for_a_while_costs_a_line_and_no_more(
    client: TestClient, session: Session, plan: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when the database server of a house is away: commands are refused, the tape runs on."""
    begin(client, plan)
    until(client, lambda s: s["seq"] > 10)
    with monkeypatch.context() as patched:

        def away() -> Any:
            raise OperationalError("SELECT", {}, OSError("nobody there\nfor this test"))

        patched.setattr(session.book._reader, "begin", away)
        refused = command(client, "a", "focus", track=1)
        assert refused.status_code == 500
        assert re.fullmatch(
            r"the book \S+ cannot be read \(nobody there for this test\)", refused.json()["error"]
        )
        starts = session._host.starts  # type: ignore[attr-defined]
        session._host.dies = True  # type: ignore[attr-defined]
        until(client, lambda _: session._host.starts > starts)  # type: ignore[attr-defined]
        until(client, lambda s: s["bench"]["engine"] == "running")
        time.sleep(0.2)
        before = client.get("/api/state").json()
    after = until(client, lambda s: s["seq"] > before["seq"] + 10)
    assert after["bench"]["engine"] == "running"
    assert after["lineup"]["resumed"] == 1
    assert command(client, "a", "focus", track=1).json()["done"] is True


def test_another_process_that_locks_the_book_costs_no_reading(
    client: TestClient, session: Session, plan: dict[str, Any]
) -> None:
    begin(client, plan)
    until(client, lambda s: s["seq"] > 10)
    with closing(sqlite3.connect(session.book.place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        stuck = until(client, lambda s: not s["bench"]["saved"])
        beats, began_s = session._host.beats, time.monotonic()  # type: ignore[attr-defined]
        with Lateness() as lateness:
            until(client, lambda _: session._host.beats >= beats + 3)  # type: ignore[attr-defined]
        # The engine would fall silent without a word for a second.
        assert time.monotonic() - began_s < 3 * HEARTBEAT_S + lateness.excused_s
        other.execute("ROLLBACK")
    state = until(client, lambda s: s["seq"] > stuck["seq"] + 5)
    assert state["bench"]["saved"] is True


def test_stages_can_be_skipped_and_repeated(client: TestClient, plan: dict[str, Any]) -> None:
    begin(client, plan)
    assert command(client, "s", "skip", stage="bias", reason="no").status_code == 409
    assert command(client, "r", "repeat", stage="lunch").status_code == 400
    assert command(client, "x", "stop", reason="enough").json()["done"] is True
    state = until(client, lambda s: s["lineup"]["closed"])
    assert state["lineup"]["stopped"] == "enough"


def test_what_is_documented_is_there(client: TestClient) -> None:
    page = (ROOT / "docs/reference/http-api.md").read_text()
    documented = set(re.findall(r"`(?:GET|POST) (/api/[\w/.-]+)", page))
    paths = set(client.get("/api/openapi.json").json()["paths"]) | {"/api/openapi.json"}
    names = {
        "{lineup}": "ID", "{track}": "TRACK", "{kind}": "KIND", "{thing}": "ID", "{row}": "ROW",
        "{trimmer}": "TRIMMER", "{capture}": "ID", "{device}": "ID",
    }  # fmt: skip
    known = {re.sub(r"\{\w+\}", lambda m: names[m[0]], path) for path in paths}
    assert documented - known == set()


def test_the_sheet_of_a_line_up_is_a_pdf_file(client: TestClient, plan: dict[str, Any]) -> None:
    begin(client, plan)
    lineup = client.get("/api/lineups").json()["lineups"][0]["id"]
    answer = client.get(f"/api/lineups/{lineup}/sheet")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == f'inline; filename="line-up-{lineup}.pdf"'
    assert answer.content.startswith(b"%PDF-")
    unknown = client.get("/api/lineups/nobody/sheet")
    assert (unknown.status_code, list(unknown.json())) == (404, ["error"])


def test_label_and_track_sheet_of_a_reel(
    client: TestClient, session: Session, plan: dict[str, Any]
) -> None:
    begin(client, plan)
    lineup = client.get("/api/lineups").json()["lineups"][0]["id"]
    at = "2026-03-12T08:15:00.000Z"
    cast(Book, session.book).keep(Writing("r1", "reels", None, {"name": "R 1"}, at))
    for place in (f"lineups/{lineup}", "book/reels/r1"):
        for what in ("label", "track-sheet"):
            answer = client.get(f"/api/{place}/{what}?title=A%22b&track=Kick&paper=letter")
            assert answer.status_code == 200
            assert answer.headers["content-type"] == "application/pdf"
            assert answer.headers["content-disposition"] == f'inline; filename="{what}-A-b.pdf"'
            assert answer.content.startswith(b"%PDF-")
    for place, status in (("lineups/x", 404), ("book/reels/x", 404), ("book/reels/r1", 400)):
        refused = client.get(f"/api/{place}/label?paper=a3")
        assert (refused.status_code, list(refused.json())) == (status, ["error"])


def test_a_sheet_is_made_off_the_event_loop(client: TestClient) -> None:
    """Setting a page takes longer than meters may wait: its call must not be a coroutine."""
    routes = [r for r in _calls.router.routes if getattr(r, "path", "").endswith("/sheet")]
    assert [asyncio.iscoroutinefunction(r.endpoint) for r in routes] == [False]


# Verification.


def verify(client: TestClient, plan: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """Begin one on wires, do what is asked, and give the state at its end."""
    begun = command(client, "v", "begin", kind="verification", plan=plan, **fields)
    assert begun.status_code == 200, begun.json()
    done = 0
    end_s = time.monotonic() + 4 * WAIT_S
    while True:
        state = dict(client.get("/api/state").json())
        if state["lineup"] and state["lineup"]["closed"]:
            return state
        if state["ask"] is not None:
            done += 1
            command(client, f"v{done}", "acknowledge", ask=state["ask"]["number"])
        assert time.monotonic() < end_s, state
        time.sleep(0.02)


def test_a_verification_reads_what_was_chosen_against_the_limits_given(
    client: TestClient, plan: dict[str, Any]
) -> None:
    state = verify(client, plan, verify=["distortion", "crosstalk"], limits={"crosstalk_db": -99.0})
    told = state["verification"]
    assert state["lineup"]["stopped"] is None
    assert [stage["name"] for stage in state["stages"]] == ["verification"]
    assert told["chosen"] == ["distortion", "crosstalk"]
    assert told["limits"]["crosstalk_db"] == -99.0
    assert told["limits"]["noise_db"] == -50.0
    third = next(row for row in told["rows"] if row["name"] == "third harmonic")
    assert third["value"] == [None, None]  # wires bend nothing, and hide nothing either
    assert all(margin > 40.0 for margin in third["margin_db"])
    assert {one["track"] for one in told["tracks"]} == {1, 2}
    journal = client.get(f"/api/lineups/{state['lineup']['id']}/journal").json()["journal"]
    assert [e["facts"]["of"] for e in journal if e["what"] == "verified"] == told["chosen"]


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ({"limits": {"noise_db": 12.0}}, "noise_db goes from -100 to 0, not 12"),
        ({"limits": {"hiss_db": -50.0}}, "hiss_db"),
        ({"verify": ["hiss"]}, "verify"),
    ],
)
def test_a_limit_that_cannot_be_is_refused(
    client: TestClient, plan: dict[str, Any], fields: dict[str, Any], line: str
) -> None:
    refused = command(client, "v", "begin", kind="verification", plan=plan, **fields)
    assert refused.status_code == 400
    assert line in refused.json()["error"]
    assert client.get("/api/state").json()["lineup"] is None


def test_a_verification_goes_on_when_the_engine_has_died(
    client: TestClient, session: Session, plan: dict[str, Any]
) -> None:
    begun = command(client, "v", "begin", kind="verification", plan=plan, verify=["noise"])
    assert begun.status_code == 200
    for number in (1, 2):
        until(client, lambda state, n=number: (state["ask"] or {}).get("number") == n)
        command(client, f"v{number}", "acknowledge", ask=number)
    end_s = time.monotonic() + WAIT_S
    while session._host.settings.stretch is None:
        assert time.monotonic() < end_s
        time.sleep(0.005)
    session._host.dies = True
    until(client, lambda state: state["lineup"]["resumed"] == 1)
    done = 2
    while True:
        state = dict(client.get("/api/state").json())
        if state["lineup"]["closed"]:
            break
        if state["ask"] is not None and state["ask"]["number"] > done:
            done = state["ask"]["number"]
            command(client, f"v{done}", "acknowledge", ask=done)
        assert time.monotonic() < end_s + 60.0, state
        time.sleep(0.02)
    assert [row["of"] for row in state["verification"]["rows"]] == ["noise"] * 4


def test_tones_are_printed_and_told(
    client: TestClient, plan: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def low(_: float, seconds: float) -> list[LineUpTone]:  # the wires carry 4 kHz
        return [LineUpTone(1000.0, 0.0, seconds), LineUpTone(100.0, -10.0, seconds)]

    monkeypatch.setattr(_print_tones, "line_up_tones", low)
    reel = {"id": "reel-1", "facts": {"name": "Reel 1", "tails_out": True}}
    assert client.post("/api/book/reels", json=reel).status_code == 200
    begun = command(client, "t", "begin", kind="tones", plan=plan, seconds=2.0, printed_on="reel-1")
    assert begun.status_code == 200, begun.json()
    done = 0
    end_s = time.monotonic() + 4 * WAIT_S
    while not (state := dict(client.get("/api/state").json()))["lineup"]["closed"]:
        if state["ask"] is not None and state["ask"]["number"] > done:
            done = state["ask"]["number"]
            command(client, f"t{done}", "acknowledge", ask=done)
        assert time.monotonic() < end_s, state
        time.sleep(0.02)
    told = state["printed"]
    assert told["lineup"] == state["lineup"]["id"]
    assert told["tones"][0]["frequency_hz"] == 1000.0
    assert told["tones"][0]["seconds"] == 2.0
    read = told["tones"][0]["read_db"]
    assert all(abs(level) < 0.05 for level in read)  # wires give back what is sent
    now = client.get("/api/book/reels/reel-1").json()["thing"]["facts"]
    assert [tone["frequency_hz"] for tone in now["tones"]] == [1000.0, 100.0]
    assert (now["tones"][1]["level_db"], now["lineup"]) == (-10.0, state["lineup"]["id"])
    assert (now["name"], now["tails_out"]) == ("Reel 1", True)  # what was known of it stays
    refused = command(client, "u", "begin", kind="tones", plan=plan, seconds=1.0)
    assert refused.status_code == 400
    refused = command(client, "w", "begin", kind="tones", plan=plan, printed_on="nowhere")
    assert "no reel 'nowhere'" in refused.json()["error"]


REEL = {
    "fluxivity_nwb_per_m": 320,
    "equalisation": {"t1_us": None, "t2_us": 35},
    "tones": [{"frequency_hz": 1000}, {"frequency_hz": 10_000, "level_db": -10.0, "seconds": 20}],
}


@pytest.mark.parametrize(
    ("reel", "line"),
    [
        (None, "give `reel` with the command"),
        ({**REEL, "fluxivity_nwb_per_m": 5}, "10 to 2000 nWb/m, not 5"),
        ({**REEL, "tones": REEL["tones"][:1]}, "no tone from 8 to 12.5 kHz"),  # type: ignore[index]
        ({**REEL, "tones": REEL["tones"][1:]}, "no tone from 250 to 1100 Hz"),  # type: ignore[index]
        ({**REEL, "tones": []}, "reel.tones"),
        ({**REEL, "equalisation": {"t2_us": 0}}, "positive number of"),
        ({**REEL, "tones": [{"frequency_hz": 1e6}]}, "22 kHz"),
    ],
)
def test_a_label_that_cannot_be_is_refused(
    client: TestClient, plan: dict[str, Any], reel: dict[str, Any] | None, line: str
) -> None:
    refused = command(client, "r", "begin", kind="reel", plan=plan, reel=reel)
    assert refused.status_code == 400
    assert line in refused.json()["error"]
    assert client.get("/api/state").json()["lineup"] is None


def test_a_reel_from_elsewhere_begins_with_proving_it_safe(
    client: TestClient, plan: dict[str, Any]
) -> None:
    begun = command(client, "r", "begin", kind="reel", plan=plan, reel=REEL)
    assert begun.status_code == 200, begun.json()
    until(client, lambda state: state["ask"] is not None)
    state = client.get("/api/state").json()
    assert [s["name"] for s in state["stages"]] == ["prepare", "tones of the reel", "reproduce"]
    assert state["lineup"]["calibration_nwb_per_m"] == 320.0
    assert "scrap tape" in state["ask"]["text"]
    assert "shed" in state["stages"][1]["caution"]
