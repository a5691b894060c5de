"""A bench that runs on a made-up interface: ``python -m tests.browser.desk_bench BOOK``."""

import sys
from pathlib import Path

from fluxbench.book import Book
from fluxbench.session import Session, Trials
from fluxbench.web import build_app, listen_on, serve_app
from tests.benches.made_interface import DESK, listed, open_desk, opened


def main() -> None:
    book = Book(Path(sys.argv[1]))
    session = Session(book, open_desk, DESK.name, "1.2.3")
    app = build_app(session, trials=Trials(session, listed, opened))
    listener = listen_on(0)
    try:
        serve_app(app, [listener], lambda address: print(address, flush=True))
    finally:
        listener.close()
        book.close()


if __name__ == "__main__":
    main()
