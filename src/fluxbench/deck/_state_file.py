"""The deck's own memory between two runs, as a real deck keeps its trimmers: one JSON file."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fluxbench.base import MisuseError


def write_state(path: Path, kept: dict[str, Any]) -> None:
    """Write the file beside its old self and then put it in its place."""
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        json.dump(kept, file, allow_nan=False, indent=1)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)


@contextmanager
def reading_state(path: Path) -> Iterator[dict[str, Any]]:
    """The content of the file; whatever does not fit in it is a `MisuseError`."""
    try:
        yield json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        reason = " ".join(f"{error}".split())
        raise MisuseError(
            f"{path} does not hold the state of a practice deck ({reason}); take another file"
        ) from error
