"""Who works with a bench on a network of its own: somebody at the desk, somebody with a tablet."""

import json
import os
import re
import signal
import subprocess
import time
from contextlib import suppress
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any

from tests.network.rooms import DESK, Room, python

ROOT = Path(__file__).parents[2]
PATIENCE_S = 240.0  # for a machine that is busy with other things
READY = "(Ctrl-C ends it)"


class Person:
    """A client in a room, which calls the bench by `host` and shows the cookies that it got."""

    def __init__(self, room: Room, address: str, port: int) -> None:
        self.address, self.port = address, port
        self.cookies: dict[str, str] = {}
        self._process = subprocess.Popen(
            room.inside(*python("-m", "tests.network.visitor")),
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    @property
    def host(self) -> str:
        return f"{self.address}:{self.port}"

    def _do(self, **told: Any) -> dict[str, Any]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(told) + "\n")
        self._process.stdin.flush()
        return dict(json.loads(self._process.stdout.readline()))

    def _headers(self, more: dict[str, str]) -> dict[str, str]:
        headers = {"Host": self.host}
        if self.cookies:
            headers["Cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        return headers | more

    def get(self, path: str, *, within_s: float = PATIENCE_S, **headers: str) -> dict[str, Any]:
        return self._do(
            do="http", method="GET", path=path, body=None, within_s=within_s,
            address=self.address, port=self.port, headers=self._headers(headers),
        )  # fmt: skip

    def post(self, path: str, body: Any, **headers: str) -> dict[str, Any]:
        text = json.dumps(body)
        told = {"Content-Type": "application/json", "Content-Length": str(len(text.encode()))}
        answer = self._do(
            do="http", method="POST", path=path, body=text, within_s=PATIENCE_S,
            address=self.address, port=self.port, headers=self._headers(told | headers),
        )  # fmt: skip
        given: SimpleCookie = SimpleCookie(answer["headers"].get("set-cookie", ""))
        self.cookies |= {name: one.value for name, one in given.items()}
        return answer

    def command(self, key: str, name: str, **fields: Any) -> int:
        body = {"id": key, "command": name, **fields}
        return int(self.post("/api/commands", body)["status"])

    def open(self, path: str, name: str = "", **headers: str) -> int:
        return int(
            self._do(
                do="open", name=name or path, path=path, address=self.address, port=self.port,
                headers=self._headers(headers),
            )["status"]
        )  # fmt: skip

    def hear(self, name: str) -> dict[str, Any]:
        return dict(self._do(do="hear", name=name)["message"])

    def until_closed(self, name: str, within_s: float = PATIENCE_S) -> dict[str, Any]:
        return self._do(do="until_closed", name=name, within_s=within_s)

    def close(self) -> None:
        self._process.communicate(timeout=PATIENCE_S)


@dataclass
class Bench:
    """`fluxbench serve` in the desk's room; `log` has all that it said."""

    room: Room
    book: Path
    log: Path
    options: tuple[str, ...] = ("--lan",)
    starter: tuple[str, ...] = ("-m", "fluxbench")
    port: int = 0
    starts: int = field(default=0, init=False)
    process: "subprocess.Popen[bytes] | None" = field(default=None, init=False)

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.room.inside(
                    *python(
                        *self.starter, "serve", "--no-browser", "--tracks", "1",
                        "--book", str(self.book), "--port", str(self.port), *self.options,
                    )
                ),
                cwd=ROOT, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
            )  # fmt: skip
        ends_s = time.monotonic() + PATIENCE_S
        while (said := self.log.read_text().count(READY)) <= self.starts:
            assert self.process.poll() is None, self.log.read_text()
            assert time.monotonic() < ends_s
            time.sleep(0.02)
        self.starts = said
        found = re.search(r"http://127.0.0.1:(\d+)", self.log.read_text())
        assert found is not None
        self.port = int(found[1])

    def end(self) -> None:
        """End it and its practice deck."""
        if self.process is None:
            return
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(PATIENCE_S)
        assert code == 0 or not self.starts, self.log.read_text()
        note = self.book.with_name(self.book.name + ".deck-runs")
        if note.exists():
            with suppress(ProcessLookupError):
                os.kill(int(json.loads(note.read_text())["process"]), signal.SIGTERM)


def pair(desk: Person, tablet: Person, name: str) -> str:
    """Draw a code at the desk and give it on the tablet; the new device's id."""
    drawn = json.loads(desk.post("/api/lan/code", {})["text"])
    answer = tablet.post("/api/lan/pair", {"code": drawn["code"]["digits"], "name": name})
    assert answer["status"] == 200, answer
    return str(json.loads(answer["text"])["id"])


__all__ = ["DESK", "Bench", "Person", "pair"]
