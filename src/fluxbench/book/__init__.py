"""The book: line-ups, what they are about, their journal and readings; the only SQL."""

from fluxbench.book._archive import Told, export, import_archive
from fluxbench.book._book import Book, Records
from fluxbench.book._cells import schema as archive_schema
from fluxbench.book._history import Correction, HistoryRow
from fluxbench.book._kinds import (
    KINDS,
    Batch,
    Calibration,
    CalibrationTape,
    Capture,
    Deck,
    Head,
    Interface,
    Kind,
    Reel,
    ServiceNote,
    Stock,
    kind_named,
    schema_of,
    thing_of,
)
from fluxbench.book._pictures import Image, image_of
from fluxbench.book._place import Place, Server, place_of
from fluxbench.book._rows import Entry, LineUpRow, Page, Reading
from fluxbench.book._things import Version, Writing
from fluxbench.book._trails import Visit
from fluxbench.book._whole import backup, restore, upgrade

__all__ = [
    "KINDS",
    "Batch",
    "Book",
    "Calibration",
    "CalibrationTape",
    "Capture",
    "Correction",
    "Deck",
    "Entry",
    "Head",
    "HistoryRow",
    "Image",
    "Interface",
    "Kind",
    "LineUpRow",
    "Page",
    "Place",
    "Reading",
    "Records",
    "Reel",
    "Server",
    "ServiceNote",
    "Stock",
    "Told",
    "Version",
    "Visit",
    "Writing",
    "archive_schema",
    "backup",
    "export",
    "image_of",
    "import_archive",
    "kind_named",
    "place_of",
    "restore",
    "schema_of",
    "thing_of",
    "upgrade",
]
