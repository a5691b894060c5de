"""When an interface that gives nothing but zeros is told."""

from dataclasses import replace

import numpy as np

from fluxbench.measure import HOP_S, Hop
from fluxbench.session._engine_process import Heard
from fluxbench.session._only_zeros import TOLD_AFTER_S, OnlyZeros

ZEROS = Hop(0, 960, (1000.0,), np.zeros((20, 1, 2), np.complex64), np.zeros(2, np.float32),
            np.zeros(2), lost=False)  # fmt: skip
ONE_TRACK_HISSES = replace(ZEROS, total_power=np.array([0.0, 1e-12]))


def test_half_a_second_of_zeros_on_all_tracks_is_told_and_any_noise_takes_it_back() -> None:
    zeros = OnlyZeros()
    told = [zeros.stand_in(Heard(1, (ZEROS,))) for _ in range(40)]
    assert told.index(True) == round(TOLD_AFTER_S / HOP_S) - 1
    assert all(told[told.index(True) :])
    assert zeros.stand_in(Heard(1, ()))
    assert not zeros.stand_in(Heard(1, (ONE_TRACK_HISSES,)))


def test_a_dead_track_beside_others_is_none() -> None:
    zeros = OnlyZeros()
    assert not any(zeros.stand_in(Heard(1, (ZEROS, ONE_TRACK_HISSES))) for _ in range(100))
