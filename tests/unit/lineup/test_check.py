"""The five-minute check: what moved is named, what did not is left alone."""

import json
from typing import Any

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import CHECK_HZ, FiveMinuteCheck, Plan, plan_from_state
from fluxbench.measure import Hop

TRACKS = 4
LEVEL_DB = -24.0  # of each tone as sent


@pytest.fixture(scope="module")
def plan() -> Plan:
    deck = PracticeDeck(tracks=TRACKS)
    return plan_from_state(deck.load("calibration"), deck.load("stock"))


def checked(plan: Plan, as_left_db: float, now_db: np.ndarray) -> dict[str, Any]:
    """What the check says when it reads `now_db` (tones, tracks) re what it sends."""
    left = {f"{f:g}": [as_left_db] * TRACKS for f in CHECK_HZ}
    check = FiveMinuteCheck(plan, json.loads(json.dumps(left)))
    frame = 0
    while not check.view.closed:
        tones = check.tones
        peak = np.full(TRACKS, 0.1, np.float32)
        level_db = now_db if tones == CHECK_HZ else np.zeros((len(tones), TRACKS))
        size = 10.0 ** ((level_db + LEVEL_DB + plan.zero_dbfs) / 20.0)
        envelope = np.broadcast_to(size, (20, *size.shape)).astype(np.complex64)
        power = (size**2).sum(axis=0)
        check.see(Hop(frame, 960, tones, envelope, peak, power, False))
        frame += 960
        if check.view.ask is not None:
            check.acknowledge(check.view.ask.number)
    assert check.view.stopped is None
    return next(entry for entry in check.journal if entry["what"] == "check")


def test_a_deck_that_stands_as_it_was_left_is_left_alone(plan: Plan) -> None:
    said = checked(plan, 0.4, np.full((3, TRACKS), 0.5))
    assert (said["words"], said["moved"]) == ("leave it alone", [])
    assert said["off_db"]["2000"] == pytest.approx([0.1] * TRACKS, abs=1e-3)


@pytest.mark.parametrize(("tone", "off_db"), [(0, 0.6), (1, -0.3), (2, 0.6)])
def test_tracks_that_moved_are_named(plan: Plan, tone: int, off_db: float) -> None:
    now = np.zeros((3, TRACKS))
    now[tone, [1, 3]] += off_db
    said = checked(plan, 0.0, now)
    assert said["moved"] == [2, 4]
    assert said["words"] == "moved since the last line-up: tracks 2, 4"


def test_a_track_that_is_gone_has_moved(plan: Plan) -> None:
    now = np.zeros((3, TRACKS))
    now[:, 2] = -60.0
    assert checked(plan, 0.0, now)["moved"] == [3]
