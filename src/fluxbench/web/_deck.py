"""The deck's hands, passed through: the bench looks at neither what goes in nor what comes out."""

import threading
import uuid
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.requests import Request

from fluxbench.base import FluxbenchError
from fluxbench.links import HttpControls
from fluxbench.session import Command, NotNowError, Session
from fluxbench.web._bench import Bench
from fluxbench.web._models import FaultsOn, Load, Locate, Renew, Speed, Swap, Transport, Turn

REMEMBERED = 2000
BUILT_WITHIN_S = 60.0
"""A deck is worked out anew for another speed or exercise, which takes a busy machine seconds."""
Answer = dict[str, Any]


class Once:
    """Carries each id out once; who sends it again gets the same answer."""

    def __init__(self) -> None:
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._lock = threading.Lock()

    def call(self, key: str, do: Callable[[], Answer]) -> Answer:
        """The answer of `do`, or what it was the first time."""
        with self._lock:
            if key not in self._answers:
                self._answers[key] = do()
                if len(self._answers) > REMEMBERED:
                    self._answers.popitem(last=False)
            return self._answers[key]


def _hands(session: Bench) -> HttpControls:
    if session.controls is None:
        raise HTTPException(404, "this deck has no controls; hands work it")
    return session.controls


Hands = Annotated[HttpControls, Depends(_hands)]


def _practice_hands(session: Bench, hands: Hands) -> HttpControls:
    if session.state["bench"]["deck"] != "practice":
        raise HTTPException(404, "this is no practice deck")
    return hands


PracticeHands = Annotated[HttpControls, Depends(_practice_hands)]

router = APIRouter(prefix="/api/deck")


def _passed(
    hands: HttpControls, path: str, body: BaseModel, within_s: float | None = None
) -> Answer:
    return dict(hands.call(path, body.model_dump(exclude_none=True, exclude={"id"}), within_s))


@router.get("")
def state(hands: Hands) -> Answer:
    """What a person at the deck can see."""
    return dict(hands.state())


@router.post("/turn")
def turn(request: Request, hands: Hands, body: Turn) -> Answer:
    """Turn a trimmer."""
    once: Once = request.app.state.turned
    return once.call(body.id, lambda: _passed(hands, "/turn", body))


@router.post("/transport")
def transport(hands: Hands, body: Transport) -> Answer:
    """Press keys."""
    return _passed(hands, "/transport", body)


@router.post("/load")
def load(hands: Hands, body: Load) -> Answer:
    """Thread a tape."""
    return _passed(hands, "/load", body)


@router.post("/locate")
def locate(hands: Hands, body: Locate) -> Answer:
    """Wind to a place."""
    return _passed(hands, "/locate", body)


@router.get("/faults")
def faults(hands: PracticeHands) -> Answer:
    """What is wrong with the deck, and what could be; `on` is null while an exercise hides it."""
    return dict(hands.call("/faults"))


@router.post("/faults")
def switch_faults(hands: PracticeHands, body: FaultsOn) -> Answer:
    """Have other faults."""
    refuse_while_it_runs(hands)
    return _passed(hands, "/faults", body, BUILT_WITHIN_S)


@router.post("/swap")
def swap(hands: PracticeHands, body: Swap) -> Answer:
    """Have cards, or head leads, of two tracks change places; the deck stops.

    409 while an exercise runs.
    """
    refuse_while_it_runs(hands)
    return _passed(hands, "/swap", body, BUILT_WITHIN_S)


@router.post("/speed")
def speed(session: Bench, hands: PracticeHands, body: Speed) -> Answer:
    """Run at another speed, by trimmers of its own; not while a line-up runs."""
    lineup = session.state["lineup"]
    if lineup and not lineup["closed"]:
        raise NotNowError(
            f"a line-up at {lineup['speed_ips']:g} in/s runs; end it first, each speed has its own"
        )
    refuse_while_it_runs(hands)
    return _passed(hands, "/speed", body, BUILT_WITHIN_S)


@router.post("/renew")
def renew(session: Bench, hands: PracticeHands, body: Renew) -> Answer:
    """Have another deck; a line-up that runs ends."""
    refuse_while_it_runs(hands)
    stop = Command(uuid.uuid4().hex, "stop", {"reason": "another deck was taken"})
    with suppress(FluxbenchError, TimeoutError):  # none runs
        session.submit(stop).result(5.0)
    return _passed(hands, "/renew", body, BUILT_WITHIN_S)


def refuse_advice(session: Session, hands: HttpControls) -> None:
    """NotNowError where the exercise that runs is one without the bench's advice."""
    if session.state["bench"]["deck"] != "practice":
        return
    told = hands.call("/exercise")
    if told["exercise"] and not told["verdict"] and not told["exercise"]["advised"]:
        raise NotNowError(
            "this exercise is done without the bench's advice; hand it in, or leave it"
        )


def refuse_while_it_runs(hands: HttpControls) -> None:
    """NotNowError while an exercise hides something."""
    told = hands.call("/exercise")
    if told["exercise"] and not told["verdict"]:
        raise NotNowError("an exercise runs on this deck; hand it in first, or leave it")
