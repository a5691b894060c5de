"""Sound interfaces from the bench: what there is, a loop-back check, a calibration in dBu."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field
from starlette.requests import HTTPConnection

from fluxbench.base import MisuseError
from fluxbench.session import LoopTrial, MeterTrial, Trials, Wish
from fluxbench.web._calls import REFUSALS
from fluxbench.web._models import Id, Strict, Text

router = APIRouter(prefix="/api/interfaces", responses=REFUSALS)

Channel = Annotated[int, Field(ge=1, le=256)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Level = Annotated[float, Field(ge=-60.0, le=0.0, allow_inf_nan=False)]
NOT_AGREED = "agreed: the loud-tone caution has to be agreed to before anything is sent"


def _trials_of(connection: HTTPConnection) -> Trials:
    trials: Trials = connection.app.state.trials
    return trials


All = Annotated[Trials, Depends(_trials_of)]


class Which(Strict):
    """An interface by its identity, and how much of it."""

    name: Name
    host_api: Name
    inputs: Channel | None = None
    outputs: Channel | None = None
    rate_hz: Annotated[int, Field(ge=8000, le=768_000)] | None = None
    agreed: bool = False


class Check(Which):
    """Check it by loop-back."""

    send_to: Name | None = None
    level_dbfs: Level = -12.0
    seconds: Annotated[float, Field(ge=1.0, le=120.0, allow_inf_nan=False)] = 4.0


class Calibrate(Which):
    """Send a tone for a meter."""

    level_dbfs: Level = -14.0
    frequency_hz: Annotated[float, Field(ge=100.0, le=5000.0, allow_inf_nan=False)] = 1000.0


class Tone(Strict):
    """On which output the tone stands; null: on none."""

    output: Channel | None


class Reading(Strict):
    """What a meter reads at a channel."""

    side: Literal["in", "out"]
    channel: Channel
    reads: Annotated[str, Field(min_length=1, max_length=40)]


class Keep(Strict):
    """Put what was read into the book."""

    id: Id
    meter: Text = "no meter named"
    uncertainty_db: Annotated[float, Field(ge=0.0, le=6.0, allow_inf_nan=False)] = 0.1


class InterfacesTold(BaseModel):
    """What can be opened now."""

    interfaces: list[dict[str, Any]]


class TrialTold(BaseModel):
    """The check or calibration that runs, or the last one."""

    trial: dict[str, Any] | None


@router.get("")
def interfaces(trials: All) -> InterfacesTold:
    """The interfaces that can be opened now."""
    return InterfacesTold(interfaces=trials.interfaces())


@router.get("/trial")
def trial(trials: All) -> TrialTold:
    """How a check or calibration stands."""
    return _told(trials)


@router.post("/check")
def check(trials: All, body: Check) -> TrialTold:
    """Begin a loop-back check."""
    _agreed(body)
    trials.begin(_wish(body, body.send_to), LoopTrial(body.level_dbfs, body.seconds))
    return _told(trials)


@router.post("/calibrate")
def calibrate(trials: All, body: Calibrate) -> TrialTold:
    """Begin a calibration: nothing is sent yet."""
    _agreed(body)
    trials.begin(_wish(body, None), MeterTrial(body.level_dbfs, body.frequency_hz))
    return _told(trials)


@router.post("/tone")
def tone(trials: All, body: Tone) -> TrialTold:
    """Have the tone on another output."""
    trials.stand(body.output)
    return _told(trials)


@router.post("/reading")
def reading(trials: All, body: Reading) -> TrialTold:
    """Say what the meter reads."""
    trials.read(body.side, body.channel, body.reads)
    return _told(trials)


@router.post("/keep")
def keep(trials: All, body: Keep) -> TrialTold:
    """Keep what was read."""
    trials.keep(body.meter, body.uncertainty_db, body.id)
    return _told(trials)


@router.post("/end")
def end(trials: All) -> TrialTold:
    """End the check or calibration that runs."""
    trials.end()
    return _told(trials)


def _told(trials: Trials) -> TrialTold:
    state = trials.state
    return TrialTold(trial=None if state is None else dict(state))


def _agreed(body: Which) -> None:
    if not body.agreed:
        raise MisuseError(NOT_AGREED)


def _wish(body: Which, send_to: str | None) -> Wish:
    return Wish(body.name, body.host_api, body.inputs, body.outputs, body.rate_hz, send_to)
