"""Types that hold the same in a file and on a server, whatever the server thinks of lengths.

SQLite takes lengths and widths for remarks. A server that took them at their word would refuse a
page for a long name, and the bench could not go on; and it would sort texts by its own language.
"""

from sqlalchemy import BigInteger, Integer, String, Text
from sqlalchemy.types import TypeEngine

WHOLE: TypeEngine[int] = Integer().with_variant(BigInteger(), "postgresql")


def words(length: int | None = None) -> TypeEngine[str]:
    """Text of about this length, sorted by its code points."""
    plain: TypeEngine[str] = Text() if length is None else String(length)
    return plain.with_variant(Text(collation="C"), "postgresql")
