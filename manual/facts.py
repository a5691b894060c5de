"""Facts of the trade that the bench works by, as tables: track formats and tolerances."""

from fluxbench.trade import FORMATS, Tolerances, azimuth_tolerance, phase_deg

WAVE_HZ, SPEED_IPS = 10_000.0, 15.0


def formats_told() -> str:
    """A row a format: where its tracks lie, and what its azimuth band is between outer tracks."""
    head = (
        "| format | track | pitch | outer edges | azimuth set within | that is, between outer "
        "tracks | widths from |\n|---|---|---|---|---|---|---|\n"
    )
    rows = []
    for one in FORMATS:
        band = azimuth_tolerance(one.tape_width_mm).set_arcmin
        phase = "one track: [upright head](../explanation/azimuth.md#one-track)"
        if one.tracks > 1:
            apart_mm = one.distance_mm(1, one.tracks)
            phase = f"{float(phase_deg(band, apart_mm, SPEED_IPS, WAVE_HZ)):.0f}°"
        pitch = f"{one.pitch_mm:.2f} mm" if one.tracks > 1 else ""
        rows.append(
            f"| {one.name} | {one.track_width_mm:.2f} mm | {pitch} | {one.outer_width_mm:.1f} mm "
            f"| {band:g} arc-min | {phase} | {one.source} |\n"
        )
    return head + "".join(rows)


def tolerances_told() -> str:
    """A row a quantity: within what the bench says hold, set and accept."""
    known = Tolerances()
    rows = [
        (name, *(f"±{value:g} dB" for value in (band.hold_db, band.set_db, band.accept_db)))
        for name, band in (
            ("1 kHz level", known.level),
            ("high end", known.high_end),
            ("over-bias", known.over_bias),
        )
    ]
    for width_mm, tape in ((6.3, "¼-inch"), (12.6, "½-inch"), (25.3, "1-inch"), (50.7, "2-inch")):
        turned = azimuth_tolerance(width_mm)
        bands = (f"±{turned.set_arcmin:g} arc-min", f"±{turned.accept_arcmin:g} arc-min")
        rows.append((f"azimuth, {tape}", "", *bands))
    low, high = known.response_low_hz, known.response_high_hz / 1000
    rows.append((f"response, {low:g} Hz to {high:g} kHz", "", "", f"±{known.response_db:g} dB"))
    rows.append(("speed", "", "", f"±{known.speed_percent:g} %"))
    return "| quantity | hold | set | accept |\n|---|---|---|---|\n" + "".join(
        f"| {' | '.join(row)} |\n" for row in rows
    )
