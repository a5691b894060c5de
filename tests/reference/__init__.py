"""Published check values, one CSV file a table; each row says its source and its status.

FOUND was read in the named source, MEMORY is from memory, COMPUTED and derived come from the closed
form of the standard, worked out apart from this project's code.
"""

import csv
from pathlib import Path


def rows(table: str) -> list[dict[str, str]]:
    """The rows of a table, each a mapping from column to text."""
    with (Path(__file__).parent / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))
