"""What is declared about a transfer, by whoever asks, or by the coding history of its file.

A file proves neither speed nor equalisation nor fluxivity: without a declaration they stay open.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fluxbench.base import MisuseError
from fluxbench.trade import (
    EQUALISATION_STANDARDS,
    Equalisation,
    Format,
    equalisation_named,
)

_SPEED = re.compile(r"(?<![\d.])(\d+(?:[.,]\d+)?)\s*(ips\b|in/s|inch(?:es)?/s|cm/s|mm/s)", re.I)
_MM_PER_S = {"cm/s": 10.0, "mm/s": 1.0}
_CONSTANTS = re.compile(r"(?<![\w.])(3180|1590|inf|∞|0)\s*[/+]\s*(\d+(?:\.\d+)?)", re.I)
_NAMES = re.compile(r"\b(NAB|IEC ?1|IEC ?2|CCIR|AES|DIN)\b", re.I)
_NEAR_RATIO = 0.01


@dataclass(frozen=True, slots=True)
class Chain:
    """A calibration of the chain that played: this fluxivity reads this level."""

    fluxivity_nwb_per_m: float
    level_dbfs: float


@dataclass(frozen=True, slots=True)
class Declared:
    """What is said about a transfer; None is what nobody says.

    `level_dbfs` is what the reference tone should read, `speed_tone_hz` a tone that proves speed.
    `by_history` names what only the coding history of the file says.
    """

    speed_ips: float | None = None
    played: Equalisation | None = None
    level_dbfs: float | None = None
    speed_tone_hz: float | None = None
    layout: Format | None = None
    chain: Chain | None = None
    by_history: tuple[str, ...] = ()


def equalisation_of(text: str, speed_ips: float | None) -> Equalisation:
    """An equalisation by its time constants, such as 3180/50 or inf/35, or by name at a speed."""
    found = _CONSTANTS.fullmatch(text.strip())
    if found:
        return _by_constants(found)
    if speed_ips is None:
        raise MisuseError(
            f"{text!r} names an equalisation only at a speed;"
            " give --speed too, or time constants such as 3180/50 or inf/35"
        )
    return equalisation_named(text, speed_ips)


def chain_of(text: str) -> Chain:
    """A calibration such as 320@-18: 320 nWb/m reads -18 dBFS."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*@\s*(-?\d+(?:\.\d+)?)\s*", text, re.ASCII)
    if found is None or not 1.0 <= float(found[1]) <= 10_000.0 or not -120 <= float(found[2]) <= 40:
        raise MisuseError(f"{text!r} is no calibration; give nWb/m @ dBFS, such as 320@-18")
    return Chain(float(found[1]), float(found[2]))


def with_history(declared: Declared, history: Sequence[Mapping[str, str]]) -> Declared:
    """Fill in speed and played equalisation from the newest analogue line of a coding history."""
    texts = [line.get("T", "") for line in history if line.get("A", "").upper() == "ANALOGUE"]
    if not texts:
        return declared
    said = []
    if declared.speed_ips is None and (speed_ips := _speed(texts[-1])):
        declared = replace(declared, speed_ips=speed_ips)
        said.append("speed")
    if declared.played is None and (played := _equalisation(texts[-1], declared.speed_ips)):
        declared = replace(declared, played=played)
        said.append("played equalisation")
    return replace(declared, by_history=tuple(said))


def known_speeds() -> list[float]:
    """Speeds in in/s at which a standard equalisation is known, the fastest first."""
    return sorted({s.speed_ips for s in EQUALISATION_STANDARDS}, reverse=True)


def _speed(text: str) -> float | None:
    for found in _SPEED.finditer(text):
        number, unit = float(found[1].replace(",", ".")), found[2].lower()
        speed_ips = number * _MM_PER_S[unit] / 25.4 if unit in _MM_PER_S else number
        for known_ips in known_speeds():
            if math.isclose(speed_ips, known_ips, rel_tol=_NEAR_RATIO):
                return known_ips
    return None


def _equalisation(text: str, speed_ips: float | None) -> Equalisation | None:
    if found := _CONSTANTS.search(text):
        return _by_constants(found)
    names = {name.upper().replace(" ", "") for name in _NAMES.findall(text)}
    meant = set()
    for name in names:
        try:
            meant.add(equalisation_named(name, speed_ips or 0.0))
        except MisuseError:
            continue
    return meant.pop() if len(meant) == 1 else None


def _by_constants(found: re.Match[str]) -> Equalisation:
    t1_us = float(found[1]) if found[1].isdigit() and float(found[1]) else None
    return Equalisation(t1_us, float(found[2]))
