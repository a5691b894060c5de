"""The first tables: line-ups, journal, steps, readings, commands."""

import sqlalchemy as sa
from alembic import op

from fluxbench.book._types import WHOLE, words

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of a new book."""
    op.create_table(
        "lineups",
        sa.Column("id", words(64), primary_key=True),
        sa.Column("kind", words(16), nullable=False),
        sa.Column("begun_at", words(32), nullable=False),
        sa.Column("plan", sa.JSON, nullable=False),
        sa.Column("closed", sa.Boolean, nullable=False),
        sa.Column("stopped", words()),
    )
    op.create_table(
        "journal",
        sa.Column("seq", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("lineup", words(64), sa.ForeignKey("lineups.id")),
        sa.Column("at", words(32), nullable=False),
        sa.Column("t_s", sa.Float, nullable=False),
        sa.Column("what", words(32), nullable=False),
        sa.Column("facts", sa.JSON, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("journal_of_lineup", "journal", ["lineup", "seq"])
    op.create_table(
        "steps",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("lineup", words(64), sa.ForeignKey("lineups.id"), nullable=False),
        sa.Column("number", WHOLE, nullable=False),
        sa.Column("name", words(64), nullable=False),
        sa.Column("is_part", sa.Boolean, nullable=False),
        sa.Column("value", sa.JSON),
        sa.Column("state", sa.JSON, nullable=False),
    )
    op.create_index("ix_steps_lineup", "steps", ["lineup"])
    op.create_table(
        "readings",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("lineup", words(64), sa.ForeignKey("lineups.id"), nullable=False),
        sa.Column("seq", WHOLE, sa.ForeignKey("journal.seq"), nullable=False),
        sa.Column("stage", words(32), nullable=False),
        sa.Column("trimmer", words(32), nullable=False),
        sa.Column("track", WHOLE),
        sa.Column("kind", words(16), nullable=False),
        sa.Column("reading", sa.Float),
        sa.Column("error", sa.Float),
        sa.Column("unit", words(16), nullable=False),
    )
    op.create_index("ix_readings_lineup", "readings", ["lineup"])
    op.create_table(
        "commands",
        sa.Column("id", words(64), primary_key=True),
        sa.Column("at", words(32), nullable=False),
        sa.Column("answer", sa.JSON, nullable=False),
    )
