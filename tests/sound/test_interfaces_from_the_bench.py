"""A bench that runs on a sound server's client lets it go for a check, and takes it back."""

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from fluxbench.book import Book
from fluxbench.session import LoopTrial, MeterTrial, Session, Trials, Wish
from fluxbench.session._one_trial import open_interface
from tests.sound.server import SoundServer

pytestmark = [pytest.mark.sound, pytest.mark.timeout(900)]

JACK = "JACK Audio Connection Kit"
WISH = Wish("deck", JACK, inputs=2, outputs=2)
WAIT_S = 240.0


def until(is_so: Callable[[], bool]) -> None:
    end_s = time.monotonic() + WAIT_S
    while not is_so():
        assert time.monotonic() < end_s
        time.sleep(0.05)


def test_the_interface_of_the_bench_is_checked_calibrated_and_taken_back(
    server: SoundServer, tmp_path: Path
) -> None:
    server.loopback("deck", 4)
    book = Book(tmp_path / "book.db")
    session = Session(book, partial(open_interface, WISH), "deck", "1.2.3")
    trials = Trials(session)
    session.start()
    try:
        until(lambda: session.state["bench"]["engine"] == "running")
        (deck,) = [one for one in trials.interfaces() if one["name"] == "deck"]
        assert (deck["host_api"], deck["inputs"], deck["opened"]) == (JACK, 4, True)

        for _ in range(5):  # a busy machine may lose frames: then there is no number
            trials.begin(WISH, LoopTrial(-12.0, 1.0))
            assert session.state["bench"]["engine"] == "resting"
            until(lambda: not trials.state["running"])
            found = trials.state["found"]
            assert trials.state["line"] is None
            until(lambda: session.state["bench"]["engine"] == "running")
            gains_db = [cable["gain_db"] for cable in found["cables"]]
            read = [gain_db for gain_db in gains_db if gain_db is not None]
            assert read == pytest.approx([0.0] * len(read), abs=1e-4)
            if not found["lost_told"] or len(read) == 2:
                break
        assert len(read) == 2
        assert found["round_trip_frames"] > 1024  # a period, and what the bench keeps in hand
        assert abs(found["drift_ppm"]) < 0.01  # one server, one clock

        trials.begin(WISH, MeterTrial(-14.0, 1000.0))
        until(lambda: len(trials.state["levels_dbfs"]) == 2)
        trials.stand(2)
        wanted = pytest.approx([-200.0, -14.0], abs=0.01)
        until(lambda: trials.state["levels_dbfs"] == wanted)
        trials.read("out", 2, "4.2 dBu")
        trials.keep("a meter", 0.1, "k1")
        trials.end()
        (deck,) = [one for one in trials.interfaces() if one["name"] == "deck"]
        assert [(c["channel"], c["full_scale_dbu"]) for c in deck["channels"]] == [(2, 18.2)]
    finally:
        trials.end()
        session.close()
        book.close()
