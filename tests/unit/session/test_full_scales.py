"""Channels of one interface that differ: every one sends and reads dBu by its own full scale."""

import numpy as np
import pytest

from fluxbench.base import Block, Flag, MisuseError
from fluxbench.engine import EvenLink
from fluxbench.session._full_scales import KnownChannel, electrical_of, trims_of

ZERO_DBU = 4.0
IN_DBU, OUT_DBU = np.array([18.0, 18.4, 17.7]), np.array([24.0, 22.5, 18.5])
"""Full scale of the channels of the made-up interface."""
ALL = (1, 2, 3)


class Analogue:
    """Outputs and inputs in volts re 0 dBu: a full-scale sine is a channel's full scale there."""

    rate_hz, inputs, outputs = 48_000, 3, 3

    def __init__(self) -> None:
        self.sent_dbu = np.zeros(3)
        self.arriving_dbu = np.zeros(3)
        self.greatest = 0.0

    def exchange(self, send: np.ndarray) -> Block:
        self.greatest = float(np.abs(send).max())
        self.sent_dbu = 20 * np.log10(np.abs(send).max(axis=0)) + OUT_DBU
        peaks = 10.0 ** ((self.arriving_dbu - IN_DBU) / 20.0)
        return Block(np.tile(peaks, (len(send), 1)).astype(np.float32), 0)

    def close(self) -> None:
        pass


def known(*, without: tuple[tuple[str, int], ...] = ()) -> list[KnownChannel]:
    return [
        KnownChannel(side, n + 1, full_dbu, "2026-11-01", 0.1 + 0.01 * n)
        for side, of in (("in", IN_DBU), ("out", OUT_DBU))
        for n, full_dbu in enumerate(of)
        if (side, n + 1) not in without
    ]


def evened(told: dict[str, object]) -> tuple[Analogue, EvenLink, float]:
    """The interface, the link on it with the plan's trims, and 0 VU in dBFS there."""
    interface = Analogue()
    link = EvenLink(interface)
    link.trim(trims_of({"stock": {"electrical": told}}))
    return interface, link, ZERO_DBU - float(told["interface_full_scale_dbu"])  # type: ignore[arg-type]


def test_every_channel_sends_and_reads_by_its_own_full_scale() -> None:
    told = electrical_of(ZERO_DBU, known(), ALL, ALL)
    interface, link, zero_dbfs = evened(told)
    interface.arriving_dbu[:] = ZERO_DBU + np.array([0.0, -3.0, 1.5])
    send = np.full((10, 3), 10.0 ** (zero_dbfs / 20.0), np.float32)
    back = link.exchange(send)
    assert interface.sent_dbu == pytest.approx([ZERO_DBU] * 3, abs=1e-4)
    read_db = 20.0 * np.log10(np.abs(back.samples).max(axis=0)) - zero_dbfs
    assert read_db == pytest.approx([0.0, -3.0, 1.5], abs=1e-4)
    assert back.flags is Flag.NONE
    assert told["level_uncertainty_db"] == pytest.approx(0.12)
    assert told["calibrated_at"] == "2026-11-01"


def test_an_input_at_full_scale_reads_full_scale_or_more() -> None:
    """So that nothing clipped passes for a reading."""
    interface, link, _ = evened(electrical_of(ZERO_DBU, known(), ALL, ALL))
    interface.arriving_dbu[:] = IN_DBU
    back = link.exchange(np.full((10, 3), 0.1, np.float32))
    assert np.all(np.abs(back.samples) >= 1.0 - 1e-6)


def test_what_no_output_can_give_is_cut_and_flagged() -> None:
    interface, link, _ = evened(electrical_of(ZERO_DBU, known(without=(("in", 3),)), ALL, ALL))
    assert link.exchange(np.full((10, 3), 0.9, np.float32)).flags is Flag.NONE
    full = [KnownChannel("in", 1, 18.0, "2026-11-01", 0.1),
            KnownChannel("out", 1, 10.0, "2026-11-01", 0.1)]  # fmt: skip
    interface, link, _ = evened(electrical_of(ZERO_DBU, full, ALL, ALL))
    assert link.exchange(np.full((10, 3), 0.5, np.float32)).flags is Flag.OUTPUT_LOST
    assert interface.greatest == 1.0


def test_an_output_that_cannot_give_zero_is_refused() -> None:
    low = [KnownChannel("out", 2, 3.5, "2026-11-01", 0.1)]
    with pytest.raises(MisuseError, match=r"output 2 gives \+3\.5 dBu at most"):
        electrical_of(ZERO_DBU, low, ALL, ALL)
    assert electrical_of(ZERO_DBU, low, [1], [1])["relative_outputs"] == [1]  # 2 is not in use


def test_channels_that_nobody_calibrated_are_named_and_left_as_they_are() -> None:
    told = electrical_of(ZERO_DBU, known(without=(("in", 2), ("out", 1))), ALL, ALL)
    assert (told["relative_inputs"], told["relative_outputs"]) == ([2], [1])
    trims = trims_of({"stock": {"electrical": told}})
    assert trims.return_ratio[1] == trims.send_ratio[0] == 1.0
    assert trims.return_ratio[0] == pytest.approx(10.0 ** (0.3 / 20.0))  # 18.0 above 17.7, by hand
    nothing = electrical_of(ZERO_DBU, [], ALL, ALL)
    assert nothing["uncalibrated"] is True
    assert nothing["interface_full_scale_dbu"] == ZERO_DBU + 18.0


def test_channels_further_up_are_those_that_count() -> None:
    """A bench on inputs 2 and 3 reads by their calibrations, whatever the first one's is."""
    told = electrical_of(ZERO_DBU, known(without=(("in", 1), ("out", 2))), (3, 2), (2, 3))
    assert told["relative_inputs"] == []
    assert told["relative_outputs"] == [2]
    assert told["interface_full_scale_dbu"] == 17.7
    assert {(one["side"], one["channel"]) for one in told["channels"]} == {
        ("in", 2), ("in", 3), ("out", 3),
    }  # fmt: skip
