"""The judge of an exercise: by the deck's own formulas, by what was answered, and by tape time."""

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._deck import PracticeDeck
from fluxbench.deck._exercises._kinds import WRONGS, Exercise, Hidden, Named
from fluxbench.deck._machine import layout_for
from fluxbench.trade import Tolerances, azimuth_tolerance

F64 = NDArray[np.float64]
Answers = Sequence[Mapping[str, Any]]

QUANTITIES = {
    "reproduce_level": "reproduce_level_db", "reproduce_high": "reproduce_high_db",
    "reproduce_low": "low_end_db", "bias": "over_bias_db", "record_level": "record_level_db",
    "record_high": "record_high_db", "sync_level": "sync_level_db", "sync_high": "sync_high_db",
    "reproduce_azimuth": "reproduce_azimuth_arcmin", "record_azimuth": "record_azimuth_arcmin",
}  # fmt: skip
"""By trimmer, what it has to bring to nothing."""
FULL, HALF = 2, 1
MOVED = 0.1
"""A trimmer that stands further than this (dB or arc-minutes) from where it stood was turned."""
QUICK_RATIO, SLOW_RATIO = 1.5, 3.0
GRACE_S = 20.0
"""Tape up to `QUICK_RATIO` times the expert's, and so long more, is as good as his."""
EXPERTS = Path(__file__).with_name("experts.json")


class Judge:
    """Judges one exercise; `start` is the deck as it was set up."""

    def __init__(self, exercise: Exercise, hidden: Hidden, start: PracticeDeck) -> None:
        self._exercise, self._hidden = exercise, hidden
        self._found = _residual(start)
        self._stood = start.settings

    def verdict(self, deck: PracticeDeck, tape_s: float, answers: Answers) -> dict[str, Any]:
        """What is left, what was found, what was turned without need, and marks for all of it."""
        exercise, hidden = self._exercise, self._hidden
        settings = list(self._settings(deck))
        answered = list(_answered(hidden.wrong, answers)) if exercise.asks else []
        needless = list(self._needless(deck))
        wiped = bool(deck.truth()["calibration_wiped"])
        rows = settings + answered
        passed = not wiped and all(row["verdict"] in ("in", "near", "right") for row in rows)
        if exercise.asks:
            passed = passed and not needless
        expert = expert_of(exercise)
        marks, of = sum(row["marks"] for row in rows), sum(row["of"] for row in rows)
        marks = max(0, marks - len(needless)) if not wiped else 0
        if expert["tape_s"] is not None:
            of += FULL
            marks += _for_tape(tape_s, expert["tape_s"]) if passed else 0
        return {
            "passed": passed, "marks": marks, "of": of, "tape_s": round(tape_s, 1),
            "wiped": wiped, "settings": settings, "answers": answered, "needless": needless,
            "hidden": _in_words(hidden), "teaches": exercise.teaches, "expert": expert,
            "luck": list(self._luck(settings, passed)),
        }  # fmt: skip

    def _settings(self, deck: PracticeDeck) -> Iterator[dict[str, Any]]:
        left = _residual(deck)
        for trimmer in self._exercise.sets:
            hold, set_band, accept = bands_of(trimmer, deck)
            name = QUANTITIES[trimmer]
            for at in self._places(left[name]):
                value, found = float(left[name][at]), float(self._found[name][at])
                within = [abs(value) <= set_band, abs(value) <= accept]
                was_in = [abs(found) <= set_band, abs(found) <= accept]
                yield {
                    "trimmer": trimmer,
                    "track": None if name.endswith("arcmin") else at + 1,
                    "unit": "arcmin" if name.endswith("arcmin") else "dB",
                    "found": round(found, 6),  # the page rounds; twice would be once too often
                    "left": round(value, 6),
                    "hold": hold, "set": set_band, "accept": accept,
                    "verdict": "in" if within[0] else "near" if within[1] else "out",
                    "marks": _for_setting(within, was_in), "of": 0 if was_in[0] else FULL,
                }  # fmt: skip

    def _places(self, values: F64) -> list[int]:
        named = self._hidden.tracks
        if len(values) == 1 or not named:
            return list(range(len(values)))
        return [track - 1 for track in named]

    def _needless(self, deck: PracticeDeck) -> Iterator[dict[str, Any]]:
        """Trimmers that were not to be turned, and stand elsewhere now."""
        meant = {name.removeprefix("turned ") for name, _ in self._hidden.wrong}
        for trimmer, stood in self._stood.items():
            moved = deck.settings[trimmer] - stood
            asked = trimmer in self._exercise.sets or trimmer in meant
            free = self._places(moved) if asked else []
            for at in np.flatnonzero(np.abs(moved) > MOVED):
                if at not in free:
                    track = None if len(moved) == 1 and trimmer.endswith("azimuth") else int(at) + 1
                    yield {"trimmer": trimmer, "track": track, "moved": round(float(moved[at]), 2)}

    def _luck(self, settings: Sequence[Mapping[str, Any]], passed: bool) -> Iterator[str]:
        """What of it says little about the hand."""
        stood = sum(abs(row["found"]) <= row["accept"] for row in settings)
        if stood:
            yield f"{stood} of {len(settings)} stood well enough before anything was turned."
        fine = sum(abs(row["left"]) < row["hold"] and abs(row["found"]) > row["accept"]
                   for row in settings)  # fmt: skip
        if fine:
            yield (
                f"{fine} came nearer than the tape itself stands still: below the hold band it is"
                " luck as much as skill."
            )
        if self._exercise.asks and passed:
            yield (
                "A blind guess among what this exercise hides is right once in"
                f" {self._hidden.one_in}."
            )


