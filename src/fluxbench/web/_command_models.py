"""What may be told to the bench, each as one body of `POST /api/commands`."""

from typing import Annotated, Literal

from pydantic import Field

from fluxbench.web._models import Begin, Id, Strict, Text, Track


class Acknowledge(Strict):
    """What was asked is done."""

    id: Id
    command: Literal["acknowledge"]
    ask: int


class Decline(Strict):
    """What was asked about is doubted by the person as well."""

    id: Id
    command: Literal["decline"]
    ask: int


class Focus(Strict):
    """Look at a track now."""

    id: Id
    command: Literal["focus"]
    track: Track | None


class PassOver(Strict):
    """Leave the trimmer in hand as it is, and go on to the next."""

    id: Id
    command: Literal["pass-over"]
    trimmer: Text
    track: Track | None


class PutBack(Strict):
    """Have the trimmer in hand go back to where it was found, or to its target after all."""

    id: Id
    command: Literal["put-back"]
    trimmer: Text
    track: Track | None
    on: bool = True


class Skip(Strict):
    """Leave the running stage."""

    id: Id
    command: Literal["skip"]
    stage: Text
    reason: Text


class Repeat(Strict):
    """Go to a stage, and on from there."""

    id: Id
    command: Literal["repeat"]
    stage: Text


class SilenceKey(Strict):
    """Send nothing while it is on."""

    id: Id
    command: Literal["silence"]
    on: bool


class StopLineUp(Strict):
    """End the line-up here."""

    id: Id
    command: Literal["stop"]
    reason: Text


AnyCommand = Annotated[
    Begin
    | Acknowledge
    | Decline
    | Focus
    | PassOver
    | PutBack
    | Skip
    | Repeat
    | SilenceKey
    | StopLineUp,
    Field(discriminator="command"),
]
