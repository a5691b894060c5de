"""What a person tells the session, each with an id of the client's making."""

from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from fluxbench.base import FluxbenchError, MisuseError
from fluxbench.lineup import LineUp


class NotNowError(FluxbenchError):
    """The command cannot be carried out in the present state; the line says why."""


@dataclass(frozen=True, slots=True)
class Command:
    """One intention; retries carry the same `id`."""

    id: str
    name: str
    """begin, acknowledge, decline, focus, pass-over, put-back, skip, repeat, silence or stop.

    And rest and wake, from within.
    """
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Waiting:
    """A command on its way and whoever waits for its answer."""

    command: Command
    answer: "Future[Mapping[str, Any]]" = field(default_factory=Future)

    @property
    def is_given_up(self) -> bool:
        """Whether its sender was told that it was not carried out; silence is carried out still."""
        return self.answer.cancelled() and self.command.name != "silence"

    def tell(self, answer: Mapping[str, Any]) -> None:
        """Answer, if somebody still waits."""
        if self._is_awaited():
            self.answer.set_result(answer)

    def refuse(self, error: FluxbenchError) -> None:
        """Say why not, if somebody still waits."""
        if self._is_awaited():
            self.answer.set_exception(error)

    def _is_awaited(self) -> bool:
        return not self.answer.done() and self.answer.set_running_or_notify_cancel()


def steer(lineup: LineUp, name: str, fields: Mapping[str, Any]) -> None:
    """Carry out what goes to the line-up; MisuseError or NotNowError if it cannot be."""
    if name == "focus":
        track = fields["track"]
        if track is not None and not 1 <= track <= lineup.plan.tracks:
            raise MisuseError(f"tracks go from 1 to {lineup.plan.tracks}, not {track}")
        lineup.wanted = None if track is None else track - 1
    elif name in ("pass-over", "put-back"):
        _steer_trimmer(lineup, name, fields)
    elif name in ("skip", "repeat") and not lineup.IN_STAGES:
        raise NotNowError("this is done in one piece; stop it instead")
    elif name == "skip":
        if fields["stage"] != lineup.view.stage:
            raise NotNowError(f"the stage that runs is {lineup.view.stage!r}")
        lineup.leave(None, str(fields["reason"]))
    elif name == "repeat":
        if fields["stage"] not in [visit.stage for visit in lineup.course()]:
            raise MisuseError(f"no stage is called {fields['stage']!r}")
        lineup.leave(str(fields["stage"]), "wanted")
    else:
        lineup.stop(str(fields["reason"]))


def _steer_trimmer(lineup: LineUp, name: str, fields: Mapping[str, Any]) -> None:
    """What is said of the trimmer in hand, which has to be the one that is meant."""
    advice = lineup.view.advice
    if advice is None or (advice.trimmer, advice.track) != (fields["trimmer"], fields["track"]):
        raise NotNowError("that trimmer is not in hand")
    if name == "pass-over":
        lineup.pass_over()
    elif advice.from_found is None:
        raise NotNowError("where this trimmer was found is not known")
    else:
        lineup.put_back(bool(fields["on"]))
