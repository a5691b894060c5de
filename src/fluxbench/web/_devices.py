"""The devices that were let in, kept in a file beside the book; of their secrets only a hash."""

import hashlib
import json
import os
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fluxbench.base import BookError, ConflictError

AT_MOST = 32
KEPT_DAYS = 180
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Device:
    """One that was let in; `sha256` is that of its secret, in hexadecimal."""

    id: str
    name: str
    paired_at: str
    sha256: str


class Devices:
    """The list, on disk before it counts; readable by its owner alone."""

    def __init__(self, file: Path) -> None:
        """Read the list, none if there is no file; BookError if it cannot be read."""
        self._file = file
        self._all: dict[str, Device] = {}
        self.holder: str | None = None
        """The device that holds the controls, None if the desk does."""
        if file.exists():
            self._read()

    def __iter__(self) -> Iterator[Device]:
        return iter(self._all.values())

    def __contains__(self, key: object) -> bool:
        return key in self._all

    def named(self, key: str) -> Device | None:
        """The device with an id."""
        return self._all.get(key)

    def owner_of(self, secret: str) -> Device | None:
        """The device whose secret that is."""
        digest = _hash(secret)
        found = [one for one in self._all.values() if one.sha256 == digest]
        return found[0] if found and not _is_old(found[0]) else None

    def add(self, name: str) -> tuple[Device, str]:
        """Let one in: the device and its secret, which is kept nowhere. ConflictError if full."""
        if len(self._all) >= AT_MOST:
            raise ConflictError(f"{AT_MOST} devices are paired already; revoke one at the desk")
        secret = secrets.token_urlsafe(32)
        at = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        device = Device(secrets.token_hex(6), self._free_name(name), at, _hash(secret))
        self._write({**self._all, device.id: device}, self.holder)
        return device, secret

    def remove(self, key: str) -> None:
        """Let one in no longer."""
        rest = {i: one for i, one in self._all.items() if i != key}
        self._write(rest, None if self.holder == key else self.holder)

    def hold(self, key: str | None) -> None:
        """Write down who holds the controls."""
        self._write(self._all, key)

    def _free_name(self, name: str) -> str:
        plain = " ".join("".join(c if c.isprintable() else " " for c in name).split())
        plain = plain[:LONGEST_NAME].strip() or "Device"
        taken, wanted, number = {one.name for one in self._all.values()}, plain, 1
        while wanted in taken or wanted.casefold() == "desk":
            number += 1
            wanted = f"{plain} {number}"
        return wanted

    def _read(self) -> None:
        try:
            told = json.loads(self._file.read_text("utf-8"))
            devices = [Device(**{k: str(v) for k, v in one.items()}) for one in told["devices"]]
            self._all = {one.id: one for one in devices if not _is_old(one)}
            self.holder = told["holder"] if told["holder"] in self._all else None
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            reason = getattr(error, "strerror", None) or "it is damaged"
            raise BookError(
                f"the paired devices in {self._file} cannot be read ({reason}); "
                "move that file away, and pair them again"
            ) from None

    def _write(self, devices: dict[str, Device], holder: str | None) -> None:
        told = {"devices": [asdict(one) for one in devices.values()], "holder": holder}
        beside = self._file.with_name(self._file.name + ".new")
        try:
            beside.unlink(missing_ok=True)
            with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as to:
                json.dump(told, to, indent=1)
                to.flush()
                os.fsync(to.fileno())
            beside.replace(self._file)
        except OSError as error:
            raise BookError(
                f"{self._file} cannot be written ({error.strerror}); is the disk full?"
            ) from None
        self._all, self.holder = devices, holder


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _is_old(device: Device) -> bool:
    age = datetime.now(UTC) - datetime.fromisoformat(device.paired_at)
    return age > timedelta(days=KEPT_DAYS)
