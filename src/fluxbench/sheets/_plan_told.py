"""The plan in words: deck, stock with its sheet's over-bias, calibration tape."""

from fluxbench.sheets._contents import Contents
from fluxbench.sheets._words import one_line, plain, signed
from fluxbench.trade import EQUALISATION_STANDARDS, Equalisation, fluxivity_ratio_db, pitch

NOT_GIVEN = "not given"
INCHES = {6.3: "¼-inch", 12.6: "½-inch", 25.3: "1-inch", 50.7: "2-inch"}
CM_PER_INCH = 2.54

Rows = list[tuple[str, str]]


def plan_told(contents: Contents) -> list[tuple[str, str, Rows]]:
    """Three columns: heading, name, and rows of what it is and how much."""
    return [
        ("Deck", contents.deck_name, _deck(contents)),
        ("Stock", contents.stock_name, _stock(contents)),
        ("Calibration tape", contents.tape_name, _tape(contents)),
    ]


def speed_told(contents: Contents) -> str:
    """The speed in both units."""
    return speed_words(contents.plan.speed_ips)


def speed_words(speed_ips: float) -> str:
    """A speed in both units."""
    return f"{speed_ips:g} in/s ({speed_ips * CM_PER_INCH:.4g} cm/s)"


def equalisation_told(contents: Contents) -> str:
    """The time constants, and the names that standards give them at this speed."""
    return equalisation_words(contents.plan.equalisation, contents.plan.speed_ips)


def equalisation_words(equalisation: Equalisation, speed_ips: float) -> str:
    """Time constants, and the names that standards give them at a speed."""
    names = [
        name
        for standard in EQUALISATION_STANDARDS
        if (standard.equalisation, standard.speed_ips) == (equalisation, speed_ips)
        for name in standard.names
    ]
    constants = str(equalisation).replace(" us", " µs")
    return f"{constants} ({', '.join(names[:2])})" if names else constants


def _deck(contents: Contents) -> Rows:
    plan, electrical = contents.plan, contents.deck["electrical"]
    zero_dbu = signed(float(electrical["zero_vu_dbu"]), 1)
    tape = INCHES.get(plan.tape_width_mm, f"{plan.tape_width_mm:g} mm")
    return [
        ("Format", f"{plan.tracks} track{'s' * (plan.tracks > 1)}, {tape}"),
        ("Speed", speed_told(contents)),
        ("Equalisation", equalisation_told(contents)),
        ("Operating flux", f"{plan.operating_nwb_per_m:g} nWb/m"),
        ("0 VU", f"{zero_dbu} dBu, {signed(plan.zero_dbfs, 1)} dBFS"),
        ("Track, pitch", f"{plan.width_mm:g} mm, {plan.pitch_mm:g} mm"),
    ]


def _stock(contents: Contents) -> Rows:
    plan, sheet = contents.plan, contents.stock

    def given(name: str, told: str) -> str:
        return told if sheet.get(name) is not None else f"{told}, {NOT_GIVEN}: usual"

    def number(name: str, unit: str) -> str:
        value = sheet.get(name)
        return f"{value:g} {unit}" if isinstance(value, (int, float)) else NOT_GIVEN

    level = f"{plain(plan.over_bias_level_db, 0)} dB re 0 VU"
    batch = sheet.get("batch")
    return [
        ("Over-bias", f"{plain(plan.over_bias_db)} dB"),
        ("with tone", given("over_bias_frequency_hz", pitch(plan.over_bias_hz))),
        ("at level", given("over_bias_level_db", level)),
        ("at speed", number("speed_ips", "in/s")),
        ("with gap", f"{number('record_gap_um', 'µm')}; deck's {plan.record_gap_um:g} µm"),
        ("Batch", NOT_GIVEN if batch is None else one_line(batch, 30)),
    ]


def _tape(contents: Contents) -> Rows:
    plan = contents.plan
    ratio_db = float(fluxivity_ratio_db(plan.calibration_nwb_per_m, plan.operating_nwb_per_m))
    level_at, high_at = (pitch(s.frequency_hz) for s in (plan.level_section, plan.high_section))
    tones_hz = [section.frequency_hz for section in plan.sections]
    return [
        ("Fluxivity", f"{plan.calibration_nwb_per_m:g} nWb/m, reads {signed(ratio_db)} dB"),
        ("Reference", pitch(plan.reference_hz)),
        ("Width", "full" if plan.full_width else "as the tracks"),
        ("Fringing", _fringing(contents)),
        ("Sections", f"{len(tones_hz)}, {pitch(min(tones_hz))} to {pitch(max(tones_hz))}"),
        ("Used for", f"level {level_at}, high end {high_at}"),
    ]


def _fringing(contents: Contents) -> str:
    plan = contents.plan
    if not plan.full_width:
        return "none, no wider than a track"
    if plan.fringing_compensated != "no":
        kind = one_line(plan.fringing_compensated, 24)
        return f"compensation: {kind}; nothing added"
    rise_db = plan.fringing_db(plan.reference_hz)
    low, high = signed(float(rise_db.min())), signed(float(rise_db.max()))
    span = low if low == high else f"{low} to {high}"
    return f"worked out, {span} dB at {pitch(plan.reference_hz)}"
