"""A book in a database of a PostgreSQL server: many benches, which write one after the other."""

import hashlib
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text

from fluxbench.base import BookError
from fluxbench.book._place import Server

BUSY_MS = 300
"""As long as a page waits for that of another bench; then it is tried again."""
PATIENT_MS = 60_000
"""As long as tables wait, that are made or brought up to date."""
HANGS_MS = 30_000
"""A bench that was cut off in the middle of a page holds up the others no longer than this."""
WRITING = 0x466C7578
"""Whoever has this advisory lock writes: so journal numbers are in the order of commits."""
LIMITS = {
    "connect_timeout": 5,
    "tcp_user_timeout": 3000,
    "keepalives_idle": 2,
    "keepalives_interval": 1,
    "keepalives_count": 3,
    "options": f"-c lock_timeout={BUSY_MS} -c idle_in_transaction_session_timeout={HANGS_MS}",
}
"""What libpq is told: a server that has gone is noticed within seconds."""


def engine_for(server: Server, *, writes: bool, bench: str | None = None) -> Engine:
    """A pool of connections; BookError where the driver is missing.

    The one that writes holds the name of its bench for as long as it lives. A reading transaction
    sees one state of the book from its first line to its last.
    """
    given: dict[str, Any] = {"pool_size": 1, "max_overflow": 0} if writes else {}
    try:
        engine = create_engine(
            server.url,
            isolation_level="READ COMMITTED" if writes else "REPEATABLE READ",
            pool_pre_ping=True,  # a server that was started anew in between costs no page
            hide_parameters=True,
            connect_args={k: v for k, v in LIMITS.items() if k not in server.url.query},
            **given,
        )
    except ImportError:
        raise BookError(
            "a book on a server needs the extra `postgres` of Fluxbench, which is not installed; "
            "install fluxbench[postgres]"
        ) from None
    if writes:
        event.listen(engine, "begin", _take_turn)
        if bench is not None:
            event.listen(engine, "connect", lambda made, _record: _name(made, server, bench))
    return engine


def _take_turn(connection: Connection) -> None:
    if connection.get_execution_options().get("patient"):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {PATIENT_MS}")
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITING})")


def _name(connection: Any, server: Server, bench: str) -> None:
    """Hold the name of a bench; BookError if another process has it."""
    number = int.from_bytes(hashlib.sha256(bench.encode()).digest()[:4], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s::int, %s::int)", (WRITING, number))
        (is_ours,) = cursor.fetchone()
    connection.rollback()  # the lock stays with the connection
    if not is_ours:
        connection.close()
        raise BookError(
            f"a bench called {bench} has the book {server} open already; end that one, or give "
            "this one a name of its own with --bench"
        )


def transaction_of(connection: Connection) -> str:
    """The number by which the server will tell what became of a transaction."""
    return str(connection.execute(text("SELECT pg_current_xact_id()::text")).scalar_one())


def is_committed(connection: Connection, transaction: str) -> bool:
    """Whether a transaction that is over was committed."""
    asked = text("SELECT pg_xact_status(CAST(:number AS xid8))")
    return bool(connection.execute(asked, {"number": transaction}).scalar_one() == "committed")
