"""Two computers of a network of their own, made of namespaces; all of it ends with the test."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

DESK = "10.77.31.1"
TABLET = "10.77.31.2"
IP = "/usr/sbin/ip"


@dataclass(frozen=True, slots=True)
class Room:
    """A computer with its own network; `process` keeps it there."""

    process: "subprocess.Popen[str]"

    def inside(self, *command: str) -> list[str]:
        """The command as it is run there."""
        enter = ["/usr/bin/nsenter", "-t", str(self.process.pid), "-U", "-n"]
        return [*enter, "--preserve-credentials", *command]

    def run(self, *command: str) -> None:
        """Run it there until it ends well."""
        subprocess.run(self.inside(*command), check=True)


@contextmanager
def _room(*command: str) -> Iterator[Room]:
    """It lasts until its standard input ends: with this process at the latest."""
    keeper = [*command, "/bin/sh", "-c", "echo in && exec cat"]
    with subprocess.Popen(
        keeper, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "in\n"
        yield Room(process)


@contextmanager
def two_rooms() -> Iterator[tuple[Room, Room]]:
    """The bench's computer at `DESK` and a tablet at `TABLET`, on one cable."""
    with ExitStack() as stack:
        desk = stack.enter_context(_room("/usr/bin/unshare", "-r", "-n"))
        enter = desk.inside("/usr/bin/unshare", "-n")
        tablet = stack.enter_context(_room(*enter))
        desk.run(
            IP, "link", "add", "cable", "type", "veth",
            "peer", "name", "cable", "netns", str(tablet.process.pid),
        )  # fmt: skip
        for room, address in ((desk, DESK), (tablet, TABLET)):
            room.run(IP, "address", "add", f"{address}/24", "dev", "cable")
            for name in ("lo", "cable"):
                room.run(IP, "link", "set", name, "up")
        yield desk, tablet


def python(*words: str) -> list[str]:
    """This interpreter with these words."""
    return [sys.executable, *words]
