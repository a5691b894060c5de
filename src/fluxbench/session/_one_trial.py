"""One trial of an interface: what is wanted of which, and how it stands."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from fluxbench.base import MisuseError
from fluxbench.engine import CalibratedChannel, LoopBack
from fluxbench.links import Interface, Link, PortAudioLink, SilenceKey
from fluxbench.session._commands import NotNowError
from fluxbench.session._trial_process import LoopTrial, Trial

QUIETEST_DBFS = -60.0
STEADY_DB = 0.05


@dataclass(frozen=True, slots=True)
class Wish:
    """Which interface is tried, and how much of it; None: all channels, its own rate."""

    name: str
    host_api: str
    inputs: int | None = None
    outputs: int | None = None
    rate_hz: int | None = None
    send_to: str | None = None
    """Another interface for the outputs."""


def open_interface(wish: Wish, silence: SilenceKey) -> Link:
    """Open it in the process of a trial."""
    return PortAudioLink(
        wish.name, wish.rate_hz, wish.inputs, wish.outputs, wish.host_api,
        silence=silence, send_to=wish.send_to,
    )  # fmt: skip


@dataclass(slots=True)
class OneTrial:
    """A trial that runs, or was the last one."""

    trial: Trial
    wish: Wish
    interface: Interface
    at: str
    running: bool = True
    doing: str = "the interface is opened"
    line: str | None = None
    rate_hz: int | None = None
    standing: int | None = None
    levels_dbfs: tuple[float, ...] = ()
    before_dbfs: tuple[float, ...] = ()
    found: LoopBack | None = None
    read: dict[tuple[str, int], CalibratedChannel] = field(default_factory=dict)
    kept: str | None = None
    """The id under which it was put into the book."""

    def told(self) -> Mapping[str, Any]:
        """All of it as plain values."""
        return {
            "kind": "check" if isinstance(self.trial, LoopTrial) else "calibration",
            "interface": asdict(self.interface),
            "send_to": self.wish.send_to,
            "inputs": self.wish.inputs,
            "outputs": self.wish.outputs,
            "at": self.at,
            "running": self.running,
            "doing": self.doing,
            "line": self.line,
            "rate_hz": self.rate_hz,
            "level_dbfs": self.trial.level_dbfs,
            "frequency_hz": getattr(self.trial, "frequency_hz", None),
            "standing": self.standing,
            "levels_dbfs": list(self.levels_dbfs),
            "found": None if self.found is None else self.found.told(),
            "read": [asdict(one) for _, one in sorted(self.read.items())],
            "kept": self.kept is not None,
        }

    def arriving_dbfs(self, channel: int) -> float:
        """The level at an input; NotNowError if none is there, or it does not stand still."""
        inputs = self.wish.inputs or 0
        if not 1 <= channel <= inputs:
            raise MisuseError(f"{self.interface.name} has inputs 1 to {inputs}, not {channel}")
        if not self.levels_dbfs or not self.before_dbfs:
            raise NotNowError("the interface is being opened; try again in a moment")
        level_dbfs = self.levels_dbfs[channel - 1]
        if level_dbfs < QUIETEST_DBFS:
            raise NotNowError(f"input {channel} hears nothing; is the source connected and on?")
        if level_dbfs > -0.1:
            raise NotNowError(f"input {channel} is at full scale; lower the source")
        if abs(level_dbfs - self.before_dbfs[channel - 1]) > STEADY_DB:
            raise NotNowError(f"the level at input {channel} is not steady; wait until it is")
        return level_dbfs


def whole_of(found: list[Interface], wish: Wish) -> tuple[Interface, Wish]:
    """The interface that is meant, and the wish with its channels told; MisuseError if none is."""
    of = _one(found, wish.name, wish.host_api)
    sink = of if wish.send_to is None else _one(found, wish.send_to, wish.host_api)
    inputs = of.inputs if wish.inputs is None else wish.inputs
    outputs = sink.outputs if wish.outputs is None else wish.outputs
    return of, replace(wish, inputs=inputs, outputs=outputs)


def _one(found: list[Interface], name: str, host_api: str) -> Interface:
    fit = [one for one in found if (one.name, one.host_api) == (name, host_api)]
    if not fit:
        raise MisuseError(f"there is no interface {name!r} under {host_api!r} now")
    if len(fit) > 1:
        raise MisuseError(f"two interfaces are called {name!r}; unplug or rename one of them")
    return fit[0]
