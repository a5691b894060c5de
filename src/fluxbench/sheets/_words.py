"""Texts on paper: from outside made harmless, from numbers made readable."""

import unicodedata
from collections.abc import Mapping
from typing import Any

LONGEST_TEXT = 160
LONGEST_OF_ALL = 600
MINUS = "\N{MINUS SIGN}"
NOT_READ = "not read"
FONTS_END = 0x4CC
"""Latin, Greek and Cyrillic stand below it: what Typst's own fonts have, found by trying."""
FURTHER = "–—‘’“”„†‡•…‰′″€™−⅓⅔⅛"
UNKNOWN = "?"
"""In place of a sign that no font has: a PDF/A file may not have it."""

TRIMMERS: Mapping[str, tuple[str, str]] = {
    "reproduce_level": ("Reproduce", "level"),
    "reproduce_high": ("Reproduce", "high end"),
    "sync_level": ("Sync", "level"),
    "sync_high": ("Sync", "high end"),
    "bias": ("Bias", "over-bias"),
    "record_level": ("Record", "level"),
    "record_high": ("Record", "high end"),
    "reproduce_low": ("Low end", "mean"),
}
"""Of each trimmer of a track: its head, and what it sets."""


def one_line(text: object, longest: int) -> str:
    """A text from outside as one line of signs that the fonts have, cut where it is too long."""
    signs = "".join(map(_sign, unicodedata.normalize("NFC", str(text))))
    line = " ".join(signs.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def harmless(value: Any) -> Any:
    """Values for a page with every text in them as `one_line` gives it."""
    if isinstance(value, str):
        return one_line(value, LONGEST_OF_ALL)
    if isinstance(value, dict):
        return {name: harmless(inner) for name, inner in value.items()}
    return [harmless(inner) for inner in value] if isinstance(value, (list, tuple)) else value


def _sign(sign: str) -> str:
    if not sign.isprintable():
        return " "
    return sign if ord(sign) < FONTS_END or sign in FURTHER else UNKNOWN


def signed(value: float | None, decimals: int = 2) -> str:
    """A number with its sign, as people write it; zero has none."""
    if value is None:
        return NOT_READ
    text = f"{value:+.{decimals}f}"
    return text[1:] if float(text) == 0.0 else text.replace("-", MINUS)


def plain(value: float | None, decimals: int = 2) -> str:
    """A number with a minus sign where it needs one."""
    if value is None:
        return NOT_READ
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text.replace("-", MINUS)


def listed(numbers: list[int]) -> str:
    """Track numbers with runs of three and more drawn together, as in 1, 3–6, 9."""
    parts: list[str] = []
    while numbers:
        run = next(
            (n for n in range(len(numbers), 2, -1) if numbers[n - 1] - numbers[0] == n - 1), 1
        )
        first, last = numbers[0], numbers[run - 1]
        parts.append(str(first) if run == 1 else f"{first}–{last}")
        numbers = numbers[run:]
    return ", ".join(parts)
