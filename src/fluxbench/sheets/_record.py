"""What the printed code says: the record's name, or where a bench in the same house shows it."""

import re
from ipaddress import ip_address
from urllib.parse import quote, urlsplit

from fluxbench.base import MisuseError
from fluxbench.sheets._words import one_line

LONGEST_NAME = 200
"""Of a record's name in a code that is still read from a print of 20 mm."""


def record_of(name: str, address: str = "", path: str = "lineups/{}/sheet") -> str:
    """The text of a code: `name`, or its place at a bench's address on the local network.

    MisuseError for an address that is not plain HTTP to a private or link-local number or a name
    in `.local`: a printed sheet must not lead its readers to anybody else.
    """
    if not address:
        return one_line(name, LONGEST_NAME) or "?"
    parts = urlsplit(address) if is_in_house(address) else None
    if parts is None or parts.path not in ("", "/") or parts.query or parts.fragment:
        raise MisuseError(
            f"{one_line(address, 80)!r} is no address of a bench on the local network; "
            "give http:// and its number or its name in .local, or leave it out"
        )
    return f"http://{parts.netloc}/api/{path.format(quote(name[:LONGEST_NAME], safe=''))}"


def in_house_or_none(address: str) -> str:
    """The address, "" if it is not one of the local network."""
    return address if is_in_house(address) else ""


def is_in_house(address: str) -> bool:
    """Whether other devices of the same network, and nobody else, may find a bench there."""
    try:
        parts = urlsplit(address)
        host, _port = parts.hostname or "", parts.port
    except ValueError:
        return False
    if parts.scheme != "http" or parts.username is not None or not parts.netloc.isascii():
        return False
    try:
        number = ip_address(host)
    except ValueError:
        return re.fullmatch(r"[a-z0-9][a-z0-9.-]*\.local", host) is not None
    return number.is_private and not (number.is_loopback or number.is_unspecified)
