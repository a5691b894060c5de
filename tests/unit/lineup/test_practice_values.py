"""Values of the trade that a line-up must show: common practice, no source."""

from collections.abc import Callable

import numpy as np
import pytest

from fluxbench.deck import PracticeDeck
from fluxbench.lineup import LineUp, plan_from_state
from fluxbench.lineup._bench import Bench, Procedure
from fluxbench.lineup._neighbours import Neighbours
from fluxbench.lineup._peak import Peak
from fluxbench.lineup._stages_record import bias_stage, close, record_high_end, record_level
from fluxbench.lineup._trace import Trace
from fluxbench.signals import Signal, Tone, Tones
from tests.decks.standing import Standing

ZERO_VU_DBFS = 4.0 - 20.0  # 0 VU is +4 dBu at an interface whose full scale is +20 dBu


def bench(over_bias_db: float) -> LineUp:
    deck = PracticeDeck(1, 15.0, 1)
    calibration, stock = deck.load("calibration"), deck.load("stock")
    sheet = {**stock["data_sheet"], "over_bias_db": over_bias_db}
    return LineUp(plan_from_state(calibration, {**stock, "data_sheet": sheet}))


@pytest.mark.parametrize(
    ("peak_db", "over_bias_db", "target_db"), [(-0.5, 4.0, -4.5), (0.3, 3.0, -2.7)]
)
def test_a_peak_and_an_over_bias_give_the_target(
    peak_db: float, over_bias_db: float, target_db: float
) -> None:
    """Common practice, no source: a peak at -0.5 dB and an over-bias of 4 dB give -4.5 dB."""
    peak = Peak(peak_db, 0.02, -3.0)
    for off_db, way in ((0.0, 0), (1.0, 1), (-1.0, -1)):
        trace = Trace(bench(over_bias_db), 0, peak, Neighbours(1))
        for _ in range(20):  # D far below its value at the peak: the right side of it
            advice = trace.add(np.array([[target_db + off_db], [target_db + off_db + 6.0]]))
        assert advice is not None
        assert advice.deviation == pytest.approx(off_db)
        assert advice.way == way  # more bias, less output: raise it where the reading is too high


def sent_in(stage: Callable[[Bench], Procedure]) -> Signal:
    """What is sent on all tracks while a stage waits for its first reading."""
    standing = Standing(PracticeDeck(1, 15.0, 1), stage)
    for _ in range(200):
        standing.run(0.04)
        if isinstance(standing.lineup.signal, Tone | Tones):
            break
    return standing.lineup.signal


def test_bias_and_high_end_are_set_with_10_khz_and_level_with_1_khz() -> None:
    """Common practice, no source: at 15 ips, all re +4 dBu = 0 VU; bias and high end 20 dB below,
    since operating level compresses short waves."""
    bias = sent_in(bias_stage)
    assert isinstance(bias, Tones)
    assert (bias.tones[0].frequency_hz, bias.tones[0].level_dbfs) == (10_000.0, ZERO_VU_DBFS - 20.0)
    assert sent_in(record_level) == Tone(1000.0, ZERO_VU_DBFS)
    standing = Standing(PracticeDeck(1, 15.0, 1), record_high_end).run(9.0)
    high = standing.lineup.signal
    assert isinstance(high, Tones)
    assert [t.frequency_hz for t in high.tones] == [1000.0, 10_000.0]
    assert np.allclose([t.level_dbfs for t in high.tones], ZERO_VU_DBFS - 20.0)


def test_the_reel_is_kept_tails_out() -> None:
    """Common practice, no source: print-through is masked that way."""
    asked: list[str] = []

    def course(bench: Bench) -> Procedure:
        for _ in close(bench):
            asked.append(bench.view.ask.text if bench.view.ask else "")
            yield

    Standing(PracticeDeck(1, 15.0, 1), course).run(1.0)
    assert "tails out" in asked[0]
