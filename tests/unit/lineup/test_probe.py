"""Which track a return carries is read where frames are whole, and nowhere else."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from fluxbench.lineup._bench import Bench
from fluxbench.lineup._probe import check_order, onset_s


class Probed:
    """As much of a bench as a probe needs, and points that are made up."""

    def __init__(self, tracks: int) -> None:
        self.cables = SimpleNamespace(mult=None)
        self.plan = SimpleNamespace(tracks=tracks, zero_dbfs=-18.0)
        self.live = np.ones(tracks, bool)
        self.signal: Any = None
        self.return_lag_s = self.time_s = 0.0
        self.sent = 0
        self.notes: list[str] = []

    def listen(self, *_: float) -> None:
        pass

    silence = listen

    def send(self, *_: tuple[float, float]) -> None:
        self.sent += 1

    def wait(self, seconds: float) -> Any:
        end_s = self.time_s + seconds
        while self.time_s < end_s:
            yield

    def whole_point(self) -> Any:
        return Bench.whole_point(self)  # type: ignore[arg-type]

    def through(self, procedure: Any, points: Any) -> Any:
        """What a procedure gives back, fed with points of a tenth of a second."""
        next(procedure)
        try:
            for point in points:
                self.time_s += 0.1
                procedure.send(point)
        except StopIteration as end:
            return end.value
        raise AssertionError("it is not over")


def order(tracks: int, lost: bool) -> SimpleNamespace:
    """Each return carries its own tone at -10 dB, the others 60 dB below; nothing if lost."""
    level_db = np.full((tracks, tracks), -70.0)
    np.fill_diagonal(level_db, -10.0)
    return SimpleNamespace(lost=lost, level_db=np.full_like(level_db, np.nan) if lost else level_db)


def test_tracks_are_not_called_crossed_where_frames_were_lost() -> None:
    bench = Probed(8)
    lost_for_a_while = [order(8, lost=True)] * 30 + [order(8, lost=False)] * 10
    assert bench.through(check_order(bench), lost_for_a_while) is None  # type: ignore[arg-type]


def onset(lost: bool, size: float) -> SimpleNamespace:
    return SimpleNamespace(lost=lost, envelope=np.full((100, 1, 1), size))


def test_an_onset_among_lost_frames_is_looked_for_again() -> None:
    """What a driver gives for lost frames may be anything, and is no tone that came back."""
    bench = Probed(1)
    lost, quiet, loud = onset(True, 1.0), onset(False, 0.0), onset(False, 1.0)
    found_s = bench.through(onset_s(bench), [quiet, lost, *[quiet] * 12, loud])  # type: ignore[arg-type]
    assert bench.sent == 2
    assert 0.0 < found_s < 0.4
    bench = Probed(1)
    assert np.isnan(bench.through(onset_s(bench), [quiet, lost, *[quiet] * 40]))  # type: ignore[arg-type]
