"""The wall clock is set an hour back or forth, or to winter time, while a line-up runs.

3 benches with three line-ups each; with FLUXBENCH_CLOCKS=20 as many as that. Order comes from the
journal's numbers and durations from frames: neither turns round, and no sheet ends before it began.
The planted bug is a bench that goes on with the line-up that its clock says is the newest.
"""

import os
import random
import re
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from fluxbench.book import Book
from fluxbench.book._tables import LINEUPS
from fluxbench.history import drift_of, trails_from
from fluxbench.lineup import LineUp
from fluxbench.session import Command, Session
from fluxbench.session import _pages as pages_module
from fluxbench.sheets import contents_of
from fluxbench.sheets._told import told as sheet_told
from tests.benches.written_lineup import shown
from tests.faults.inline_bench import begun, opened, put_wires_in, until

BENCHES = int(os.environ.get("FLUXBENCH_CLOCKS", "3"))
LINE_UPS = 3
WINTER = datetime(2026, 10, 25, 0, 58, tzinfo=UTC)
"""Two minutes before clocks go back in Central Europe (EU Directive 2000/84/EC: 01:00 UTC)."""

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 30 * BENCHES)]


BEGUN_S = time.monotonic()


class Clock:
    """Takes the place of `datetime` where the session looks at the wall clock; it can be set."""

    ahead = timedelta()

    @classmethod
    def now(cls, _zone: tzinfo) -> datetime:
        return WINTER + timedelta(seconds=time.monotonic() - BEGUN_S) + cls.ahead


class Short(LineUp):
    """Reads two tracks as found, asks, reads them as left, and ends."""

    def _run(self) -> Any:
        if not self._recalling:
            yield
        self.stage("reproduce")
        self.send((1000.0, -6.0))
        for kind in ("as found", "as left"):
            for _ in range(3):
                yield from self.step("reading", self._one())
            off_db = [0.5, -0.5] if kind == "as found" else [0.0, 0.0]
            self.write(kind, trimmer="reproduce_level", reading_db=off_db,
                       target_db=[0.0, 0.0], error_db=[0.01, 0.01])  # fmt: skip
            yield from self.ask("transport", "play", state="play", ready=[])

    def _one(self) -> Any:
        point = yield
        return float(point.level_db[0, 0])


def step(chance: random.Random) -> None:
    Clock.ahead += timedelta(hours=chance.choice((-1, 1)))


def run(book: Path, seed: int, change: Callable[[Session], None]) -> None:
    """Line-ups one after the other, the clock set between and in the midst of them, restarts."""
    chance = random.Random(seed)
    Clock.ahead = timedelta()
    ids: list[str] = []
    for number in range(LINE_UPS):
        with opened(book, change) as session:
            session.start()
            try:
                session.submit(Command(f"b{number}", "begin", begun(shown(2)))).result(60.0)
                until(lambda: session.state["ask"] is not None)
                ids.append(session.state["lineup"]["id"])
                Clock.ahead += timedelta(hours=-1) if number == 1 else timedelta()
                step(chance)
            finally:
                session.close()
        step(chance)
        with opened(book, change) as session:
            session.start()
            try:
                assert session.state["lineup"]["id"] == ids[-1], "another line-up is gone on with"
                go_on(session, f"a{number}", chance)
            finally:
                session.close()
    check(book, ids)


def run_some(folder: Path, change: Callable[[Session], None]) -> None:
    for seed in range(5):
        run(folder / f"{seed}.db", seed, change)


def go_on(session: Session, key: str, chance: random.Random) -> None:
    """Answer what is asked, with the clock set meanwhile, to the end."""
    while not session.state["lineup"]["closed"]:
        ask = session.state["ask"]
        if ask is None:
            time.sleep(0.002)
            continue
        step(chance)
        answer = Command(f"{key}-{ask['number']}", "acknowledge", {"ask": ask["number"]})
        session.submit(answer).result(60.0)


def check(book: Path, ids: list[str]) -> None:
    kept = Book(book)
    try:
        entries = kept.entries(limit=10_000)
        assert [e.seq for e in entries] == list(range(1, len(entries) + 1))
        begun = [e.lineup for e in entries if e.what == "begun"]
        assert begun == ids, "the order of the line-ups is another"
        for lineup in ids:
            ours = [e for e in entries if e.lineup == lineup and e.what != "resumed"]
            times_s = [e.t_s for e in ours]
            assert all(b >= a for a, b in pairwise(times_s)), "a line-up's time runs back"
            kinds = [e.what for e in ours if e.what.startswith("as ")]
            assert kinds == ["as found", "as left"]
            assert [r.kind for r in kept.readings_of(lineup)] == ["found"] * 2 + ["left"] * 2
            check_sheet(kept, lineup)
        visits = kept.visits_of(None)
        packs = kept.packs_at(visits, ["reproduce_level"])
        trail = trails_from([(v.lineup, v.at) for v in visits], packs)["reproduce_level"]
        days = drift_of(trail).days
        assert (days > 0.0).all(), "a negative time between two line-ups"
    finally:
        kept.close()


def check_sheet(kept: Book, lineup: str) -> None:
    values, _ = sheet_told(contents_of(kept, lineup), "1.2.3", 10, False, "a4")
    ended = re.search(r"\d{4}-\d\d-\d\d, \d\d:\d\d", str(values["state"]))
    assert str(values["state"]).startswith("Finished")
    assert ended is None or ended[0] >= str(values["begun"])[:17], "it ends before it began"


@pytest.fixture(autouse=True)
def stepping(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    put_wires_in(monkeypatch, Short)
    monkeypatch.setattr(pages_module, "datetime", Clock)
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def no_change(session: Session) -> None:
    """As it is made."""


def by_the_clock(session: Session) -> None:
    """The planted bug: the newest line-up is the one with the latest time."""

    def newest() -> Any:
        latest = select(LINEUPS.c.id).order_by(LINEUPS.c.begun_at.desc()).limit(1)
        with session.book._reading() as connection:
            found = connection.execute(latest).scalar()
        return next((row for row in session.book.lineups() if row.id == found), None)

    session.book.own_newest = newest  # type: ignore[method-assign]


@pytest.mark.parametrize("seed", range(BENCHES))
def test_order_and_times_do_not_turn_round(tmp_path: Path, seed: int) -> None:
    run(tmp_path / "book.db", seed, no_change)


def test_the_harness_finds_a_bench_that_goes_by_its_clock(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="another line-up is gone on with"):
        run_some(tmp_path, by_the_clock)
