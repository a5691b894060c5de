"""The first tables: line-ups, journal, steps, readings, commands."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of a new book."""
    op.create_table(
        "lineups",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("begun_at", sa.String(32), nullable=False),
        sa.Column("plan", sa.JSON, nullable=False),
        sa.Column("closed", sa.Boolean, nullable=False),
        sa.Column("stopped", sa.Text),
    )
    op.create_table(
        "journal",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("lineup", sa.String(64), sa.ForeignKey("lineups.id")),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("t_s", sa.Float, nullable=False),
        sa.Column("what", sa.String(32), nullable=False),
        sa.Column("facts", sa.JSON, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("journal_of_lineup", "journal", ["lineup", "seq"])
    op.create_table(
        "steps",
        sa.Column("row", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("lineup", sa.String(64), sa.ForeignKey("lineups.id"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("is_part", sa.Boolean, nullable=False),
        sa.Column("value", sa.JSON),
        sa.Column("state", sa.JSON, nullable=False),
    )
    op.create_index("ix_steps_lineup", "steps", ["lineup"])
    op.create_table(
        "readings",
        sa.Column("row", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("lineup", sa.String(64), sa.ForeignKey("lineups.id"), nullable=False),
        sa.Column("seq", sa.Integer, sa.ForeignKey("journal.seq"), nullable=False),
        sa.Column("stage", sa.String(32), nullable=False),
        sa.Column("trimmer", sa.String(32), nullable=False),
        sa.Column("track", sa.Integer),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("reading", sa.Float),
        sa.Column("error", sa.Float),
        sa.Column("unit", sa.String(16), nullable=False),
    )
    op.create_index("ix_readings_lineup", "readings", ["lineup"])
    op.create_table(
        "commands",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("answer", sa.JSON, nullable=False),
    )
