"""Sections of a calibration tape are found by frequency and order, one misread point or not."""

from types import SimpleNamespace

import numpy as np
import pytest

from fluxbench.lineup._sections import SectionFinder
from fluxbench.lineup._telling import Stop
from fluxbench.lineup._vanished import Vanishing

SHEET_HZ = (1000.0, 31.5, 63.0, 125.0, 10_000.0)


class FakeBench:
    """As much of a bench as the finder needs."""

    def __init__(self) -> None:
        sections = tuple(SimpleNamespace(number=i, frequency_hz=f) for i, f in enumerate(SHEET_HZ))
        self.plan = SimpleNamespace(sections=sections, tape_told="the calibration tape")
        self.vanishing = Vanishing(4)
        self.live = np.ones(4, bool)
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        self.notes.append(text)


def point(finder: SectionFinder, frequency_hz: float | None, level_db: float = -3.0) -> object:
    """0.1 s of one tone on four tracks, of none (None), or of a tone that is on no sheet (0)."""
    tones = len(finder.tones)
    level, share = np.full((tones, 4), -80.0), np.full((tones, 4), 0.01)
    if frequency_hz:
        level[finder.tones.index(frequency_hz)] = level_db
        share[finder.tones.index(frequency_hz)] = 0.95
    elif frequency_hz == 0.0:
        level[0], share[0] = -25.0, 0.05
    return SimpleNamespace(level_db=level, share=share, lost=False)


def play(misread: dict[int, float]) -> SectionFinder:
    """8 s of every section with 2 s gaps; `misread` are points (of all) heard as something else."""
    finder = SectionFinder(FakeBench())  # type: ignore[arg-type]
    heard: list[float | None] = []
    for f in SHEET_HZ:
        heard += [f] * 80 + [None] * 20
    for at, f in misread.items():
        heard[at] = f
    for f in heard:
        if not finder.done:
            finder.hear(point(finder, f))  # type: ignore[arg-type]
    return finder


def test_every_section_is_read() -> None:
    finder = play({})
    assert sorted(finder.read) == list(range(len(SHEET_HZ)))
    assert all(np.allclose(level, -3.0) for level in finder.read.values())


@pytest.mark.parametrize("at", [100, 140, 205, 240, 279, 330])
def test_one_misread_point_ends_nothing(at: int) -> None:
    """At the edge of a section or within, heard as a tone that has been or is yet to come."""
    for wrong_hz in (1000.0, 31.5, 63.0):
        assert sorted(play({at: wrong_hz}).read) == list(range(len(SHEET_HZ)))


def hear_strange_tones(seconds: float) -> None:
    finder = SectionFinder(FakeBench())  # type: ignore[arg-type]
    for _ in range(round(seconds * 10)):
        finder.hear(point(finder, 0.0))  # type: ignore[arg-type]


def test_strange_tones_are_another_tape() -> None:
    hear_strange_tones(1.0)
    with pytest.raises(Stop, match="not on its sheet"):
        hear_strange_tones(6.0)


def test_long_waves_that_seem_to_play_together_are_told_apart_by_order() -> None:
    """40 and 31.5 Hz lie within the band of a point of 0.1 s: each holds all of the power."""
    bench = FakeBench()
    sheet = (1000.0, 40.0, 31.5, 1000.0)
    bench.plan.sections = tuple(
        SimpleNamespace(number=i, frequency_hz=f) for i, f in enumerate(sheet)
    )
    finder = SectionFinder(bench)  # type: ignore[arg-type]
    for frequency_hz in sheet:
        for i in range(60):
            heard = point(finder, frequency_hz, -3.0 - sheet.index(frequency_hz))
            if frequency_hz < 100.0:
                for near_hz, share in ((40.0, 0.97), (31.5, 0.98 if i % 3 else 0.96)):
                    heard.share[finder.tones.index(near_hz)] = share  # type: ignore[attr-defined]
            finder.hear(heard)  # type: ignore[arg-type]
        for _ in range(15):
            finder.hear(point(finder, None))  # type: ignore[arg-type]
    assert sorted(finder.read) == [0, 1, 2, 3]
    assert finder.read[1][0] == pytest.approx(-4.0)
    assert finder.read[2][0] == pytest.approx(-5.0)
