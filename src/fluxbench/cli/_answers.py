"""An answer on standard output, and the refusal of numbers that cannot be."""

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fluxbench.trade.work_out import WorkedOut


def tell(as_json: bool, answer: "WorkedOut") -> None:
    """Print the facts as one line of JSON, or the sentences and the source."""
    if as_json:
        print(json.dumps(dict(answer.facts), allow_nan=False))
        return
    for sentence in [*answer.sentences, f"Source: {answer.source}."]:
        print(sentence)


def check_positive(options: Mapping[str, float], *, or_zero: bool = False) -> None:
    """Refuse, by its option's name, what is no length, speed or frequency of this world."""
    for option, value in options.items():
        if not (or_zero and value == 0.0):
            check_between(option, value, 1e-6, 1e9)


def check_angle(azimuth_arcmin: float) -> None:
    """Refuse an azimuth near a right angle and beyond."""
    check_between("an azimuth in arc-min", azimuth_arcmin, -5000.0, 5000.0)


def check_between(what: str, value: float, low: float, high: float) -> None:
    """Refuse a number outside a range, and what is not a number."""
    from fluxbench.base import MisuseError

    if not low <= value <= high:
        raise MisuseError(f"{what} cannot be {value:g}; give a number from {low:g} to {high:g}")


def print_losses(answer: "WorkedOut") -> None:
    """Print a table of losses and their sum, and the source."""
    from rich.console import Console
    from rich.table import Table

    title, _, _ = answer.sentences[0].partition(": ")
    table = Table(title=title)
    table.add_column("loss")
    table.add_column("dB", justify="right")
    for name, loss_db in answer.parts_db.items():
        table.add_row(name, f"{loss_db:.2f}")
    table.add_row("together", f"{sum(answer.parts_db.values()):.2f}", style="bold")
    Console().print(table)
    print(f"Source: {answer.source}.")
