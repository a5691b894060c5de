"""The bench on the local network, without a network: who gets in, who may write, what is told."""

import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send
from starlette.websockets import WebSocketDisconnect

from fluxbench.book import Book
from fluxbench.session import Session
from fluxbench.session import _session as session_module
from fluxbench.web import Devices, Lan, _calls, _door, _guard, build_app
from fluxbench.web._lan import DESK, PAGES_AT_MOST
from fluxbench.web._lan_calls import router
from fluxbench.web._pairing import Pairing
from tests.benches.inline_host import InlineHost
from tests.unit.web.test_pairing import Clock

OWN = "http://127.0.0.1:7355"
ADDRESS = "192.168.7.5:7355"
WAIT_S = 120.0  # for a machine that is busy with other things
SOCKETS = ("/api/sockets/events", "/api/sockets/meters", "/api/lan/socket")


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    """One for all tests, and unhurried: what is measured does not matter here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session_module, "EngineHost", InlineHost)
        patch.setattr(InlineHost, "pace_s", 0.05)
        patch.setattr(_calls, "ANSWERS_WITHIN_S", WAIT_S)
        book = Book(tmp_path_factory.mktemp("lan") / "book.db")
        yield Session(book, lambda silence: pytest.fail("no link here"), "wires", "1.2.3")
        book.close()


@pytest.fixture(scope="module")
def only_lan(tmp_path_factory: pytest.TempPathFactory, clock: Clock) -> Lan:
    file = tmp_path_factory.mktemp("lan") / "devices"
    return Lan(("192.168.7.5",), 7355, Devices(file), clock_s=clock)


@pytest.fixture(scope="module")
def only_desk(session: Session, only_lan: Lan) -> Iterator[TestClient]:
    before = set(threading.enumerate())
    app = build_app(session, Path("nowhere"), only_lan)
    with TestClient(app, base_url=OWN) as made:
        yield made
    ends_s = time.monotonic() + WAIT_S
    while left := set(threading.enumerate()) - before:
        assert time.monotonic() < ends_s, f"left running: {left}"
        time.sleep(0.01)


@pytest.fixture(autouse=True)
def no_thread_left() -> None:
    """The server's own threads live as long as it: looked at when it has ended."""


@pytest.fixture
def lan(only_lan: Lan, clock: Clock) -> Lan:
    """As after a start that nobody has called at for a long time."""
    clock.now_s += 100_000.0
    for device in list(only_lan.devices):
        only_lan.devices.remove(device.id)
    only_lan.hand.pass_to(DESK)
    only_lan.pairing = Pairing(clock)
    return only_lan


@pytest.fixture
def desk(only_desk: TestClient, lan: Lan) -> TestClient:
    return only_desk


@pytest.fixture
def stranger(desk: TestClient) -> TestClient:
    return away(desk)


@pytest.fixture
def tablet(desk: TestClient) -> TestClient:
    made = away(desk)
    assert pair(desk, made).status_code == 200
    return made


def away(desk: TestClient, address: str = ADDRESS) -> TestClient:
    """A device of the network, at the same bench."""
    made = TestClient(desk.app, base_url=f"http://{address}", client=("192.168.7.9", 50_000))
    made.portal = desk.portal
    return made


def pair(desk: TestClient, device: TestClient, name: str = "Tablet") -> Any:
    digits = desk.post("/api/lan/code", json={}).json()["code"]["digits"]
    return device.post("/api/lan/pair", json={"code": digits, "name": name})


def command(client: TestClient, key: str, name: str, **fields: Any) -> Any:
    """A command of its own: all tests of this module have one bench, which knows old ones."""
    body = {"id": f"{key}-{uuid4().hex}", "command": name, **fields}
    return client.post("/api/commands", json=body)


def own_id(client: TestClient) -> str:
    return str(client.get("/api/lan").json()["you"]["id"])


def opens(client: TestClient, path: str, headers: dict[str, str] | None = None) -> bool:
    url = f"ws://{client.base_url.netloc.decode()}{path}"
    try:
        with client.websocket_connect(url, headers=headers or {}) as socket:
            socket.receive_json()
            return True
    except WebSocketDisconnect:
        return False


def how_it_ends(socket: Any) -> int:
    """The code with which a socket is closed."""
    while (message := socket.receive())["type"] != "websocket.close":
        pass
    return int(message["code"])


