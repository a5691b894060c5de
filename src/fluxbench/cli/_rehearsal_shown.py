"""What a person sees of a rehearsal: its progress, and a table at the end."""

import time
from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Any

from rich.box import SIMPLE
from rich.console import Console, Group
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from fluxbench.lineup import View
    from fluxbench.rehearsal import Rehearsed

PICTURE_EVERY_S = 0.1


class Shown:
    """Prints every stage as it begins; on a terminal, below them, a picture of the moment."""

    def __init__(self, *, quiet: bool = False, console: Console | None = None) -> None:
        self._console = Console(highlight=False) if console is None else console
        self._quiet = quiet
        self._live: Live | None = None
        if self._console.is_terminal and not quiet:
            self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._begun_s = self._drawn_s = time.monotonic()
        self._stage = self._asked = self._words = ""

    def __enter__(self) -> "Shown":
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def watch(self, view: "View") -> None:
        """See the bench's view, many times a second."""
        if self._quiet:
            return
        if view.stage != self._stage:
            self._stage, self._words = view.stage, ""
            self._console.print(Text(f"{clock(view.time_s):>7}  {view.stage}"))
        if view.ask is not None:
            self._asked, self._words = view.ask.text, ""
        if view.advice is not None:
            self._words = view.advice.words
        now_s = time.monotonic()
        if self._live is not None and now_s - self._drawn_s >= PICTURE_EVERY_S:
            self._drawn_s = now_s
            self._live.update(self._picture(view, now_s - self._begun_s), refresh=True)

    def _picture(self, view: "View", wall_s: float) -> Group:
        grid = Table.grid(padding=(0, 2))
        grid.add_column(style="dim")
        grid.add_column()
        grid.add_row("stage", Text(view.stage, style="bold"))
        grid.add_row("asked", Text(self._asked))
        grid.add_row("trimmer", Text(self._words))
        total = view.done + view.due
        bar = ProgressBar(total=max(total, 1), completed=view.done, width=24)
        grid.add_row("tracks", bar if total else "")
        grid.add_row("", f"{view.done} done, {view.due} due" if total else "")
        grid.add_row("time", pace(view.time_s, wall_s))
        return Group("", grid)


def print_result(done: "Rehearsed", console: Console | None = None) -> None:
    """Print what is left, the visits, the times and the notes, for a person."""
    console = Console(highlight=False) if console is None else console
    line = done.line
    at_deck_s = float(done.journal[-1]["t"]) if done.journal else 0.0
    console.print(_left(line["residual"]), _visits(line["visits"]))
    facts = [
        f"{line['tracks']} tracks at {line['speed_ips']:g} in/s, {line['method']}",
        f"seed {line['seed']}",
        f"tape time {clock(line['tape_time_s'])}",
        pace(at_deck_s, float(line["wall_s"])),
    ]
    console.print(Text(", ".join(facts)), soft_wrap=True)
    for note in done.notes:
        console.print(Text(f"note: {note}"), soft_wrap=True)


def _left(residual: Mapping[str, Sequence[float] | float]) -> Table:
    table = Table(title="Left between actual and ideal", title_justify="left", box=SIMPLE)
    table.add_column("quantity")
    for heading in ("rms", "worst"):
        table.add_column(heading, justify="right")
    table.add_column("unit")
    table.add_column("worst on")
    for name, values in residual.items():
        quantity, _, unit = name.rpartition("_")
        each = list(values) if isinstance(values, Sequence) else [values]
        worst = max(range(len(each)), key=lambda index: abs(each[index]))
        table.add_row(
            quantity.replace("_", " "),
            f"{(sum(value * value for value in each) / len(each)) ** 0.5:.3f}",
            f"{each[worst]:+.3f}",
            {"db": "dB", "arcmin": "arc-min"}.get(unit, unit),
            f"track {worst + 1}" if isinstance(values, Sequence) else "",
        )
    return table


def _visits(visits: Mapping[str, Sequence[int]]) -> Table:
    table = Table(title="Visits of the trimmers", title_justify="left", box=SIMPLE)
    table.add_column("trimmer")
    for heading in ("trimmers", "visits", "a trimmer", "most"):
        table.add_column(heading, justify="right")
    for name, each in visits.items():
        table.add_row(
            name.replace("_", " "),
            f"{len(each)}",
            f"{sum(each)}",
            f"{sum(each) / len(each):.2f}",
            f"{max(each)}",
        )
    return table


def pace(at_deck_s: float, wall_s: float) -> str:
    """Time as the deck counts it, and how much faster than the clock on the wall it went."""
    ratio = at_deck_s / max(wall_s, 1e-3)
    return f"{clock(at_deck_s)} at the deck in {clock(wall_s)} ({ratio:.1f} x real time)"


def clock(seconds: Any) -> str:
    """Seconds as minutes and seconds, ``12:07``."""
    whole = round(float(seconds))
    return f"{whole // 60}:{whole % 60:02}"
