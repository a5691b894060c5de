"""Where the bench keeps what is a person's own."""

from pathlib import Path


def default_book() -> Path:
    """The book of whoever names none."""
    from platformdirs import user_data_path

    return user_data_path("fluxbench", appauthor=False) / "book.db"
