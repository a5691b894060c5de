"""What a person sees of a catalogue while it is made, and when it is done."""

import os
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bars
from rich.table import Table

from fluxbench.captures.catalogue import Done, Found, Verdict


class Progress:
    """A bar on standard error, by bytes: how many captures, how fast, how long still."""

    def __init__(self, *, quiet: bool = False, console: Console | None = None) -> None:
        console = Console(stderr=True) if console is None else console
        self._bars: Bars | None = None
        self.known = 0
        self._measured_bytes = 0
        self._bytes: dict[str, int] = {}
        if console.is_terminal and not quiet:
            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                TextColumn("{task.fields[captures]}"),
                TextColumn("{task.fields[rate]}"),
                TimeRemainingColumn(elapsed_when_finished=True),
            )
            self._bars = Bars(*columns, console=console, transient=True)

    def __enter__(self) -> "Progress":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Take the bar away."""
        if self._bars is not None:
            self._bars.stop()

    def begun(self, found: Sequence[Found]) -> None:
        """Hear of all captures."""
        self._bytes = {each.path: _size(each.path) for each in found}
        if self._bars is not None:
            total = float(sum(self._bytes.values()))
            self._bars.add_task("measuring", total=total, captures="", rate="")
            self._bars.start()

    def told(self, path: str, fresh: bool) -> None:
        """Hear of one that is known now; `fresh` if it took its time."""
        self.known += 1
        if self._bars is None:
            return
        task = self._bars.tasks[0]
        size = self._bytes[path]
        if fresh:
            self._measured_bytes += size
            self._bars.advance(task.id, size)
        else:
            self._bars.update(task.id, total=(task.total or 0.0) - size)
        elapsed_s = task.elapsed or 0.0
        rate = f"{self._measured_bytes / elapsed_s / 1e6:.1f} MB/s" if elapsed_s else ""
        self._bars.update(task.id, captures=f"{self.known} of {len(self._bytes)}", rate=rate)


def print_done(done: Done, folder: Path, console: Console | None = None) -> None:
    """Print how many captures there are of each verdict, and where to read on."""
    console = console or Console(highlight=False)
    table = Table("verdict", "captures")
    table.columns[1].justify = "right"
    for verdict in list(Verdict)[::-1]:
        if count := done.verdicts.get(verdict.value):
            table.add_row(verdict.value, str(count))
    console.print(table)
    console.print(
        f"{done.captures} captures, {done.measured} of them measured now;"
        f" read {folder / 'catalogue.html'}",
        soft_wrap=True,
    )


def _size(path: str) -> int:
    try:
        return os.path.getsize(path)
    except OSError:
        return 0
