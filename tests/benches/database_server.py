"""A real database server for a run of tests, in a folder of its own, ended with it."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Sequence
from itertools import count
from pathlib import Path

import psycopg
from sqlalchemy import URL

from fluxbench.book import Book, Server
from fluxbench.book._place import DRIVER
from fluxbench.book._tables import METADATA

USER, PASSWORD = "rooms", "a:b@c/d%e"  # with signs that an address has to spell otherwise
UNSAFE = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "autovacuum=off")
"""A run of tests outlives no power cut; it is what makes a hundred databases quick."""
PATIENCE_S = 240.0


def programs() -> Path | None:
    """Where Debian's package `postgresql` keeps its programs, None if it is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


class DatabaseServer:
    """One server; every test gets databases of its own. By the socket no password is asked."""

    def __init__(self) -> None:
        where = programs()
        assert where is not None
        self._programs, self._numbers = where, count(1)
        self._free: list[Server] = []
        self._folder = Path(tempfile.mkdtemp(prefix="fluxbench-database-"))
        self._as_nobody = {"user": "nobody", "extra_groups": ()} if os.geteuid() == 0 else {}
        if self._as_nobody:
            shutil.chown(self._folder, "nobody")
        secret = self._folder / "secret"
        secret.write_text(PASSWORD)
        self._run(["initdb", "-D", "data", "-U", USER, "--pwfile=secret", "-N", "-E", "UTF8",
                   "--locale=C.UTF-8", "--auth-local=trust",
                   "--auth-host=scram-sha-256"])  # fmt: skip
        for last in (False, False, True):
            with socket.socket() as free:
                free.bind(("127.0.0.1", 0))
                self.port = int(free.getsockname()[1])
            try:
                self._process = self._started()
                break
            except AssertionError:  # somebody else has taken the port meanwhile
                if last:
                    raise

    def _run(self, words: Sequence[str]) -> None:
        done = subprocess.run(
            [self._programs / words[0], *words[1:]], cwd=self._folder, capture_output=True,
            text=True, check=False, **self._as_nobody,  # type: ignore[call-overload]
        )  # fmt: skip
        assert done.returncode == 0, done.stderr

    def _started(self) -> "subprocess.Popen[bytes]":
        settings = [f"port={self.port}", "listen_addresses=127.0.0.1", "max_connections=60",
                    f"unix_socket_directories={self._folder}", "shared_buffers=16MB",
                    *UNSAFE]  # fmt: skip
        with (self._folder / "log").open("ab") as log:
            process = subprocess.Popen(
                [self._programs / "postgres", "-D", "data", *(f"--{s}" for s in settings)],
                cwd=self._folder, stdout=log, stderr=log, **self._as_nobody,  # type: ignore[call-overload]
            )  # fmt: skip
        given_up_at_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                self._tell("SELECT 1")
                return process  # type: ignore[no-any-return]
            except psycopg.OperationalError:
                if time.monotonic() > given_up_at_s or process.poll() is not None:
                    raise AssertionError((self._folder / "log").read_text()) from None
                time.sleep(0.1)

    def _tell(self, statement: str, place: Server | None = None) -> None:
        with psycopg.connect(
            host=str(self._folder), port=self.port, user=USER, autocommit=True,
            dbname="postgres" if place is None else place.url.database,
        ) as connection:  # fmt: skip
            connection.execute(statement.encode())

    def new(self) -> Server:
        """A new database with nothing in it."""
        name = f"book{next(self._numbers)}"
        self._tell(f"CREATE DATABASE {name} TEMPLATE template0")
        return self.at(name)

    def at(self, database: str) -> Server:
        """A database by the socket."""
        return Server(URL.create(DRIVER, USER, port=self.port, database=database,
                                 query={"host": str(self._folder)}))  # fmt: skip

    def address(self, place: Server, password: str = PASSWORD, port: int | None = None) -> str:
        """The same by the network, as one types it."""
        url = URL.create("postgresql", USER, password, "127.0.0.1", port or self.port,
                         place.url.database)  # fmt: skip
        return url.render_as_string(hide_password=False)

    def book(self) -> Server:
        """A book that nobody has open, with nothing in it."""
        if self._free:
            return self._free.pop()
        place = self.new()
        Book(place).close()
        return place

    def give_back(self, place: Server) -> None:
        """Have a book for the next test: a new database takes a second, and eight megabytes."""
        self.drop_connections(place)
        tables = ", ".join(METADATA.tables)
        self._tell(f"TRUNCATE {tables} RESTART IDENTITY CASCADE", place)
        self._free.append(place)

    def drop_connections(self, place: Server) -> None:
        """End every connection to a database, as a server does that is started anew."""
        self._tell(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = "
            f"'{place.url.database}'"
        )

    def end(self) -> None:
        """End the server and leave nothing."""
        self._process.send_signal(signal.SIGQUIT)  # at once: nothing of it is kept
        try:
            self._process.wait(PATIENCE_S)
        finally:
            self._process.kill()
            shutil.rmtree(self._folder, ignore_errors=True)
