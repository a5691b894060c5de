"""A loop-back check of an interface whose outputs are cabled to its inputs, block by block."""

from collections.abc import Generator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag, Validity
from fluxbench.engine._loop_back import Cable, LoopBack
from fluxbench.links import Link
from fluxbench.measure import (
    ClockDrift,
    EnvelopeBank,
    RelativeReading,
    ToneReading,
    crosstalk,
    harmonics,
    noise,
    probe_return,
    tone_levels,
)
from fluxbench.signals import PerTrack, Sender, Signal, Silence, Sweep, Tone

BLOCK_S = 0.02
PROBE_S = 0.2
LONGEST_ROUND_TRIP_S = 1.0
SETTLE_S = 0.3
NOISE_S = 2.0
TONE_HZ = 1013.0
"""Off the mains grid."""
FILTER_HOPS = 2
"""Until the filter has forgotten that there was nothing before."""
MOST_TRIES = 3
"""A probe or tone in which frames were lost is sent again."""
ALONE_DB = 20.0
"""A cable is at most so much below the loudest output of its input; less is crosstalk."""

F32 = NDArray[np.float32]
Steps = Generator[None, None, Any]


@dataclass(slots=True)
class _Kept:
    """What was sent and what came back, from the same moment on, and whether frames were lost."""

    sent: F32
    blocks: list[Block]
    """What returned, counted from the first of them."""

    @property
    def returned(self) -> F32:
        return np.concatenate([block.samples for block in self.blocks])

    @property
    def lost(self) -> bool:
        return any(block.flags != Flag.NONE for block in self.blocks)


