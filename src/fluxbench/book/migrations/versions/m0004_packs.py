"""Readings off target once more, all tracks in one row, for the history."""

import sqlalchemy as sa
from alembic import op

from fluxbench.book._packs import pack_all
from fluxbench.book._types import WHOLE, words

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table, and fill it from the readings that are there."""
    op.create_table(
        "packs",
        sa.Column("number", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("lineup", words(64), nullable=False),
        sa.Column("trimmer", words(32), nullable=False),
        sa.Column("kind", words(16), nullable=False),
        sa.Column("unit", words(16), nullable=False),
        sa.Column("tracks", WHOLE),
        sa.Column("told", sa.JSON, nullable=False),
    )
    op.create_index("packs_of_lineup", "packs", ["lineup", "trimmer"])
    pack_all(op.get_bind())
