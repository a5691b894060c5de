"""Where a book is: a file, or a database of a server, whose password is never told again."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from fluxbench.base import MisuseError

SCHEMES = ("postgresql", "postgres")
DRIVER = "postgresql+psycopg"


@dataclass(frozen=True, slots=True, repr=False)
class Server:
    """A database of a PostgreSQL server that holds a book; as text without the password."""

    url: URL

    def __str__(self) -> str:
        """Whom, where and what, and nothing that could be secret."""
        shown = URL.create(
            "postgresql", self.url.username, None, self.url.host, self.url.port, self.url.database
        )
        where = self.url.query.get("host")
        text = shown.render_as_string()
        return f"{text}?host={where}" if isinstance(where, str) else text

    __repr__ = __str__

    def without_secrets(self, text: str) -> str:
        """A text of others about this server, without the password."""
        secrets = (self.url.password, *self.url.normalized_query.get("password", ()))
        for secret in filter(None, secrets):
            text = text.replace(str(secret), "***")
        return text


Place = Path | Server


def place_of(text: str) -> Place:
    """The file or server that a text names; MisuseError for an address of another sort."""
    scheme, mark, _ = text.partition("://")
    if not mark:
        return Path(text)
    if scheme not in SCHEMES:
        raise MisuseError("a book is a file, or postgresql://USER@HOST/DATABASE")
    try:
        url = make_url(text).set(drivername=DRIVER)
    except (ArgumentError, ValueError):  # what it says may hold the password
        raise MisuseError(
            "the address of the book cannot be read; it is postgresql://USER@HOST:PORT/DATABASE, "
            "and signs such as @ : / % in a password are written as %40 %3A %2F %25"
        ) from None
    if not url.database:
        raise MisuseError("the address of the book names no database; it ends in /DATABASE")
    return Server(url)
