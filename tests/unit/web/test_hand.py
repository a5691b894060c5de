"""One hand on the controls: however writes and takings fall, two hands never work at once."""

import asyncio
import json
import random
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from starlette.types import Message, Receive, Scope, Send

from fluxbench.web._devices import Devices
from fluxbench.web._door import WHO
from fluxbench.web._guard import Guard
from fluxbench.web._hand import Hand
from fluxbench.web._lan import DESK, Lan

ADDRESS, PORT = "192.168.7.5", 7355


class Works:
    """Stands for the application: each write takes a while, and it notes who works when."""

    def __init__(self, lan: Lan, chance: random.Random) -> None:
        self._lan, self._chance = lan, chance
        self._busy: list[str] = []
        self.done = 0
        self.two_hands: list[set[str]] = []
        self.not_in_charge: list[str] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        who = scope[WHO].id
        await receive()
        if self._lan.hand.holder != who:
            self.not_in_charge.append(who)
        self._busy.append(who)
        if len(set(self._busy)) > 1:
            self.two_hands.append(set(self._busy))
        await asyncio.sleep(self._chance.random() * 0.003)
        self._busy.remove(who)
        self.done += 1
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})


async def write(guard: Guard, cookie: str | None, body: dict[str, Any]) -> int:
    """What somebody who writes is answered; without a cookie it is the desk."""
    content = json.dumps(body).encode()
    at = "127.0.0.1" if cookie is None else ADDRESS
    headers = {
        "host": f"{at}:{PORT}",
        "content-type": "application/json",
        "content-length": f"{len(content)}",
        "cookie": cookie or "",
    }
    answers: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": content}

    async def send(message: Message) -> None:
        answers.append(message)

    await guard(
        {
            "type": "http", "method": "POST", "path": "/api/commands", "server": (at, PORT),
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        },
        receive, send,
    )  # fmt: skip
    return int(answers[0]["status"])


async def a_busy_hour(lan: Lan, seed: int) -> tuple[Works, list[int]]:
    """The desk and two devices write all the time, and take the controls from each other."""
    chance = random.Random(seed)
    works = Works(lan, chance)
    guard = Guard(works, lan)
    people: dict[str, str | None] = {DESK: None}
    for name in ("one", "two"):
        who, secret = lan.let_in(name)
        people[who.id] = f"{lan.cookie}={secret}"
    statuses: list[int] = []

    async def somebody(cookie: str | None) -> None:
        for number in range(40):
            body = {"id": f"{number}", "command": "focus", "track": 1}
            statuses.append(await write(guard, cookie, body))
            await asyncio.sleep(chance.random() * 0.002)

    async def hands_change() -> None:
        for _ in range(60):
            lan.hand.pass_to(chance.choice(list(people)))
            await asyncio.sleep(chance.random() * 0.004)

    await asyncio.gather(*(somebody(c) for c in people.values() for _ in range(2)), hands_change())
    return works, statuses


@pytest.fixture
def lan(tmp_path: Path) -> Lan:
    return Lan((ADDRESS,), PORT, Devices(tmp_path / "devices"))


@pytest.mark.parametrize("seed", range(3))
def test_two_hands_never_work_at_once(lan: Lan, seed: int) -> None:
    works, statuses = asyncio.run(a_busy_hour(lan, seed))
    assert (works.two_hands, works.not_in_charge) == ([], [])
    assert len(statuses) == 240
    assert set(statuses) <= {200, 403}
    assert statuses.count(200) == works.done >= 40
    assert statuses.count(403) >= 40


class Hasty(Hand):
    """Planted: a new holder does not wait for what the one before has begun."""

    async def _turn_of(self, who: str) -> bool:
        return who == self.holder


class Blind(Hand):
    """Planted: everybody may write."""

    @asynccontextmanager
    async def writing(self, who: str) -> AsyncIterator[bool]:
        yield True


@pytest.mark.parametrize("planted", [Hasty, Blind])
def test_a_careless_hand_is_found(lan: Lan, planted: type[Hand]) -> None:
    lan.hand = planted(DESK)
    works, _ = asyncio.run(a_busy_hour(lan, 1))
    assert works.two_hands


def test_a_hand_that_was_passed_on_while_it_waited_may_not(lan: Lan) -> None:
    async def story() -> list[bool]:
        hand, may = Hand("a"), []
        async with hand.writing("a") as first:
            hand.pass_to("b")

            async def late() -> None:
                async with hand.writing("b") as its:
                    may.append(its)

            waiting = asyncio.create_task(late())
            await asyncio.sleep(0)
            hand.pass_to("c")
            may.append(first)
        await waiting
        return may

    assert asyncio.run(story()) == [True, False]


def test_a_write_that_never_ends_does_not_let_another_begin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("fluxbench.web._hand.SETTLES_WITHIN_S", 0.02)

    async def story() -> bool:
        hand = Hand("a")
        async with hand.writing("a"):
            hand.pass_to("b")
            async with hand.writing("b") as may:
                return may

    assert asyncio.run(story()) is False
