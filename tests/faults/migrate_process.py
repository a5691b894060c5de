"""Opens a book behind the shim, which brings it up to date; `--planted` it commits on the way."""

import sys
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from fluxbench.book import Book
from tests.faults.shim import Switches


def commit_on_the_way() -> None:
    """The planted bug: each statement that makes or changes a table is a transaction of its own."""

    @event.listens_for(Engine, "after_cursor_execute")
    def _(connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.lstrip().startswith(("CREATE", "ALTER")):
            connection.connection.dbapi_connection.execute("COMMIT")
            connection.connection.dbapi_connection.execute("BEGIN IMMEDIATE")


def main() -> None:
    folder = Path(sys.argv[1])
    Switches().watch(folder, Path(sys.argv[2]))
    if "--planted" in sys.argv:
        commit_on_the_way()
    Book(folder / "book.db").close()


main()
