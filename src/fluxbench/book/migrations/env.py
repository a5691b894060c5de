"""Runs the migrations on the connection, and in the transaction, of whoever asked for it."""

from alembic import context

from fluxbench.book._tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=False,  # the caller's transaction is the one
)
context.run_migrations()
