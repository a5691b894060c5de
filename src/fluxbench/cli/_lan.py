"""`serve --lan`: where the bench answers on the local network, and the code on the terminal."""

import socket
import sys
from collections.abc import Sequence
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from fluxbench.base import MisuseError

if TYPE_CHECKING:
    from fluxbench.web import Lan, Visitor


def local_addresses() -> tuple[str, ...]:
    """The addresses of this machine on local networks, as numbers; MisuseError if it has none."""
    import psutil

    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    found = tuple(
        one.address
        for name, of_it in psutil.net_if_addrs().items()
        for one in of_it
        if name in up and one.family == socket.AF_INET and is_local(one.address)
    )
    if not found:
        raise MisuseError(
            "--lan: this machine has no address on a local network; connect it to one first"
        )
    return found


def chosen(addresses: Sequence[str]) -> tuple[str, ...]:
    """Addresses that a person named; MisuseError for one that is not of a local network."""
    for address in addresses:
        if not is_local(address):
            raise MisuseError(
                f"--lan-address {address!r} is no number of a local network, such as 192.168.1.7"
            )
    return tuple(dict.fromkeys(addresses))


def is_local(address: str) -> bool:
    """Whether only devices of the same network reach it: no address of the internet, no name."""
    try:
        number = ip_address(address)
    except ValueError:
        return False
    return number.version == 4 and number.is_private and not (
        number.is_loopback or number.is_unspecified
    )  # fmt: skip


def lan_at(addresses: tuple[str, ...], port: int, files: Path) -> "Lan":
    """The bench at these addresses, with the devices that were paired before, and a code open."""
    from fluxbench.web import Devices, Lan

    lan = Lan(addresses, port, Devices(files.with_name(files.name + ".devices")))
    lan.pairing.open()
    return lan


def tell_lan(lan: "Lan") -> None:
    """Say where the bench answers; the code only to a person's eyes, never into a file."""
    print("On the local network: " + " ".join(f"http://{host}" for host in lan.hosts))
    if not sys.stdout.isatty():
        print("The pairing code stands on the bench's own page, under Devices.", flush=True)
        return
    import segno

    from fluxbench.web import link_to

    code = lan.pairing.code or ""
    link = link_to(lan.hosts[0], code)
    segno.make(link, error="l", micro=False).terminal(out=sys.stdout, border=2, compact=True)
    print(f"Pairing code: {code[:3]} {code[3:]} (for one device, ten minutes)", flush=True)
    lan.on_paired = _tell_paired


def _tell_paired(who: "Visitor") -> None:
    print(f"Paired: {who.name}. The next code stands on the bench's own page, under Devices.")
