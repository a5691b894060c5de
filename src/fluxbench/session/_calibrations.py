"""A calibration of an interface, put into the book, and found again by what the interface is."""

import math
from collections.abc import Sequence

from fluxbench.base import MisuseError
from fluxbench.book import Book, Records, Version, Writing
from fluxbench.engine import CalibratedChannel
from fluxbench.links import Interface
from fluxbench.session._full_scales import KnownChannel, calibrations_of, channels_of
from fluxbench.session._pages import now_utc


def kept_interface(book: Records, interface: Interface) -> Version | None:
    """The interface as the book knows it: by name, host API and channels, as far as told."""
    same = [
        version
        for version in book.things("interfaces")
        if (version.facts["name"], version.facts["host_api"])
        == (interface.name, interface.host_api)
        and version.facts["inputs"] in (None, interface.inputs)
        and version.facts["outputs"] in (None, interface.outputs)
    ]
    return max(same, key=lambda v: (v.facts["inputs"] is not None, v.row), default=None)


def channels_kept(book: Records, interface: Interface) -> tuple[KnownChannel, ...]:
    """What the book knows of the interface's channels."""
    known = kept_interface(book, interface)
    return () if known is None else channels_of(calibrations_of(book, known.id))


def keep_calibration(
    book: Book,
    interface: Interface,
    channels: Sequence[CalibratedChannel],
    how: str,
    uncertainty_db: float,
    key: str,
) -> Version:
    """Write it, and the interface if it is new there; sent again with its `key` it stands once.

    `uncertainty_db` is the meter's, one standard deviation; what was measured here comes on top.
    MisuseError for a calibration without channels.
    """
    if not channels:
        raise MisuseError("no channel was calibrated; nothing was kept")
    at = now_utc()
    known = kept_interface(book, interface)
    if known is None:
        facts = {
            "name": interface.name,
            "host_api": interface.host_api,
            "inputs": interface.inputs or None,
            "outputs": interface.outputs or None,
        }
        known = book.keep(Writing(f"{key}-of", "interfaces", None, facts, at))
    error_db = max(one.error_db for one in channels)
    told = {
        "name": f"{interface.name}, {at[:10]}",
        "interface": known.id,
        "on": at[:10],
        "how": how,
        "uncertainty_db": round(math.hypot(uncertainty_db, error_db), 4),
        "channels": [
            {
                "channel": one.channel,
                "side": one.side,
                "full_scale_dbu": round(one.full_scale_dbu, 3),
            }
            for one in channels
        ],
    }
    return book.keep(Writing(key, "calibrations", None, told, at))


def named_interface(book: Records, name: str) -> str | None:
    """The id of the one interface in the book that has this name; None if there is not just one."""
    same = [version.id for version in book.things("interfaces") if version.facts["name"] == name]
    return same[0] if len(same) == 1 else None
