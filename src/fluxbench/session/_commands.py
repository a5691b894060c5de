"""What a person tells the session, each with an id of the client's making."""

from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from fluxbench.base import FluxbenchError


class NotNowError(FluxbenchError):
    """The command cannot be carried out in the present state; the line says why."""


@dataclass(frozen=True, slots=True)
class Command:
    """One intention; retries carry the same `id`."""

    id: str
    name: str
    """begin, acknowledge, focus, skip, repeat, silence or stop."""
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Waiting:
    """A command on its way and whoever waits for its answer."""

    command: Command
    answer: "Future[Mapping[str, Any]]" = field(default_factory=Future)
