"""Which missing frames are told as gaps."""

import time
from dataclasses import replace

import numpy as np
import pytest

from fluxbench.lineup import Ask, View
from fluxbench.measure import Hop
from fluxbench.session._engine_process import Heard
from fluxbench.session._gaps import Gaps

WHOLE = Hop(0, 960, (1000.0,), np.zeros((20, 1, 1), np.complex64), np.zeros(1, np.float32),
            np.zeros(1), lost=False)  # fmt: skip
TOLD = replace(WHOLE, lost=True)
SILENT = replace(TOLD, slipped=True)
RUNNING = View("bias", 1.0)
ASKING = View("bias", 1.0, ask=Ask(1, "transport", "play"))


def test_what_the_stream_tells_is_always_a_gap() -> None:
    for view in (None, RUNNING, ASKING):
        assert Gaps().are_in(Heard(1, (WHOLE, TOLD)), view)
        assert Gaps().are_in(Heard(1, (WHOLE,), left_out=1), view)
        assert not Gaps().are_in(Heard(1, (WHOLE,)), view)


def test_a_jump_of_the_tones_is_one_unless_hands_are_at_tape_or_switch(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now_s = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now_s[0])
    gaps = Gaps()
    assert gaps.are_in(Heard(1, (SILENT,)), RUNNING)
    assert not gaps.are_in(Heard(1, (SILENT,)), ASKING)
    now_s[0] += 1.0
    assert not gaps.are_in(Heard(1, (SILENT,)), RUNNING)
    now_s[0] += 1.0
    assert gaps.are_in(Heard(1, (SILENT,)), RUNNING)
    assert not gaps.are_in(Heard(1, (SILENT,)), None)
