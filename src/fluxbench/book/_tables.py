"""The tables as they are now; how they came to be is told by the migrations."""

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)

HEAD = "0002"
"""The migration that makes them."""

METADATA = MetaData()

LINEUPS = Table(
    "lineups",
    METADATA,
    Column("id", String(64), primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("begun_at", String(32), nullable=False),
    Column("plan", JSON, nullable=False),
    Column("closed", Boolean, nullable=False),
    Column("stopped", Text),
    Column("deck", String(64)),
    Column("tape", String(64), index=True),
    Column("batch", String(64), index=True),
    Column("speed_ips", Float),
    Index("lineups_of_deck", "deck", "begun_at"),
)

JOURNAL = Table(
    "journal",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("lineup", String(64), ForeignKey("lineups.id")),
    Column("at", String(32), nullable=False),
    Column("t_s", Float, nullable=False),
    Column("what", String(32), nullable=False),
    Column("facts", JSON, nullable=False),
    Index("journal_of_lineup", "lineup", "seq"),
    sqlite_autoincrement=True,  # a number is never given twice
)

STEPS = Table(
    "steps",
    METADATA,
    Column("row", Integer, primary_key=True, autoincrement=True),
    Column("lineup", String(64), ForeignKey("lineups.id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("name", String(64), nullable=False),
    Column("is_part", Boolean, nullable=False),
    Column("value", JSON),
    Column("state", JSON, nullable=False),
)

READINGS = Table(
    "readings",
    METADATA,
    Column("row", Integer, primary_key=True, autoincrement=True),
    Column("lineup", String(64), ForeignKey("lineups.id"), nullable=False, index=True),
    Column("seq", Integer, ForeignKey("journal.seq"), nullable=False),
    Column("stage", String(32), nullable=False),
    Column("trimmer", String(32), nullable=False),
    Column("track", Integer),
    Column("kind", String(16), nullable=False),
    Column("reading", Float),
    Column("error", Float),
    Column("unit", String(16), nullable=False),
    Column("deck", String(64)),
    Column("at", String(32)),
    Column("speed_ips", Float),
    Index("readings_over_time", "deck", "trimmer", "track", "at"),
)
"""Deck, speed and time stand here once more, so that a history needs no other table."""

CORRECTIONS = Table(
    "corrections",
    METADATA,
    Column("row", Integer, primary_key=True, autoincrement=True),
    Column("of", Integer, ForeignKey("readings.row"), nullable=False, index=True),
    Column("at", String(32), nullable=False),
    Column("who", String(80)),
    Column("why", Text, nullable=False),
    Column("reading", Float),
    Column("error", Float),
)
"""The reading that counts instead of another one, which stays; NULL if none does."""

THINGS = Table(
    "things",
    METADATA,
    Column("row", Integer, primary_key=True, autoincrement=True),
    Column("id", String(64), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("at", String(32), nullable=False),
    Column("who", String(80)),
    Column("why", Text),
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
    Column("id", String(64), primary_key=True),
    Column("at", String(32), nullable=False),
    Column("answer", JSON, nullable=False),
)
