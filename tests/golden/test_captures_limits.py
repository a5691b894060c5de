"""What is called a fault of a transfer, by the published tolerances: transfer_tolerances.csv."""

import re

import pytest

from fluxbench.captures.catalogue._faults import Limits
from fluxbench.session._full_scales import UNCALIBRATED_ZERO_DBFS
from fluxbench.trade import line_up_tones
from tests.reference import rows


def value(document: str, item: str) -> str:
    (row,) = (
        row
        for row in rows("transfer_tolerances")
        if row["document"].startswith(document) and row["item"] == item
    )
    return row["value"]


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"[+-]?\d+(?:\.\d+)?", text)]


def test_response_limits_are_those_of_two_documents() -> None:
    """30 Hz-10 kHz +/-1 dB; 10-20 kHz +1/-2 dB."""
    limits = Limits()
    for document, item in (
        ("IASA-TC 04 5.4.4", "replay response"),
        ("National library", "open reel response"),
    ):
        middle, top = value(document, item).split(";")
        assert f"+/-{limits.middle_db:g} dB" in middle
        fall_db, rise_db = limits.top_db
        assert f"+{rise_db:g}/{fall_db:g} dB" in top


@pytest.mark.parametrize(("speed_ips", "told"), [(7.5, "(7.5)"), (3.75, "(3.75)")])
def test_flutter_limits_are_those_of_the_document(speed_ips: float, told: str) -> None:
    parts = value("IASA-TC 04 5.4.4", "wow and flutter").split(",")
    (part,) = (part for part in parts if told in part)
    assert Limits().flutter_percent(speed_ips) == numbers(part)[0]


def test_flutter_at_15_ips_asks_no_more_than_the_document() -> None:
    """About 0.05 %; a line-up accepts 0.06 % (common practice)."""
    asked = numbers(value("IASA-TC 04 5.4.4", "wow and flutter"))[0]
    assert asked <= Limits().flutter_percent(15.0) <= 1.2 * asked + 1e-9


def test_speed_is_held_to_the_professional_tolerance() -> None:
    for document, item in (("NAB 1965", "speed"), ("IEC 60094-1", "professional speed tolerance")):
        assert numbers(value(document, item).replace("+/-", ""))[0] == Limits().speed_percent


def test_alignment_level_in_digital_systems() -> None:
    (row,) = (row for row in rows("exchange_tones") if row["document"].startswith("EBU R 68"))
    assert row["level"] == f"{UNCALIBRATED_ZERO_DBFS:g} dBFS"


def test_tones_at_the_head_of_a_reel_are_those_of_the_trade() -> None:
    """100 Hz, 1 kHz and 10 kHz at zero level, 30 s at the least; 1 kHz first."""
    (row,) = (row for row in rows("exchange_tones") if row["document"].startswith("APRS"))
    asked_hz = {
        float(number) * (1000.0 if kilo else 1.0)
        for number, kilo in re.findall(r"(\d+) (k?)Hz", row["sequence"])
    }
    tones = line_up_tones(15.0)
    assert asked_hz <= {tone.frequency_hz for tone in tones}
    assert tones[0].frequency_hz == 1000.0
    assert all(tone.duration_s >= 30.0 for tone in tones)
    assert all(tone.level_db == 0.0 for tone in tones if tone.frequency_hz in asked_hz)
