"""The bench on the local network: who is let in, who is here, who holds the controls."""

import asyncio
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import segno

from fluxbench.web._devices import Device, Devices
from fluxbench.web._hand import Hand
from fluxbench.web._pairing import Pairing

DESK = "desk"
AWAY_S = 5.0
"""A holder without an open page for so long has gone."""
PAGES_AT_MOST = 12
"""Open sockets of one device."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who calls: the desk, or a device that was let in."""

    id: str
    name: str

    @property
    def is_desk(self) -> bool:
        """Whether it is the bench's own computer."""
        return self.id == DESK


AT_DESK = Visitor(DESK, "the desk")


class Lan:
    """All of it belongs to the event loop of the server."""

    def __init__(
        self,
        addresses: tuple[str, ...],
        port: int,
        devices: Devices,
        pairing: Pairing | None = None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.addresses, self.port, self.devices = addresses, port, devices
        self.pairing = Pairing(clock_s) if pairing is None else pairing
        self.hand = Hand(DESK if devices.holder is None else devices.holder, clock_s)
        self.on_paired: Callable[[Visitor], None] = lambda _: None
        self.clock_s = clock_s
        self._open: Counter[str] = Counter()
        self._left_s: dict[str, float] = {}
        self._gone: dict[str, asyncio.Event] = {}
        self._watchers: set[asyncio.Event] = set()

    @property
    def cookie(self) -> str:
        """The cookie of a device: browsers keep them by host alone, whatever the port."""
        return f"fluxbench-{self.port}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """How the bench is called on the network, as browsers write it."""
        return tuple(a if self.port == 80 else f"{a}:{self.port}" for a in self.addresses)

    def visitor_of(self, secret: str | None) -> Visitor | None:
        """The device whose secret that is, None if it was not let in, or is no longer."""
        device = None if secret is None else self.devices.owner_of(secret)
        return None if device is None else Visitor(device.id, device.name)

    def let_in(self, name: str) -> tuple[Visitor, str]:
        """A new device and its secret."""
        device, secret = self.devices.add(name)
        who = Visitor(device.id, device.name)
        self.on_paired(who)
        self.tell()
        return who, secret

    def revoke(self, device: Device) -> None:
        """Let it in no longer, and close what it has open."""
        self.devices.remove(device.id)
        if self.hand.holder == device.id:
            self.hand.pass_to(DESK)
        if self.hand.ask is not None and self.hand.ask.by == device.id:
            self.hand.unwish()
        if device.id in self._gone:
            self._gone.pop(device.id).set()
        self.tell()

    def pass_to(self, who: str) -> None:
        """Another one holds the controls; written down, so that a restart leaves them there."""
        self.devices.hold(None if who == DESK else who)
        self.hand.pass_to(who)
        self.tell()

    # -- who is here -----------------------------------------------------------------------------

    @contextmanager
    def listening(self, who: Visitor) -> Iterator[asyncio.Event | None]:
        """While a socket is open: what is set when its owner is revoked; None: it has too many."""
        if not who.is_desk and self._open[who.id] >= PAGES_AT_MOST:
            yield None
            return
        self._open[who.id] += 1
        if self._open[who.id] == 1:
            self.tell()
        try:
            yield self._gone.setdefault(who.id, asyncio.Event())
        finally:
            self._open[who.id] -= 1
            if not self._open[who.id]:
                self._left_s[who.id] = self.clock_s()
                self.tell()
                asyncio.get_running_loop().call_later(AWAY_S, self.tell)

    def is_here(self, who: str) -> bool:
        """Whether it has a page open."""
        return self._open[who] > 0

    def is_away(self, who: str) -> bool:
        """Whether it has had no page open for a while."""
        left_s = self._left_s.get(who, float("-inf"))
        return not self.is_here(who) and self.clock_s() - left_s >= AWAY_S

    # -- what is told ----------------------------------------------------------------------------

    @contextmanager
    def watching(self) -> Iterator[asyncio.Event]:
        """While somebody wants to know: what is set whenever something has changed."""
        changed = asyncio.Event()
        self._watchers.add(changed)
        try:
            yield changed
        finally:
            self._watchers.discard(changed)

    def tell(self) -> None:
        """Something has changed."""
        for watcher in self._watchers:
            watcher.set()

    def name_of(self, who: str) -> str:
        """What people call it."""
        device = self.devices.named(who)
        return AT_DESK.name if who == DESK else "a device" if device is None else device.name

    def seen_by(self, who: Visitor) -> dict[str, Any]:
        """What one of them may know; the code and the list are the desk's alone."""
        hand, ask = self.hand, self.hand.ask
        told: dict[str, Any] = {
            "on": True,
            "you": {"id": who.id, "name": who.name, "desk": who.is_desk},
            "holder": {
                "id": hand.holder,
                "name": self.name_of(hand.holder),
                "here": not self.is_away(hand.holder),
            },
            "yours": hand.holder == who.id,
            "ask": None
            if ask is None
            else {"id": ask.by, "name": self.name_of(ask.by), "wait_s": round(hand.wait_s(), 1)},
        }
        return told | self._for_desk() if who.is_desk else told

    def _for_desk(self) -> dict[str, Any]:
        code = self.pairing.code
        return {
            "code": None if code is None else self._code(code),
            "wrong_codes": self.pairing.wrong,
            "addresses": [f"http://{host}" for host in self.hosts],
            "devices": [
                {
                    "id": one.id,
                    "name": one.name,
                    "paired_at": one.paired_at,
                    "here": self.is_here(one.id),
                    "holds": self.hand.holder == one.id,
                }
                for one in self.devices
            ],
        }

    def _code(self, code: str) -> dict[str, Any]:
        links = [
            {"address": f"http://{host}", "picture": picture_of(link_to(host, code))}
            for host in self.hosts
        ]
        return {"digits": code, "left_s": round(self.pairing.left_s, 1), "links": links}


def link_to(host: str, code: str) -> str:
    """Where a device pairs: the code stands behind `#`, which browsers never send."""
    return f"http://{host}/#pair={code}"


def picture_of(link: str) -> str:
    """A link as a QR code, dark on light whatever the page is: a data URI of an SVG."""
    made = segno.make(link, error="m", micro=False)
    return str(made.svg_data_uri(scale=8, border=4, dark="#131210", light="#fff"))
