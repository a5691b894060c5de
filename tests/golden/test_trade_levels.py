"""Fluxivities, voltages and azimuth phase against their tables."""

import math
import re

import numpy as np
import pytest

from fluxbench import trade
from fluxbench.base import MisuseError
from tests.reference import rows

ROUNDING = 0.0051
"""The tables have two decimals."""

FLUXIVITIES = rows("fluxivity")
LEVELS = {row["item"]: row["value"] for row in rows("levels")}
DIFFERENCES = {row["relation"]: row["value"] for row in rows("flux_measurement_difference")}


@pytest.mark.parametrize("row", FLUXIVITIES, ids=lambda row: row["nwb_per_m"])
def test_fluxivity_ratios(row: dict[str, str]) -> None:
    fluxivity = float(row["nwb_per_m"])
    for reference in (185, 200, 250, 320):
        ratio_db = trade.fluxivity_ratio_db(fluxivity, reference)
        assert ratio_db == pytest.approx(float(row[f"db_re_{reference}"]), abs=ROUNDING)


def test_the_named_fluxivities_are_those_of_the_table() -> None:
    known = [f.fluxivity_nwb_per_m for f in trade.NAMED_FLUXIVITIES]
    assert known == [float(row["nwb_per_m"]) for row in FLUXIVITIES]


@pytest.mark.parametrize("label", ["+3", "+6", "+9"])
def test_a_label_gives_every_fluxivity_that_the_table_gives_it(label: str) -> None:
    """`"+6"` in quotes is what it is called; "exact +6 dB on 185" is what some mean by it."""
    wanted = [
        float(row["nwb_per_m"])
        for row in FLUXIVITIES
        if f'"{label}"' in row["called"] or f"exact {label} dB" in row["called"]
    ]
    found = trade.fluxivities_called(label)
    assert [f.fluxivity_nwb_per_m for f in found] == wanted
    assert (len(found) > 1) == (label != "+9")


@pytest.mark.parametrize("row", FLUXIVITIES, ids=lambda row: row["nwb_per_m"])
def test_old_units(row: dict[str, str]) -> None:
    """The table names two fluxivities by their flux on a full track of 6.25 mm."""
    flux = re.search(r"(\d+) mMx full track 6.25 mm", row["called"])
    assert (flux is not None) == (row["nwb_per_m"] in {"256", "320"})
    if flux:
        fluxivity = trade.fluxivity_from_maxwell(float(flux[1]), 6.25)
        assert fluxivity == pytest.approx(float(row["nwb_per_m"]), abs=0.05)


def test_measurement_methods_differ_as_the_contradictions_say() -> None:
    told = " ".join(trade.FLUXIVITY_CONTRADICTIONS)
    assert DIFFERENCES["nominal 320 DIN = "].startswith("288 nWb/m")
    assert f"{trade.fluxivity_ratio_db(320, 288):.2f} dB" == "0.92 dB"
    assert "0.92 dB" in told
    assert DIFFERENCES["modern comparison of both methods agrees within"] in told
    # 200 by ANSI: 217.8, 220 and 220.9 by DIN, whom one asks.
    by_din = [217.8, 220.0]
    assert [f"{trade.fluxivity_ratio_db(din, 200):.2f}" for din in by_din] == ["0.74", "0.83"]
    assert DIFFERENCES["cassette 200 short-circuit (ANSI) = 220 open-circuit (DIN)"] == "0.83 dB"


@pytest.mark.parametrize("fluxivity", [0, -185, math.inf, math.nan])
def test_a_fluxivity_that_cannot_be(fluxivity: float) -> None:
    with pytest.raises(MisuseError, match="positive number of nWb/m"):
        trade.fluxivity_ratio_db(fluxivity, 185)
    with pytest.raises(MisuseError, match="positive number of nWb/m"):
        trade.fluxivity_ratio_db(185, fluxivity)


def volts(item: str) -> float:
    found = re.search(r"([\d.]+) V", LEVELS[item])
    assert found is not None
    return float(found[1])


def dbu(item: str) -> float:
    found = re.search(r"([+-][\d.]+) dBu", LEVELS[item])
    assert found is not None
    return float(found[1])


def test_voltages() -> None:
    """IEC 60027-3 and ITU-R V.574: 0 dBu is sqrt(0.6) V."""
    assert trade.volts_from_dbu(0) == pytest.approx(volts("0 dBu"), abs=5e-7)
    assert trade.volts_from_dbu(4) == pytest.approx(volts("+4 dBu"), abs=5e-5)
    assert trade.dbu_from_dbv(0) == pytest.approx(dbu("0 dBV"), abs=5e-4)
    assert trade.dbu_from_dbv(-10) == pytest.approx(dbu("-10 dBV"), abs=5e-4)
    assert trade.volts_from_dbu(trade.dbu_from_dbv(-10)) == pytest.approx(
        volts("-10 dBV"), abs=5e-5
    )


@pytest.mark.parametrize("row", rows("vu_scale"), ids=lambda row: row["vu"])
def test_vu_marks(row: dict[str, str]) -> None:
    """IEC 60268-17 practice, 0 VU = +4 dBu; the voltages agree with a published table."""
    level_dbu = trade.dbu_from_vu(float(row["vu"]))
    assert level_dbu == float(row["dbu"])
    assert trade.vu_from_dbu(level_dbu) == float(row["vu"])
    assert trade.volts_from_dbu(level_dbu) == pytest.approx(float(row["v_rms"]), abs=5.1e-5)


def test_wavelengths_of_10_khz() -> None:
    named = re.findall(r"([\d.]+) ips(?: 10 kHz)? = ([\d.]+) um", LEVELS["wavelength on tape"])
    assert len(named) == 3
    for speed_ips, wavelength_um in named:
        assert trade.wavelength_um(10_000, float(speed_ips)) == pytest.approx(float(wavelength_um))


@pytest.mark.parametrize(
    "row", rows("azimuth_phase"), ids=lambda row: f"{row['tape_in']} inch {row['speed_ips']} ips"
)
def test_azimuth_phase(row: dict[str, str]) -> None:
    """McKnight's printed table (300 microradian, 10 kHz, 2 mm edge tracks) rounds by up to 12 %."""
    azimuth_arcmin = np.degrees(300e-6) * 60
    phase_deg = trade.phase_deg(
        azimuth_arcmin, float(row["edge_track_spacing_mm"]), float(row["speed_ips"]), 10_000
    )
    assert phase_deg == pytest.approx(float(row["phase_deg_computed"]), abs=0.051)
    if row["phase_deg_published"]:
        assert phase_deg == pytest.approx(float(row["phase_deg_published"]), rel=0.12)
