"""The broadcast extension of a Broadcast Wave file, and its coding history.

Fields and places: EBU Tech 3285 v2 (2011). Keys of the coding history: EBU R98-1999, from memory.
Nothing that is read in it is trusted: it is what somebody wrote, and it is only reported.
"""

import struct
from dataclasses import dataclass

_FIXED = struct.Struct("<256s32s32s10s8sQH64s5h")
_FIXED_BYTES = 602
_LOUDNESS_VERSION = 2
_UMID_VERSION = 1
_NOT_GIVEN = 0x7FFF


@dataclass(frozen=True, slots=True)
class BroadcastExtension:
    """What the `bext` chunk says.

    `time_reference` counts samples since midnight. Loudness is given from version 2 on, the `umid`
    (hexadecimal) from version 1 on; otherwise None, and "". `coding_history` has one entry a
    process, the oldest first: the keys A (coding), F (sample rate in Hz), B (kbit/s a channel), W
    (bits), M (mode) and T (free text) as written.
    """

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    origination_date: str = ""
    origination_time: str = ""
    time_reference: int = 0
    version: int = _UMID_VERSION
    umid: str = ""
    loudness_value_lufs: float | None = None
    loudness_range_lu: float | None = None
    max_true_peak_dbtp: float | None = None
    max_momentary_loudness_lufs: float | None = None
    max_short_term_loudness_lufs: float | None = None
    coding_history: tuple[dict[str, str], ...] = ()


def broadcast_extension(chunk: bytes) -> BroadcastExtension | None:
    """Read a `bext` chunk's data; None if it is shorter than its fixed part of 602 bytes."""
    if len(chunk) < _FIXED_BYTES:
        return None
    *texts, time_reference, version, umid, a, b, c, d, e = _FIXED.unpack_from(chunk)
    description, originator, reference, date, time = map(_text, texts)
    hundredths = (a, b, c, d, e)
    loudness = [
        n / 100.0 if version >= _LOUDNESS_VERSION and n != _NOT_GIVEN else None for n in hundredths
    ]
    return BroadcastExtension(
        description,
        originator,
        reference,
        date,
        time,
        time_reference,
        version,
        umid.rstrip(b"\0").hex() if version >= _UMID_VERSION else "",
        loudness[0],
        loudness[1],
        loudness[2],
        loudness[3],
        loudness[4],
        coding_history(_text(chunk[_FIXED_BYTES:])),
    )


def packed(extension: BroadcastExtension) -> bytes:
    """A `bext` chunk's data, which `broadcast_extension` reads back.

    Texts are cut to their fields, and what is not ASCII becomes a question mark.
    """
    e = extension
    texts = (
        e.description,
        e.originator,
        e.originator_reference,
        e.origination_date,
        e.origination_time,
    )
    loudness = (
        e.loudness_value_lufs,
        e.loudness_range_lu,
        e.max_true_peak_dbtp,
        e.max_momentary_loudness_lufs,
        e.max_short_term_loudness_lufs,
    )
    fixed = _FIXED.pack(
        *(_ascii(text) for text in texts),
        e.time_reference,
        e.version,
        bytes.fromhex(e.umid) if e.version >= _UMID_VERSION else b"",
        *(
            0 if e.version < _LOUDNESS_VERSION else _NOT_GIVEN if n is None else round(100.0 * n)
            for n in loudness
        ),
    )
    lines = (",".join(f"{key}={value}" for key, value in keys.items()) for keys in e.coding_history)
    history = "".join(f"{line}\r\n" for line in lines)
    return fixed.ljust(_FIXED_BYTES, b"\0") + _ascii(history)


def coding_history(text: str) -> tuple[dict[str, str], ...]:
    """Take the lines of a coding history apart; free text (T) comes last and may hold anything.

    >>> coding_history("A=ANALOGUE,M=mono,T=deck 3; 15 ips\\r\\nA=PCM,F=96000,W=24,M=mono\\r\\n")[1]
    {'A': 'PCM', 'F': '96000', 'W': '24', 'M': 'mono'}
    """
    return tuple(_keys(line) for line in text.splitlines() if line.strip())


def _keys(line: str) -> dict[str, str]:
    keys: dict[str, str] = {}
    rest = line.strip()
    while rest:
        key, equals, value = rest.partition("=")
        key = key.strip()
        if not equals:
            keys["T"] = f"{keys['T']}, {key}" if "T" in keys else key
            break
        if key == "T":
            keys[key] = value.strip()
            break
        value, _, rest = value.partition(",")
        keys[key] = value.strip()
    return keys


def _ascii(text: str) -> bytes:
    return text.encode("ascii", errors="replace")


def _text(field: bytes) -> str:
    """ASCII up to the first zero; what is none is shown as a question mark, line ends stay."""
    text = field.split(b"\0", 1)[0].decode("ascii", errors="replace")
    return (
        "".join(c if c.isprintable() or c in "\r\n" else "?" for c in text)
        .replace("\ufffd", "?")
        .strip()
    )
