"""What line-ups are about: decks, tapes and the rest by version; readings over time; corrections.

Line-ups and readings that were there before keep every value; they belong to no deck.
"""

import sqlalchemy as sa
from alembic import op

from fluxbench.book._types import WHOLE, words

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add tables, columns and indexes; the time of a reading is that of its journal entry."""
    op.add_column("lineups", sa.Column("deck", words(64)))
    for name in ("tape", "batch"):
        op.add_column("lineups", sa.Column(name, words(64)))
        op.create_index(f"ix_lineups_{name}", "lineups", [name])
    op.add_column("lineups", sa.Column("speed_ips", sa.Float))
    lineups = sa.table("lineups", sa.column("plan", sa.JSON), sa.column("speed_ips", sa.Float))
    speed_ips = lineups.c.plan["stock"]["speed_ips"].as_float()
    op.execute(lineups.update().values(speed_ips=speed_ips))
    op.create_index("lineups_of_deck", "lineups", ["deck", "begun_at"])
    op.add_column("readings", sa.Column("deck", words(64)))
    op.add_column("readings", sa.Column("at", words(32)))
    op.add_column("readings", sa.Column("speed_ips", sa.Float))
    op.execute(
        "UPDATE readings SET at = (SELECT at FROM journal WHERE journal.seq = readings.seq), "
        "speed_ips = (SELECT speed_ips FROM lineups WHERE lineups.id = readings.lineup)"
    )
    op.create_index("readings_over_time", "readings", ["deck", "trimmer", "track", "at"])
    op.create_table(
        "corrections",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("of", WHOLE, sa.ForeignKey("readings.row"), nullable=False),
        sa.Column("at", words(32), nullable=False),
        sa.Column("who", words(80)),
        sa.Column("why", words(), nullable=False),
        sa.Column("reading", sa.Float),
        sa.Column("error", sa.Float),
    )
    op.create_index("ix_corrections_of", "corrections", ["of"])
    op.create_table(
        "things",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=True),
        sa.Column("id", words(64), nullable=False),
        sa.Column("kind", words(16), nullable=False),
        sa.Column("at", words(32), nullable=False),
        sa.Column("who", words(80)),
        sa.Column("why", words()),
        sa.Column("facts", sa.JSON, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("things_by_id", "things", ["id", "row"])
    op.create_index("things_of_kind", "things", ["kind", "id", "row"])
