"""Exercises on the practice deck: begin one, hand it in, and what came of those before.

The deck sets them, hides what they hide and judges them; here its answers are passed on, and the
verdicts kept in the book.
"""

import secrets
import uuid
from contextlib import suppress
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import Field

from fluxbench.base import FluxbenchError
from fluxbench.book import Version, Writing
from fluxbench.session import Command, NotNowError, Session, now_utc
from fluxbench.web._bench import Bench
from fluxbench.web._calls import REFUSALS
from fluxbench.web._deck import BUILT_WITHIN_S, PracticeHands
from fluxbench.web._models import Id, Strict, Text, Track

Answer = dict[str, Any]
Seed = Annotated[int, Field(ge=0, le=999_999)]

router = APIRouter(prefix="/api/exercises", responses=REFUSALS)


class BeginExercise(Strict):
    """Have the deck of an exercise; a line-up that runs ends."""

    id: Id
    name: Text
    seed: Seed | None = None
    """The same seed hides the same; any one if left out."""


class Found(Strict):
    """What is wrong, by its name in the exercise's `wrongs`, and on which tracks."""

    what: Text
    tracks: Annotated[list[Track], Field(max_length=24, default_factory=list)]


class HandIn(Strict):
    """Have the exercise judged, and the verdict written in the book."""

    id: Id
    found: Annotated[list[Found], Field(max_length=20, default_factory=list)]
    """An empty list says that nothing is wrong."""
    learner: Annotated[str, Field(min_length=1, max_length=80, pattern=r"\S")] | None = None


class Leave(Strict):
    """Have the deck that stood there before; what was not handed in is forgotten."""

    id: Id


@router.get("")
def exercises(session: Bench, hands: PracticeHands) -> Answer:
    """All exercises with how often each was done and its best marks; `first`: the book is empty."""
    done = session.book.things("exercises")
    told = dict(hands.call("/exercises"))
    for one in told["exercises"]:
        of_it = [d for d in done if d.facts["exercise"] == one["name"]]
        best = max(of_it, key=_share, default=None)
        one["done"] = len(of_it)
        one["passed"] = any(d.facts["passed"] for d in of_it)
        one["best"] = None if best is None else _result(best)
    return {**told, "first": _is_first(session, done)}


@router.get("/now")
def now(hands: PracticeHands) -> Answer:
    """The exercise that runs, or its verdict once it was handed in; what it hides is not told."""
    return dict(hands.call("/exercise"))


@router.get("/results")
def results(session: Bench) -> Answer:
    """What came of all exercises that were handed in, newest first."""
    done = sorted(session.book.things("exercises"), key=lambda d: -d.row)
    return {"results": [_result(one) for one in done]}


@router.post("/begin")
def begin(session: Bench, hands: PracticeHands, body: BeginExercise) -> Answer:
    """Begin an exercise."""
    _stop(session, "an exercise was begun")
    seed = secrets.randbelow(1_000_000) if body.seed is None else body.seed
    return dict(hands.call("/exercise", {"name": body.name, "seed": seed}, BUILT_WITHIN_S))


@router.post("/hand-in")
def hand_in(session: Bench, hands: PracticeHands, body: HandIn) -> Answer:
    """Hand it in: the verdict, which is in the book from now on."""
    running = hands.call("/exercise")["exercise"]
    if running is None:
        raise NotNowError("no exercise runs; begin one")
    _stop(session, "the exercise was handed in")
    given = {"id": body.id, "found": [one.model_dump() for one in body.found]}
    told = dict(hands.call("/hand_in", given, BUILT_WITHIN_S))
    verdict, at = told["verdict"], now_utc()
    facts = {
        "name": running["title"],
        "exercise": running["name"],
        "grade": running["grade"],
        "seed": told["seed"],
        "on": f"{at[:16]}Z",
        "passed": verdict["passed"],
        "marks": verdict["marks"],
        "out_of": verdict["of"],
        "tape_s": verdict["tape_s"],
        "learner": body.learner,
        "verdict": verdict,
    }
    if not session.book.versions("exercises", told["handed_in"]):
        session.book.keep(Writing(told["handed_in"], "exercises", None, facts, at))
    return told


@router.post("/leave")
def leave(session: Bench, hands: PracticeHands, body: Leave) -> Answer:
    """Go back to the deck before."""
    _stop(session, "the exercise was left")
    return dict(hands.call("/leave", {}, BUILT_WITHIN_S))


def _stop(session: Session, why: str) -> None:
    with suppress(FluxbenchError, TimeoutError):  # none runs
        session.submit(Command(uuid.uuid4().hex, "stop", {"reason": why})).result(5.0)


def _share(done: Version) -> float:
    return float(done.facts["marks"]) / max(1.0, float(done.facts["out_of"]))


def _result(done: Version) -> Answer:
    return {"id": done.id, **{k: v for k, v in done.facts.items() if k != "name"}}


def _is_first(session: Session, done: list[Version]) -> bool:
    return not (done or session.book.lineups() or session.book.things("decks"))
