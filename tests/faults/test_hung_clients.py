"""Clients that are connected and never read, or die, and sheets being set, beside a line-up.

4 s; with FLUXBENCH_SLOW_MINUTES=10 so many minutes. What waits for a client is bounded, memory does
not grow, a client that reads gets every event in order, those that hang are let go, and the session
goes round as before. The planted bugs are an audience without a bound, and one that is waited for.
"""

import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from websockets.sync.client import connect

from fluxbench.session import Command, Session
from fluxbench.web import _sockets, build_app
from fluxbench.web._serve import config_of, listen_on
from tests.benches.counting import TenASecond
from tests.benches.lateness import Lateness
from tests.benches.written_lineup import shown
from tests.faults.inline_bench import WAIT_S, begun, opened, put_wires_in, until

MINUTES = float(os.environ.get("FLUXBENCH_SLOW_MINUTES", str(4 / 60)))
LONG = MINUTES > 1.0
LONGEST_ROUND_S = 0.7 if LONG else 3.0  # a suite may be busy
"""Below what the engine would take for the death of the session."""
WAITED_FOR_S = 12.0
"""So long does the planted bug wait, whoever looks on."""
GROWN_MB = 10.0 if LONG else 30.0
"""Of which the clients' own connections are some 5."""
WAITING = 100
"""Messages that wait for a client at most, here, so that a short run comes to it."""
CHATTER_HZ = 500
"""Messages a second beside the readings, 1 kB each, so that what the system keeps is soon full."""
KINDS = ("events?since=0", "events", "meters", "left")
RENEWED_S = 3.0
BEHIND = 40
"""So many messages may one who reads be behind before the chatter waits for it: it is not to be cut
off where its thread gets no time."""
WARM_SHEETS = 200 if LONG else 15
"""What Typst keeps of its work grows by some 150 MB over the first thirty sheets, by 20 more up to
the 150th, whether it is the same sheet or another, and then no more."""

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 120 * MINUTES)]


class OneASecond(TenASecond):
    """Takes a reading a second, oftener than a hand: what a line-up keeps of each is not meant."""

    def _one(self, number: int) -> Any:
        for _ in range(9):
            yield
        return (yield from super()._one(number))


class Rounds:
    """How long the session's thread took to go round, at most, and how often it did."""

    def __init__(self, session: Session) -> None:
        self.count, self._longest_s, self._last_s = 0, 0.0, 0.0
        self._went_round = session._watch.went_round
        session._watch.went_round = self._count  # type: ignore[method-assign]

    @property
    def longest_s(self) -> float:
        """That of now counts as well."""
        last_s = self._last_s
        return max(self._longest_s, time.monotonic() - last_s if last_s else 0.0)

    def _count(self) -> None:
        self._longest_s, self._last_s = self.longest_s, time.monotonic()
        self.count += 1
        self._went_round()


class Looking:
    """Looks at the audience all the time: how much waits for a client, and who was too slow."""

    def __init__(self, audience: Any) -> None:
        self.most, self.cut_off = 0, False
        self._audience = audience
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._over.wait(0.005):
            for one in list(self._audience.listeners):
                self.most = max(self.most, len(one.waiting))
                self.cut_off |= one.too_slow


class Chatter:
    """Tells all clients something, again and again, as the session's thread does."""

    def __init__(self, session: Session, reader: "Reader") -> None:
        self._session, self._reader = session, reader
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._talk)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join(10.0)

    def _talk(self) -> None:
        message = {"what": "bench", "seq": 0, "set": {"said": "x" * 1000}}
        said = 0
        while not self._over.wait(1.0 / CHATTER_HZ):
            if self._reader.there.is_set() and said - self._reader.heard < BEHIND:
                self._session.ledger.on_event(message)
                said += 1


class Reader:
    """A client that reads all events."""

    def __init__(self, address: str) -> None:
        self.seqs: list[int] = []
        self.heard = 0
        self.there = threading.Event()
        self._address = address
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join(10.0)

    def _read(self) -> None:
        url = self._address + "/api/sockets/events?since=0"
        with connect(url, open_timeout=WAIT_S, close_timeout=WAIT_S) as told:
            while not self._over.is_set():
                try:
                    message = json.loads(told.recv(timeout=0.1))
                except TimeoutError:
                    continue
                if message["what"] not in ("state", "bench"):
                    self.seqs.append(message["seq"])
                self.heard += "said" in message.get("set", ())
                if message["what"] == "state":
                    self.there.set()


def hung(port: int, path: str) -> socket.socket:
    """A client that asks for a socket and never reads from it."""
    client = socket.socket()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    client.connect(("127.0.0.1", port))
    client.sendall(
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\n"
        "Connection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
        "Sec-WebSocket-Version: 13\r\n\r\n".encode()
    )
    return client


@contextmanager
def served(session: Session, change: Callable[[Any], None]) -> Iterator[tuple[int, Any]]:
    """The bench on a port of this machine, in this process; its port and its audience."""
    app = build_app(session, Path("nowhere"))
    change(app.state.audience)
    server, listener = uvicorn.Server(config_of(app)), listen_on(0)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 8192)
    thread = threading.Thread(target=server.run, args=([listener],))
    thread.start()
    try:
        until(lambda: server.started)
        yield listener.getsockname()[1], app.state.audience
    finally:
        server.should_exit = True
        thread.join(WAIT_S)
        listener.close()


def memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


class Crowd:
    """Clients of every kind that hang; new ones every few seconds, since those are let go."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._clients: list[socket.socket] = []
        self._renewed_s = 0.0

    def renew(self) -> None:
        if time.monotonic() - self._renewed_s < RENEWED_S:
            return
        self.close()
        self._clients = [hung(self._port, f"/api/sockets/{kind}") for kind in KINDS]
        hung(self._port, "/api/sockets/events").close()  # and one that dies at once
        self._renewed_s = time.monotonic()

    def close(self) -> None:
        for client in self._clients:
            client.close()
        self._clients = []


@contextmanager
def lining_up(book: Path, change: Callable[[Any], None]) -> Iterator[tuple[Session, int, Any]]:
    """A bench in the middle of a line-up, its port and its audience."""
    with opened(book) as session, served(session, change) as (port, audience):
        session.submit(Command("b", "begin", begun(shown(2)))).result(60.0)
        until(lambda: session.state["ask"] is not None)
        session.submit(Command("a", "acknowledge", {"ask": 1})).result(60.0)
        until(lambda: len(session.state["taken"]) > 0)
        yield session, port, audience


def run(
    book: Path,
    seconds: float,
    change: Callable[[Any], None],
    lateness: Lateness,
    sheets_before: int = 1,
) -> str:
    with lining_up(book, change) as (session, port, audience):
        lineup = session.state["lineup"]["id"]
        for _ in range(sheets_before):
            set_sheet(port, lineup)
        rounds, reader = Rounds(session), Reader(f"ws://127.0.0.1:{port}")
        chatter, crowd, looking = Chatter(session, reader), Crowd(port), Looking(audience)
        before_mb, sheets, late_s = memory_mb(), 0, lateness.late_s
        end_s = time.monotonic() + seconds
        try:
            # On a slow machine it takes a while until connections are full.
            while time.monotonic() < end_s or (
                not (looking.cut_off and rounds.count > 2) and time.monotonic() < end_s + WAIT_S
            ):
                crowd.renew()
                set_sheet(port, lineup)
                sheets += 1
                assert looking.most <= WAITING, "what waits for a client has no bound"
                longest_s = LONGEST_ROUND_S + lateness.late_s - late_s
                assert rounds.longest_s < longest_s, "the session waits for its clients"
            grown_mb = memory_mb() - before_mb
            assert looking.cut_off, "no client was too slow: the harness tries nothing"
            assert grown_mb < GROWN_MB, f"memory grows: {grown_mb:.1f} MB"
            last = session.state["seq"]
            until(lambda: bool(reader.seqs) and reader.seqs[-1] >= last)
            seqs = list(reader.seqs)
            assert seqs == list(range(1, len(seqs) + 1)), "events are missing, or not in order"
            until(lambda: len(audience.listeners) == 1)  # those that hang are let go
        finally:
            looking.close()
            chatter.close()
            reader.close()
            crowd.close()
        return (
            f"{seconds:.0f} s, {sheets} sheets, {len(seqs)} events in order, "
            f"{grown_mb:+.1f} MB, once round in {rounds.longest_s:.2f} s at most"
        )


def set_sheet(port: int, lineup: str) -> None:
    """Have a sheet set, as a browser does."""
    with socket.create_connection(("127.0.0.1", port)) as asks:
        asks.sendall(
            f"GET /api/lineups/{lineup}/sheet HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
            "Connection: close\r\n\r\n".encode()
        )
        answer = b"".join(iter(lambda: asks.recv(65_536), b""))
    assert answer.startswith(b"HTTP/1.1 200 ")
    assert b"%PDF-" in answer


@pytest.fixture(autouse=True)
def wires(monkeypatch: pytest.MonkeyPatch) -> None:
    put_wires_in(monkeypatch, OneASecond)
    monkeypatch.setattr(_sockets, "WAITING", WAITING)
    monkeypatch.setattr(_sockets, "TAKES_WITHIN_S", 2.0)


def no_change(audience: Any) -> None:
    """As it is made."""


def test_clients_that_hang_cost_nobody_anything(tmp_path: Path, lateness: Lateness) -> None:
    print(run(tmp_path / "book.db", 60.0 * MINUTES, no_change, lateness, WARM_SHEETS))


def without_a_bound(audience: Any) -> None:
    """The planted bug: whatever is not taken is kept."""

    def spread(message: Any) -> None:
        for listener in audience.listeners:
            listener.waiting.append(message)
            listener.woken.set()

    audience._spread = spread


def that_waits(audience: Any) -> None:
    """The planted bug: who looks on is waited for."""
    audience.session.on_meters = lambda: time.sleep(WAITED_FOR_S if audience.watchers else 0.0)


@pytest.mark.parametrize(
    ("planted", "found"),
    [(without_a_bound, "has no bound"), (that_waits, "waits for its clients")],
)
def test_the_harness_finds(
    tmp_path: Path, lateness: Lateness, planted: Callable[[Any], None], found: str
) -> None:
    with pytest.raises(AssertionError, match=found):
        run(tmp_path / "book.db", 2.0 * WAITED_FOR_S, planted, lateness)