class LoopCheck:
    """Probes, tones and silence over a link, one block at a `step`.

    Each output in turn sends a short sweep: who hears it, when, which way round. Then every second
    output sends 1 kHz, then the others: gain, harmonics, crosstalk, drift, lost frames. The peaks
    stay at `level_dbfs`. About 10 s and 0.5 s an output. The link is left silent and open.
    """

    def __init__(self, link: Link, level_dbfs: float = -12.0, tone_s: float = 4.0) -> None:
        self.result: LoopBack | None = None
        self.doing = "silence"
        self._link = link
        self._level_dbfs, self._tone_s = level_dbfs, tone_s
        self._sender = Sender(link.rate_hz, link.outputs)
        self._frames = round(BLOCK_S * link.rate_hz)
        self._next_frame: int | None = None
        self._lost_told = self._lost_silent = 0
        self._round_trip_s: float | None = None
        self._steps = self._run()

    def step(self) -> bool:
        """Exchange one block; False when the check is over and `result` is there."""
        return next(self._steps, self) is not self

    def to_its_end(self) -> LoopBack:
        """Exchange all blocks there are to exchange; what was found."""
        while self.result is None:
            self.step()
        return self.result

    def _run(self) -> Steps:
        quiet = yield from self._keep(Silence(), SETTLE_S, NOISE_S)
        found: list[Cable] = []
        for output in range(self._link.outputs):
            self.doing = f"probe on output {output + 1}"
            found += yield from self._probed(output)
        cables = _without_crosstalk(found)
        self.doing = "tones"
        read: dict[tuple[int, int], Cable] = {}
        apart: dict[int, tuple[float | None, float | None]] = {}
        for first in range(min(2, self._link.outputs)):
            driven = [o % 2 == first for o in range(self._link.outputs)]
            yield from self._toned(driven, cables, read, apart)
        yield from self._keep(Silence(), SETTLE_S, BLOCK_S)
        silence = noise(quiet.returned, self._link.rate_hz)
        hum = [
            10.0 * np.log10(sum(10.0 ** (line.level_dbfs / 10.0) for line in lines))
            if lines
            else np.nan
            for lines in silence.hum
        ]
        beside = [apart.get(n + 1, (None, None)) for n in range(self._link.inputs)]
        self.result = LoopBack(
            self._link.rate_hz,
            self._link.inputs,
            self._link.outputs,
            self._level_dbfs,
            tuple(read.get((c.output, c.input), c) for c in cables),
            tuple(_finite(level) for level in silence.unweighted_dbfs),
            tuple(_finite(level) for level in hum),
            tuple(level for level, _ in beside),
            tuple(below for _, below in beside),
            self._lost_told,
            self._lost_silent,
        )

    def _probed(self, output: int) -> Steps:
        """The inputs that hear one output, with the gain of the probe."""
        rate_hz = self._link.rate_hz
        sweep = Sweep(200.0, min(16_000.0, 0.4 * rate_hz), PROBE_S, self._level_dbfs)
        signals = [sweep if o == output else Silence() for o in range(self._link.outputs)]
        way_s = self._round_trip_s or LONGEST_ROUND_TRIP_S
        for _ in range(MOST_TRIES):
            kept = yield from self._keep(PerTrack(tuple(signals)), 0.0, PROBE_S + way_s + 0.1)
            if not kept.lost:
                break
        probe = kept.sent[: round(PROBE_S * rate_hz), output]
        heard = probe_return(probe, kept.returned)
        cables = []
        for n in np.flatnonzero(np.isfinite(heard.gain)):
            delay_us = 1e6 * float(heard.delay_frames[n]) / rate_hz
            gain_db = float(20.0 * np.log10(abs(heard.gain[n])))
            cables.append(
                Cable(output + 1, int(n) + 1, delay_us, bool(heard.gain[n] < 0.0), gain_db)
            )
        if cables and self._round_trip_s is None:
            self._round_trip_s = min(max(c.delay_us for c in cables) * 1e-6, 1.0)
        return cables

    def _toned(
        self,
        driven: list[bool],
        cables: list[Cable],
        read: dict[tuple[int, int], Cable],
        apart: dict[int, tuple[float | None, float | None]],
    ) -> Steps:
        """Read the cables of the outputs that are driven, and what the other inputs hear."""
        tone = Tone(TONE_HZ, self._level_dbfs)
        signal = PerTrack(tuple(tone if on else Silence() for on in driven))
        settle_s = SETTLE_S + (self._round_trip_s or 0.0)
        for _ in range(MOST_TRIES):
            kept = yield from self._keep(signal, settle_s, self._tone_s)
            drift = self._look_for_slips(kept)
            if not kept.lost:
                break
        returned = kept.returned
        rate_hz = self._link.rate_hz
        tones = tone_levels(returned, rate_hz, TONE_HZ)
        percent = harmonics(returned, rate_hz, TONE_HZ).total_percent
        yield
        on = [c for c in cables if driven[c.output - 1]]
        for cable in on:
            of = self._cable_read(cable, tones, percent)
            if kept.lost:
                of = replace(cable, why="frames were lost")
            read[cable.output, cable.input] = replace(
                of,
                drift_ppm=_finite(drift.drift_ppm[cable.input - 1]),
                drift_error_ppm=_finite(drift.error_ppm[cable.input - 1]),
            )
        hearing = {c.input for c in on}
        if not on or len(hearing) == self._link.inputs:
            return
        beside: RelativeReading = crosstalk(returned, rate_hz, TONE_HZ, min(hearing))
        for n in range(self._link.inputs):
            if n + 1 not in hearing and any(c.input == n + 1 for c in cables):
                apart[n + 1] = _finite(beside.level_db[n]), _finite(beside.limit_db[n])

    def _cable_read(self, cable: Cable, tones: ToneReading, percent: NDArray[np.float64]) -> Cable:
        n = cable.input - 1
        if tones.validity[n] is not Validity.OK:
            return replace(cable, gain_db=None, why=tones.validity[n].value.replace("_", " "))
        return replace(
            cable,
            gain_db=float(tones.level_dbfs[n]) - self._level_dbfs,
            gain_error_db=_finite(tones.level_standard_error_db[n]),
            harmonics_percent=_finite(percent[n]),
        )

    def _look_for_slips(self, kept: _Kept) -> ClockDrift:
        """Count the jumps of the tone that nobody told of, and measure the drift between them."""
        bank = EnvelopeBank(self._link.rate_hz, self._link.inputs, (TONE_HZ,))
        drift = ClockDrift(self._link.rate_hz, TONE_HZ, self._link.inputs)
        before = False
        hops = (hop for block in kept.blocks for hop in bank.process(block))
        for n, hop in enumerate(hops):
            self._lost_silent += hop.slipped and not before and not kept.lost
            before = hop.slipped
            if n >= FILTER_HOPS:
                drift.see(hop)
        return drift

    def _keep(self, signal: Signal, settle_s: float, seconds: float) -> Steps:
        """Send a signal, let it settle, and keep what goes out and comes back."""
        self._sender.send(signal)
        for _ in range(round(settle_s / BLOCK_S)):
            self._exchanged()
            yield
        sent, blocks = [], []
        for _ in range(int(np.ceil(seconds / BLOCK_S))):
            block, out = self._exchanged()
            sent.append(out)
            blocks.append(block)
            yield
        first = blocks[0].first_frame
        blocks = [replace(block, first_frame=block.first_frame - first) for block in blocks]
        return _Kept(np.concatenate(sent), blocks)

    def _exchanged(self) -> tuple[Block, F32]:
        out = self._sender.block(self._frames)
        block = self._link.exchange(out)
        jumped = self._next_frame is not None and block.first_frame != self._next_frame
        self._next_frame = block.first_frame + len(block.samples)
        self._lost_told += jumped or block.flags != Flag.NONE
        return block, out


def _without_crosstalk(found: list[Cable]) -> list[Cable]:
    """The loudest outputs of each input, in the order of inputs; the rest only leaks."""
    cables = []
    for n in sorted({cable.input for cable in found}):
        here = [cable for cable in found if cable.input == n]
        loudest_db = max(_gain_db(cable) for cable in here)
        cables += [cable for cable in here if _gain_db(cable) > loudest_db - ALONE_DB]
    return [replace(cable, gain_db=None) for cable in cables]


def _gain_db(cable: Cable) -> float:
    return -np.inf if cable.gain_db is None else cable.gain_db


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