def routes(desk: TestClient) -> list[tuple[str, str]]:
    """Every call of the bench, as its own description says."""
    described = desk.get("/api/openapi.json").json()["paths"]
    return [
        (method.upper(), path.replace("{", "").replace("}", ""))
        for path, methods in described.items()
        for method in methods
    ]


def got_through(desk: TestClient, device: TestClient) -> Iterator[str]:
    """All that somebody who may do nothing is not refused, of every socket and call there is."""
    for path in SOCKETS:
        if opens(device, path):
            yield path
    for method, path in routes(desk):
        answer = device.request(method, path, json={} if method == "POST" else None)
        if answer.status_code not in (401, 429) and path != "/api/lan/pair":
            yield f"{method} {path}: {answer.status_code}"


# Who gets in.


def test_who_is_not_paired_gets_nothing_but_the_page_that_asks(
    desk: TestClient, stranger: TestClient
) -> None:
    assert len(routes(desk)) > 40
    assert list(got_through(desk, stranger)) == []
    page = stranger.get("/")
    assert "Code from the desk" in page.text
    assert page.headers["referrer-policy"] == "no-referrer"
    assert stranger.get("/pair.js").status_code == 200
    assert stranger.get("/assets/anything.js").status_code == 401


def forgets_sockets(monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: a door that looks at calls alone."""
    plain = _door.Door.__call__

    async def call(
        door: _door.Door, scope: Scope, receive: Receive, send: Send, *, desk: bool
    ) -> None:
        await plain(door, scope, receive, send, desk=desk or scope["type"] == "websocket")

    monkeypatch.setattr(_door.Door, "__call__", call)


def takes_everybody_for_the_desk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted: where a call came in is not looked at."""
    monkeypatch.setattr(_guard, "_came_from_here", lambda scope: scope["server"] is not None)
    monkeypatch.setattr(_guard, "_is_own", lambda host: bool(host))


@pytest.mark.parametrize("planted", [forgets_sockets, takes_everybody_for_the_desk])
def test_a_careless_door_is_found(
    monkeypatch: pytest.MonkeyPatch, desk: TestClient, stranger: TestClient, planted: Any
) -> None:
    planted(monkeypatch)
    assert next(got_through(desk, stranger), None) is not None


def test_the_right_code_lets_in_once(desk: TestClient, tablet: TestClient, lan: Lan) -> None:
    assert tablet.get("/api/state").status_code == 200
    assert all(opens(tablet, path) for path in SOCKETS)
    listed = desk.get("/api/lan").json()
    assert [one["name"] for one in listed["devices"]] == ["Tablet"]
    assert listed["code"]["digits"] == lan.pairing.code


def test_the_cookie_is_out_of_reach(desk: TestClient, stranger: TestClient) -> None:
    told = pair(desk, stranger).headers["set-cookie"].lower()
    assert {"httponly", "samesite=strict", "path=/"} <= set(told.split("; "))
    assert told.startswith("fluxbench-7355=")


def test_a_code_that_was_used_is_a_wrong_one(desk: TestClient, stranger: TestClient) -> None:
    digits = desk.post("/api/lan/code", json={}).json()["code"]["digits"]
    assert away(desk).post("/api/lan/pair", json={"code": digits}).status_code == 200
    refused = stranger.post("/api/lan/pair", json={"code": digits})
    assert refused.status_code == 403
    assert refused.json()["error"] == "that is not the code that stands at the desk"
    assert stranger.get("/api/state").status_code == 401


def test_wrong_codes_have_to_wait(desk: TestClient, stranger: TestClient, clock: Clock) -> None:
    desk.post("/api/lan/code", json={})
    given = [stranger.post("/api/lan/pair", json={"code": "no"}) for _ in range(4)]
    assert [one.status_code for one in given] == [403, 403, 429, 429]
    assert given[2].headers["retry-after"] == "1"
    assert pair(desk, stranger).status_code == 200  # drawn anew by a person at the desk
    clock.now_s += 1.0


def test_knocking_has_an_end_for_each_client(desk: TestClient, stranger: TestClient) -> None:
    statuses = [stranger.post("/api/lan/pair", json={"code": ""}).status_code for _ in range(12)]
    assert statuses == [400] * 10 + [429] * 2
    other = away(desk)
    other._transport.client = ("192.168.7.10", 50_000)  # type: ignore[attr-defined]
    assert other.post("/api/lan/pair", json={"code": ""}).status_code == 400


def test_a_guessed_cookie_is_none(stranger: TestClient, lan: Lan, tablet: TestClient) -> None:
    digest = next(iter(lan.devices)).sha256
    for value in ("", "x" * 43, digest, own_id(tablet), '"', "a; b=c"):
        stranger.headers["cookie"] = f"{lan.cookie}={value}"
        assert stranger.get("/api/state").status_code == 401


def test_cookies_of_other_programs_do_not_matter(tablet: TestClient, lan: Lan) -> None:
    """Browsers keep cookies by host alone, and other programs' may be odd."""
    mine = f"{lan.cookie}={tablet.cookies[lan.cookie]}"
    tablet.cookies.clear()
    for others in ("a[b]={1,2}; ", "fluxbench-8080=x; ", '"; ', ""):
        tablet.headers["cookie"] = others + mine
        assert tablet.get("/api/state").status_code == 200, others


FOREIGN = [
    {"host": "127.0.0.1:7355"},
    {"host": "localhost:7355"},
    {"host": "192.168.7.5"},
    {"host": "192.168.7.5:80"},
    {"host": "bench.example:7355"},  # a name that was made to lead here
    {"host": "192.168.7.5:7355@bench.example"},
    {"host": ""},
    {"origin": "http://page.example"},
    {"origin": "null"},
    {"origin": "http://192.168.7.5:8000"},
    {"origin": "https://192.168.7.5:7355"},
    {"origin": "http://127.0.0.1:7355"},
]


def test_not_even_a_paired_device_by_another_name_or_page(tablet: TestClient) -> None:
    for headers in FOREIGN:
        for path in ("/", "/api/state", "/api/lan"):
            assert tablet.get(path, headers=headers).status_code == 403, headers
        for path in SOCKETS:
            assert not opens(tablet, path, headers), headers
        silence = {"id": "a", "command": "silence", "on": True}
        refused = tablet.post("/api/commands", json=silence, headers=headers)
        assert refused.status_code == 403, headers
    assert opens(tablet, SOCKETS[0], {"origin": f"http://{ADDRESS}"})


def test_the_desk_is_not_called_by_the_address_of_the_network(desk: TestClient) -> None:
    assert desk.get("/api/state", headers={"host": ADDRESS}).status_code == 403


def test_who_is_revoked_is_out_at_once(desk: TestClient, tablet: TestClient) -> None:
    key = own_id(tablet)
    with (
        tablet.websocket_connect(f"ws://{ADDRESS}/api/sockets/events") as events,
        tablet.websocket_connect(f"ws://{ADDRESS}/api/lan/socket") as told,
    ):
        events.receive_json()
        told.receive_json()
        answer = desk.post(f"/api/lan/devices/{key}/revoke", json={}).json()
        assert answer["devices"] == []
        for socket in (events, told):
            assert how_it_ends(socket) == 1008
    assert tablet.get("/api/state").status_code == 401
    assert not opens(tablet, SOCKETS[0])


def test_a_device_revokes_itself_and_nobody_else(desk: TestClient, tablet: TestClient) -> None:
    other = away(desk)
    pair(desk, other, "Other")
    assert tablet.post(f"/api/lan/devices/{own_id(other)}/revoke", json={}).status_code == 403
    assert tablet.post(f"/api/lan/devices/{own_id(tablet)}/revoke", json={}).status_code == 200
    assert tablet.get("/api/state").status_code == 401


@pytest.mark.parametrize("path", ["code", "close"])
def test_codes_are_drawn_at_the_desk_alone(tablet: TestClient, path: str) -> None:
    assert tablet.post(f"/api/lan/{path}", json={}).status_code == 403
    assert {"code", "devices", "addresses"}.isdisjoint(tablet.get("/api/lan").json())


def test_sockets_of_a_device_have_an_end(desk: TestClient, tablet: TestClient, lan: Lan) -> None:
    lan._open[own_id(tablet)] = PAGES_AT_MOST
    assert not opens(tablet, "/api/sockets/meters")
    assert opens(desk, "/api/sockets/meters")


def test_without_lan_there_is_no_such_thing(
    desk: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = TestClient(build_app(desk.app.state.session, Path("nowhere")), base_url=OWN)
    assert client.get("/api/lan").json() == {"on": False}
    posts = [r.path for r in router.routes if "POST" in getattr(r, "methods", ())]  # type: ignore[attr-defined]
    assert len(posts) == 8
    for path in posts:
        body = {"code": "1"} if path.endswith("/pair") else {}
        assert client.post(path.replace("{device}", "a"), json=body).status_code == 404


# Who may write.


def test_whoever_watches_sees_everything_and_moves_nothing(
    desk: TestClient, tablet: TestClient
) -> None:
    for method, path in routes(desk):
        if method == "POST" and not path.startswith("/api/lan/"):
            refused = tablet.post(path, json={})
            assert refused.status_code == 403, path
            assert refused.json()["error"] == (
                "the desk holds the controls; ask for them, or take them at the desk"
            )
    assert tablet.get("/api/lan").json()["yours"] is False


def test_silence_is_everybodys_and_sending_again_is_not(
    desk: TestClient, tablet: TestClient
) -> None:
    assert command(tablet, "a", "silence", on=True).status_code == 200
    assert desk.get("/api/state").json()["bench"]["silenced"] is True
    assert command(tablet, "b", "silence", on=False).status_code == 403
    assert command(desk, "c", "silence", on=False).status_code == 200
    for body in ('{"command": "silence", "on": 1}', "[]", "{", '"silence"'):
        headers = {"content-type": "application/json"}
        assert tablet.post("/api/commands", content=body, headers=headers).status_code == 403


def test_one_writes_and_the_desk_takes_it_back(desk: TestClient, tablet: TestClient) -> None:
    with desk.websocket_connect("ws://127.0.0.1:7355/api/lan/socket") as at_desk:
        at_desk.receive_json()
        assert tablet.post("/api/lan/take", json={}).status_code == 403  # the desk is there
        assert tablet.post("/api/lan/ask", json={}).json()["ask"]["name"] == "Tablet"
        assert desk.post("/api/lan/give", json={}).json()["holder"]["name"] == "Tablet"
    assert command(desk, "a", "silence", on=False).status_code == 403
    assert command(tablet, "b", "silence", on=False).status_code == 200
    with tablet.websocket_connect(f"ws://{ADDRESS}/api/lan/socket") as on_tablet:
        assert on_tablet.receive_json()["yours"] is True
        assert desk.post("/api/lan/take", json={}).json()["yours"] is True
        told = on_tablet.receive_json()
        assert (told["yours"], told["holder"]["name"]) == (False, "the desk")
    assert command(tablet, "c", "silence", on=False).status_code == 403


def test_who_is_not_answered_may_take(desk: TestClient, tablet: TestClient, clock: Clock) -> None:
    with desk.websocket_connect("ws://127.0.0.1:7355/api/lan/socket") as at_desk:
        at_desk.receive_json()
        tablet.post("/api/lan/ask", json={})
        clock.now_s += 14.0
        tablet.post("/api/lan/ask", json={})  # asking again does not begin anew
        assert tablet.post("/api/lan/take", json={}).status_code == 403
        clock.now_s += 1.0
        assert tablet.post("/api/lan/take", json={}).json()["yours"] is True


def test_the_holder_keeps_them(desk: TestClient, tablet: TestClient, clock: Clock) -> None:
    with desk.websocket_connect("ws://127.0.0.1:7355/api/lan/socket") as at_desk:
        at_desk.receive_json()
        tablet.post("/api/lan/ask", json={})
        assert desk.post("/api/lan/keep", json={}).json()["ask"] is None
        clock.now_s += 60.0
        assert tablet.post("/api/lan/take", json={}).status_code == 403


def test_a_holder_that_went_away_holds_nobody_up(
    desk: TestClient, tablet: TestClient, clock: Clock
) -> None:
    with desk.websocket_connect("ws://127.0.0.1:7355/api/lan/socket") as at_desk:
        at_desk.receive_json()
    assert tablet.post("/api/lan/take", json={}).status_code == 403  # it may be a reload
    clock.now_s += 5.0
    assert tablet.post("/api/lan/take", json={}).json()["yours"] is True


def test_a_revoked_holder_leaves_the_controls_at_the_desk(
    desk: TestClient, tablet: TestClient
) -> None:
    tablet.post("/api/lan/take", json={})
    told = desk.post(f"/api/lan/devices/{own_id(tablet)}/revoke", json={}).json()
    assert told["yours"] is True
    assert command(desk, "a", "silence", on=False).status_code == 200


def test_a_restart_leaves_the_controls_where_they_were(tablet: TestClient, lan: Lan) -> None:
    tablet.post("/api/lan/take", json={})
    again = Lan(lan.addresses, lan.port, Devices(lan.devices._file))
    assert again.hand.holder == own_id(tablet)


def test_two_do_not_ask_at_once(desk: TestClient, tablet: TestClient) -> None:
    other = away(desk)
    pair(desk, other, "Other")
    tablet.post("/api/lan/ask", json={})
    assert other.post("/api/lan/ask", json={}).status_code == 409
    assert other.post("/api/lan/keep", json={}).status_code == 403
    assert tablet.post("/api/lan/keep", json={}).status_code == 200
    assert other.post("/api/lan/ask", json={}).status_code == 200


def test_what_was_given_up_is_not_done_later_by_the_former_hand(
    desk: TestClient, tablet: TestClient, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stuck session answers 503; when it goes on, the controls may be somebody else's."""
    stuck, let_go = threading.Event(), threading.Event()
    keep = session._keep_engine

    def waits() -> None:
        stuck.set()
        let_go.wait(WAIT_S)
        keep()

    seen: list[str] = []
    carry_out = session._carry_out

    def noted(waiting: Any) -> None:
        seen.append(waiting.command.id.split("-")[0])
        carry_out(waiting)

    monkeypatch.setattr(session, "_carry_out", noted)
    monkeypatch.setattr(session, "_keep_engine", waits)
    monkeypatch.setattr(_calls, "ANSWERS_WITHIN_S", 0.05)
    assert stuck.wait(WAIT_S)
    assert command(desk, "former", "silence", on=False).status_code == 503
    assert command(desk, "focus", "focus", track=1).status_code == 503
    assert tablet.post("/api/lan/take", json={}).status_code == 200
    monkeypatch.setattr(_calls, "ANSWERS_WITHIN_S", WAIT_S)
    let_go.set()
    assert command(tablet, "after", "silence", on=True).status_code == 200
    assert "focus" not in seen
    assert "after" in seen


def test_writes_of_a_device_have_an_end_and_silence_has_its_own(
    desk: TestClient, tablet: TestClient, lan: Lan
) -> None:
    tablet.post("/api/lan/take", json={})
    statuses = [
        tablet.post("/api/deck/locate", json={"section": 1}).status_code for _ in range(120)
    ]
    assert 429 in statuses
    assert statuses.index(429) >= 79
    assert command(tablet, "hush", "silence", on=True).status_code == 200


def test_bodies_that_are_too_long_or_lie_are_refused(tablet: TestClient) -> None:
    for path in ("/api/commands", "/api/lan/pair"):
        assert tablet.post(path, json={"x": "y" * 300_000}).status_code == 413
    headers = {"content-type": "application/json", "transfer-encoding": "chunked"}
    chunked = tablet.post("/api/commands", content=iter([b"{}"]), headers=headers)
    assert chunked.status_code == 413


def test_everything_is_told_with_its_headers(stranger: TestClient, tablet: TestClient) -> None:
    """Also what is refused before it reaches the bench."""
    answers = [
        stranger.get("/api/state"),
        stranger.get("/"),
        tablet.get("/api/state"),
        tablet.get("/api/state", headers={"host": "bench.example"}),
        tablet.post("/api/commands", json={}),
    ]
    for answer in answers:
        headers = answer.headers
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "unsafe-eval" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in headers
    for answer in (answers[0], answers[2], answers[3], answers[4]):
        assert answer.headers["cache-control"] == "no-store"


def test_what_a_device_is_told_holds_no_secret(
    desk: TestClient, tablet: TestClient, lan: Lan
) -> None:
    secret = str(tablet.cookies[lan.cookie])
    for client in (desk, tablet):
        for path in ("/api/lan", "/api/state", "/api/meters"):
            text = client.get(path).text
            assert secret not in text
            assert next(iter(lan.devices)).sha256 not in text
    assert str(lan.pairing.code) not in json.dumps(tablet.get("/api/lan").json())


def test_the_device_hears_of_changes_at_once(desk: TestClient, tablet: TestClient) -> None:
    with tablet.websocket_connect(f"ws://{ADDRESS}/api/lan/socket") as socket:
        socket.receive_json()
        began_s = time.monotonic()
        desk.post("/api/lan/take", json={})
        desk.post("/api/lan/ask", json={})
        tablet.post("/api/lan/ask", json={})
        while socket.receive_json()["ask"] is None:
            assert time.monotonic() - began_s < WAIT_S
