"""What bias does, from samples: the trimmer is turned while the deck records.

Falls from the peak of 10 kHz at the working point: the practice figures of the physics study,
section 2 ("fitted, not published"): 1.48, 2.83 and 4.78 dB at 30, 15 and 7.5 ips with a 9 um gap;
at 15 ips 1.5 dB with 3 um and 4.6 dB with 25 um.
"""

import numpy as np
import pytest

from fluxbench.deck import _unsteady
from fluxbench.deck._random import Band
from fluxbench.deck._stocks import WORKING_BIAS_DB
from tests.unit.deck.rig import Rig, levels_db


@pytest.fixture(autouse=True)
def steady_contact(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_unsteady, "CONTACT_UM", (Band(0.5, 10.0, 0.0),))


@pytest.mark.parametrize(
    ("speed_ips", "record_gap_um", "fall_db", "within_db"),
    [
        (30.0, 9.0, 1.48, 0.07),
        (15.0, 9.0, 2.83, 0.07),
        (7.5, 9.0, 4.78, 0.07),
        (15.0, 3.0, 1.5, 0.15),
        (15.0, 25.0, 4.6, 0.15),
    ],
)
def test_ten_kilohertz_falls_by_as_much_as_in_practice(
    speed_ips: float, record_gap_um: float, fall_db: float, within_db: float
) -> None:
    rig = Rig(tracks=1, speed_ips=speed_ips).rebuilt(record_gap_um=record_gap_um)
    bank = rig.deck._works.banks["bias"]
    at_head = WORKING_BIAS_DB - rig.deck._machine.bias_efficiency_db
    bank.set_values(at_head)
    rig.deck._works.adjust_all()
    tone = [(10_000.0, -20.0)]
    rig.record(1.0, tone)
    working_db = float(levels_db(rig.send(0.8, tone), 10_000.0)[0])
    less = -1.0 if bank._sense[0] > 0 else 1.0
    read = [working_db]
    for _ in range(16):
        seconds = rig.deck.turn("bias", 0.6 * less, 1)
        rig.send(seconds + 0.3, tone)
        read.append(float(levels_db(rig.send(0.32, tone), 10_000.0)[0]))
    top = int(np.argmax(read))
    assert 1 <= top <= len(read) - 3, "the peak was passed"
    a, b, c = np.polyfit(range(-1, 2), read[top - 1 : top + 2], 2)
    peak_db = c - b * b / (4.0 * a)
    assert peak_db - working_db == pytest.approx(fall_db, abs=within_db)
    assert np.all(np.diff(read[: top + 1]) > 0.0)
    assert np.all(np.diff(read[top:]) < 0.0)


def test_sheet_holds_what_the_deck_does() -> None:
    """The residual of over-bias against the samples, with a track too low and one too high."""
    rig = Rig(tracks=2)
    sheet_db = rig.deck.load("stock")["data_sheet"]["over_bias_db"]
    bank = rig.deck._works.banks["bias"]
    right = bank.values.copy()
    tone = [(10_000.0, -20.0)]
    rig.record(1.0, tone)
    read = []
    for off_db in np.arange(-6.0, 1.6, 0.5):
        bank.set_values(right + off_db)
        rig.deck._works.adjust_all()
        rig.send(0.4, tone)
        read.append(levels_db(rig.send(0.4, tone), 10_000.0))
    falls_db = np.max(read, axis=0) - np.array(read)
    residual_db = rig.deck.truth()["residual"]["over_bias_db"]
    assert falls_db[-1] - sheet_db == pytest.approx(residual_db, abs=0.1)
    assert falls_db[12] == pytest.approx([sheet_db, sheet_db], abs=0.1)  # nothing off
