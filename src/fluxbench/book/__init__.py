"""The book: line-ups, their journal and their readings in a database; the only SQL."""

from fluxbench.book._book import Book, Entry, LineUpRow, Page, Reading, Records

__all__ = ["Book", "Entry", "LineUpRow", "Page", "Reading", "Records"]