def bands_of(trimmer: str, deck: PracticeDeck) -> tuple[float, float, float]:
    """Hold, set and accept of what a trimmer brings to nothing, in dB or arc-minutes."""
    tolerances = Tolerances()
    if trimmer.endswith("azimuth"):
        angle = azimuth_tolerance(layout_for(deck.tracks).tape_width_mm)
        return 0.3 * angle.set_arcmin, angle.set_arcmin, angle.accept_arcmin
    if trimmer == "bias":
        band = tolerances.over_bias
    elif trimmer.endswith("level"):
        band = tolerances.level
    else:
        band = tolerances.high_end
    return band.hold_db, band.set_db, band.accept_db


def expert_of(exercise: Exercise) -> dict[str, Any]:
    """What an expert would have done; his tape time where the practising technician did it."""
    known = json.loads(EXPERTS.read_text(encoding="utf-8"))
    done = known["exercises"].get(exercise.name, {})
    return {
        "words": exercise.expert,
        "tape_s": done.get("tape_s"),
        "runs": done.get("tape_s_each"),
        "command": known["command"] if done else None,
    }


def _for_setting(within: Sequence[bool], was_in: Sequence[bool]) -> int:
    """Marks for what a hand did: none for what stood well, one less for what it spoiled.

    Both say whether it is inside the set band and inside what is accepted.
    """
    if was_in[0]:
        return 0 if within[1] else -HALF
    return FULL if within[0] else HALF if within[1] and not was_in[1] else 0


def _for_tape(tape_s: float, expert_s: float) -> int:
    if tape_s <= QUICK_RATIO * expert_s + GRACE_S:
        return FULL
    return HALF if tape_s <= SLOW_RATIO * expert_s + GRACE_S else 0


def _answered(wrong: Sequence[Named], answers: Answers) -> Iterator[dict[str, Any]]:
    """What was to be found and whether it was; then what was named and is not so."""
    given = [(str(one["what"]), tuple(sorted(one["tracks"]))) for one in answers]
    for name, tracks in wrong:
        exact, kind = (name, tracks) in given, name in [what for what, _ in given]
        verdict = "right" if exact else "another track" if kind else "missed"
        marks = FULL if exact else HALF if kind else 0
        yield _row(name, tracks, verdict, marks, FULL)
    if not wrong and not given:
        yield _row("nothing", (), "right", FULL, FULL)
    elif not wrong:
        yield _row("nothing", (), "missed", 0, FULL)
    names = [name for name, _ in wrong]
    for name, tracks in given:
        if name not in names:
            yield _row(name, tracks, "not so", -HALF, 0)


def _row(name: str, tracks: Sequence[int], verdict: str, marks: int, of: int) -> dict[str, Any]:
    words = "nothing is wrong" if name == "nothing" else WRONGS[name][0]
    return {
        "what": name, "words": words, "tracks": list(tracks), "verdict": verdict, "marks": marks,
        "of": of,
    }  # fmt: skip


def _residual(deck: PracticeDeck) -> dict[str, F64]:
    return {name: np.atleast_1d(np.array(v)) for name, v in deck.truth()["residual"].items()}


def _in_words(hidden: Hidden) -> list[str]:
    """What was hidden, one line each."""
    lines = [WRONGS[name][0] + _at(tracks) for name, tracks in hidden.wrong]
    said = {name.removeprefix("turned ") for name, _ in hidden.wrong}
    for trimmer, tracks in hidden.off_db_or_arcmin.items():
        unit = "arc-min" if trimmer.endswith("azimuth") else "dB"
        stack = trimmer.endswith("azimuth")
        for track, off in tracks.items():
            where = "" if stack or trimmer in said else f" of track {track}"
            name = "it" if trimmer in said else trimmer.replace("_", " ")
            lines.append(f"{name}{where} stood {_signed(off)} {unit} off")
    if hidden.stock != hidden.lined_up_for:
        lines.append("the record side stood for another stock")
    if hidden.as_found:
        lines.append("every trimmer stood where somebody had left it")
    return lines or ["nothing: it stood where it was left"]


def _signed(off_db_or_arcmin: float) -> str:
    return f"{off_db_or_arcmin:+.1f}".replace("-", "−")


def _at(tracks: Sequence[int]) -> str:
    if not tracks:
        return ""
    return f": track{'s' if len(tracks) > 1 else ''} {' and '.join(map(str, tracks))}"
