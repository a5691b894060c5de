"""The tables as they are now; how they came to be is told by the migrations."""

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    MetaData,
    Table,
)

from fluxbench.book._types import WHOLE, words

HEAD = "0004"
"""The migration that makes them."""

METADATA = MetaData()
FOLLOWING = MetaData()
"""What follows from the other tables, and is made of them again where they are imported."""

LINEUPS = Table(
    "lineups",
    METADATA,
    Column("id", words(64), primary_key=True),
    Column("kind", words(16), nullable=False),
    Column("begun_at", words(32), nullable=False),
    Column("plan", JSON, nullable=False),
    Column("closed", Boolean, nullable=False),
    Column("stopped", words()),
    Column("deck", words(64)),
    Column("tape", words(64), index=True),
    Column("batch", words(64), index=True),
    Column("speed_ips", Float),
    Column("bench", words(64)),
    Index("lineups_of_deck", "deck", "begun_at"),
)

JOURNAL = Table(
    "journal",
    METADATA,
    Column("seq", WHOLE, primary_key=True, autoincrement=True),
    Column("lineup", words(64), ForeignKey("lineups.id")),
    Column("at", words(32), nullable=False),
    Column("t_s", Float, nullable=False),
    Column("what", words(32), nullable=False),
    Column("facts", JSON, nullable=False),
    Column("bench", words(64)),
    Index("journal_of_lineup", "lineup", "seq"),
    sqlite_autoincrement=True,  # a number is never given twice
)
"""`bench` is who wrote it, of the several that share a book; nobody in a book for one alone."""

STEPS = Table(
    "steps",
    METADATA,
    Column("row", WHOLE, primary_key=True, autoincrement=True),
    Column("lineup", words(64), ForeignKey("lineups.id"), nullable=False, index=True),
    Column("number", WHOLE, nullable=False),
    Column("name", words(64), nullable=False),
    Column("is_part", Boolean, nullable=False),
    Column("value", JSON),
    Column("state", JSON, nullable=False),
)

READINGS = Table(
    "readings",
    METADATA,
    Column("row", WHOLE, primary_key=True, autoincrement=True),
    Column("lineup", words(64), ForeignKey("lineups.id"), nullable=False, index=True),
    Column("seq", WHOLE, ForeignKey("journal.seq"), nullable=False),
    Column("stage", words(32), nullable=False),
    Column("trimmer", words(32), nullable=False),
    Column("track", WHOLE),
    Column("kind", words(16), nullable=False),
    Column("reading", Float),
    Column("error", Float),
    Column("unit", words(16), nullable=False),
    Column("deck", words(64)),
    Column("at", words(32)),
    Column("speed_ips", Float),
    Index("readings_over_time", "deck", "trimmer", "track", "at"),
)
"""Deck, speed and time stand here once more, so that a history needs no other table."""

CORRECTIONS = Table(
    "corrections",
    METADATA,
    Column("row", WHOLE, primary_key=True, autoincrement=True),
    Column("of", WHOLE, ForeignKey("readings.row"), nullable=False, index=True),
    Column("at", words(32), nullable=False),
    Column("who", words(80)),
    Column("why", words(), nullable=False),
    Column("reading", Float),
    Column("error", Float),
)
"""The reading that counts instead of another one, which stays; NULL if none does."""

THINGS = Table(
    "things",
    METADATA,
    Column("row", WHOLE, primary_key=True, autoincrement=True),
    Column("id", words(64), nullable=False),
    Column("kind", words(16), nullable=False),
    Column("at", words(32), nullable=False),
    Column("who", words(80)),
    Column("why", words()),
    Column("facts", JSON, nullable=False),
    Column("retired", Boolean, nullable=False),
    Index("things_by_id", "id", "row"),
    Index("things_of_kind", "kind", "id", "row"),
    sqlite_autoincrement=True,
)
"""Every version of every thing; the newest row of an id is what it is now."""

COMMANDS = Table(
    "commands",
    METADATA,
    Column("id", words(64), primary_key=True),
    Column("at", words(32), nullable=False),
    Column("answer", JSON, nullable=False),
)

PACKS = Table(
    "packs",
    FOLLOWING,
    Column("number", WHOLE, primary_key=True, autoincrement=True),
    Column("lineup", words(64), nullable=False),
    Column("trimmer", words(32), nullable=False),
    Column("kind", words(16), nullable=False),
    Column("unit", words(16), nullable=False),
    Column("tracks", WHOLE),
    Column("told", JSON, nullable=False),
    Index("packs_of_lineup", "lineup", "trimmer"),
)
"""Readings off target that were written together, all tracks in one row, for a history.

`told` has a list each of `row`, `track`, `reading` and `error`; `tracks` is the highest track with
a reading (1 for a stack), NULL if none has one. Readings are never changed, and neither are these:
a correction is looked up by its `row`.
"""
