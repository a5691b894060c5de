"""Which bench began a line-up and wrote an entry, for a book that several share.

What was there before belongs to the one bench of its file.
"""

import sqlalchemy as sa
from alembic import op

from fluxbench.book._types import words

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the name of the bench to line-ups and journal."""
    for table in ("lineups", "journal"):
        op.add_column(table, sa.Column("bench", words(64)))
