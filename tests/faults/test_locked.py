"""Another program holds the book's lock for writing: nothing is shown, nothing lost, tones go on.

Once for 3 s; with FLUXBENCH_LOCKS=20 so often, for 30 s each. At last the bench is killed
meanwhile. The planted bug, a bench that shows first and writes later, is that of `test_killed.py`.
"""

import json
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fluxbench.session._engine_process import HEARTBEAT_S
from tests.benches.lateness import Lateness
from tests.faults.test_killed import Harness

LOCKS = int(os.environ.get("FLUXBENCH_LOCKS", "1"))
HELD_S = 30.0 if LOCKS > 2 else 3.0
TOLD_WITHIN_S = 1.0
WITHOUT_SOUND_S = 0.5
PATIENCE_S = 240.0

pytestmark = [pytest.mark.alone, pytest.mark.timeout(600 + 100 * LOCKS)]


@pytest.fixture
def harness(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Harness]:
    made = Harness(tmp_path, planted=getattr(request, "param", False))
    try:
        yield made
    finally:
        made.close()


@contextmanager
def locked(book: Path) -> Iterator[None]:
    other = sqlite3.connect(book, isolation_level=None, timeout=PATIENCE_S)
    try:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")
    finally:
        other.close()


def told(harness: Harness, since: int) -> list[tuple[bool, str | None]]:
    """What the bench has said of saving."""
    harness.take_lines()
    facts = [json.loads(line).get("facts") or {} for line in harness.recent[since:]]
    return [(f["saved"], f.get("line")) for f in facts if "saved" in f]


def hold(harness: Harness, lateness: Lateness) -> None:
    """Hold the lock: the bench says so, waits with what it has, and its tone goes on."""
    harness.wait_for(3)
    since = len(harness.recent)
    with locked(harness.book):
        began_s = time.monotonic()
        while not told(harness, since):
            assert time.monotonic() - began_s < PATIENCE_S, "nobody said that nothing is saved"
            time.sleep(0.01)
        assert time.monotonic() - began_s < TOLD_WITHIN_S + lateness.excused_s
        saved, line = told(harness, since)[0]
        assert not saved
        assert "locked" in str(line)
        shown = len(harness.shown)
        while time.monotonic() - began_s < HELD_S:
            harness.take_lines()
            assert len(harness.shown) == shown, "shown while nothing can be saved"
            without_s = WITHOUT_SOUND_S + lateness.excused_s
            assert harness.wire.silent_for_s < without_s, "the tone was interrupted"
            time.sleep(0.05)
    end_s = time.monotonic() + PATIENCE_S
    while told(harness, since)[-1] != (True, None):
        assert time.monotonic() < end_s, "it does not go on"
        time.sleep(0.05)
    harness.wait_for(3)


def kill_while_locked(harness: Harness) -> None:
    with locked(harness.book):
        time.sleep(1.0)
        harness.bench.kill()


def test_nothing_is_lost_and_the_stream_goes_on(harness: Harness, lateness: Lateness) -> None:
    for _ in range(LOCKS):
        hold(harness, lateness)
    was_late = lateness.excused_s > HEARTBEAT_S
    assert not harness.resumed or was_late, "the engine was started again"
    lost = [line for line in harness.recent if '"gaps"' in line]
    # What the deck itself says is lost was lost before.
    assert lost == [] or harness.wire.lost, "frames were lost between engine and session"
    kill_while_locked(harness)
    harness.check()
    print(f"locked {LOCKS} times for {HELD_S:g} s, {len(harness.shown)} readings, none lost")


@pytest.mark.parametrize("harness", [True], indirect=True)
def test_the_harness_finds_a_bench_that_shows_before_it_writes(harness: Harness) -> None:
    with pytest.raises(AssertionError, match="were shown and are not in the book"):
        kill_again_and_again(harness)


def kill_again_and_again(harness: Harness) -> None:
    """Now and then there is nothing that waits to be written."""
    for _ in range(5):
        harness.wait_for(3)
        kill_while_locked(harness)
        harness.check()
        harness.bench = harness._start_bench()
