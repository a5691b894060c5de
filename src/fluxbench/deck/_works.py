"""The deck at work: samples in, samples out, with the tape, the trimmers and the hands between."""

import numpy as np
from numpy.typing import NDArray

from fluxbench.deck._expander import Expander
from fluxbench.deck._machine import ZERO_VU_DBFS, Machine
from fluxbench.deck._moment import Moment
from fluxbench.deck._motion import TapeMotion
from fluxbench.deck._random import Flutter, WhiteNoise
from fluxbench.deck._record import RecordSide, bias_at_head_db
from fluxbench.deck._reel import reels
from fluxbench.deck._reproduce import ReproduceSide
from fluxbench.deck._sheets import (
    sections,
)
from fluxbench.deck._stocks import Stock
from fluxbench.deck._tape import KNOTS_PER_S
from fluxbench.deck._trimmers import Bank
from fluxbench.deck._unwanted import SYNC_HUM_DB, Background, Dropouts

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

PIECE_S = 0.04
WIND_S = 1.0
WIND_RATIO = 30.0
LEAK_HEARD_DB = 0.002
"""A neighbour's bias is worked out anew once it has moved so far; it makes no difference before."""
_RECORD_KINDS = {"bias", "record_level", "record_high"}


class Works:
    """What moves and what is amplified. Tracks count from 0 in here."""

    def __init__(self, machine: Machine, stock: Stock, banks: dict[str, Bank], seed: int) -> None:
        self.machine = machine
        self.stock = stock
        self.banks = banks
        self.transport = "stop"
        self.monitor = "reproduce"
        self._left_ready = np.isin(np.arange(machine.tracks) + 1, machine.faults.left_ready)
        self.ready = self._left_ready
        self.tape = "calibration"
        self.wiped = False
        self._piece_frames = max(1, round(PIECE_S * machine.rate_hz))
        self._frame = 0
        self._winding_frames = 0
        self._place_s = 0.0
        self._all = np.arange(machine.tracks)
        draws = [np.random.default_rng(s) for s in np.random.SeedSequence([seed, 2]).spawn(6)]
        self._white = WhiteNoise(machine.rate_hz, machine.tracks, draws[0])
        self._record = RecordSide(machine, draws[1])
        self._sides = {
            "reproduce": ReproduceSide(machine, machine.reproduce, draws[2]),
            "sync": ReproduceSide(machine, machine.sync, draws[3]),
        }
        self._background = Background(machine, draws[4])
        self._dropouts = Dropouts(machine, seed)
        flutter = Flutter(machine.rate_hz, machine.speed_ips, machine.speed_error_ratio, draws[5])
        behind, ahead = self._record.delay_frames, self._sides["sync"].delay_frames
        self._motion = TapeMotion(machine.rate_hz, flutter, behind, ahead)
        self.sections = sections(machine.speed_ips)
        self.reels = reels(machine, stock, self.sections, seed)
        self._send_from = self._all.copy()
        for one, other in machine.faults.crossed:
            self._send_from[[one - 1, other - 1]] = self._send_from[[other - 1, one - 1]]
        self._sign = np.ones(machine.tracks, np.float32)
        self._sign[[t - 1 for t in machine.faults.polarity]] = -1.0
        self._sign[[t - 1 for t in machine.faults.dead]] = 0.0
        self._expander = Expander(machine.rate_hz, machine.tracks)
        self._slants = {"reproduce": 0.0, "sync": 0.0}
        self._recorded_until = self._played_until = -1
        self._record_frame = 0
        self._sent: F32 | None = None
        self._to_record: tuple[F64, int] | None = None
        self._ahead: tuple[F32, Moment] | None = None
        self._record.load(stock)
        self.adjust_all()

    @property
    def place_s(self) -> float:
        """Seconds of tape from its begin to what is under the reproduce head."""
        return self._place_s

    @property
    def winding(self) -> bool:
        return self._winding_frames > 0

    @property
    def settings(self) -> dict[str, F64]:
        """Values of all trimmers by kind."""
        return {kind: bank.values for kind, bank in self.banks.items()}

    def adjust_all(self) -> None:
        """Take over all trimmers and the ready switches."""
        self._adjust_record(self._all)
        for monitor in self._sides:
            self._adjust_side(monitor, self._all)

    def start(self) -> None:
        """Let the tape run from where it is, once it is wound."""
        self._motion.start(self._frame + self._winding_frames, self._place_s)
        self._recorded_until = self._played_until = -1

    def wind(self, tape: str, place_s: float) -> None:
        """Stop, thread a tape if it is another one, and wind it to a place."""
        self.transport = "stop"
        self.tape, from_s = tape, self._place_s if tape == self.tape else 0.0
        seconds = WIND_S + abs(place_s - from_s) / WIND_RATIO
        self._winding_frames += round(seconds * self.machine.rate_hz)
        self._place_s = place_s

    def resume(self, tape: str, place_s: float) -> None:
        """Stand where the deck stood when it was left."""
        self.tape, self._place_s = tape, place_s
        self.adjust_all()

    def set_ready(self, ready: NDArray[np.bool_]) -> None:
        """Tracks that record; a neighbour's bias leaks, so all bias is worked out again."""
        self.ready = ready | self._left_ready
        self._adjust_record(self._all)

    def give_back(self, send: F32) -> F32:
        """What comes back while a block (frames, tracks) is sent; `take_in` before all else.

        The last piece of it is not on the tape yet: until the tape has come from the record head
        to the reproduce head, 59 ms at 30 in/s, nothing that is given back depends on it.
        """
        piece = self._piece_frames
        if len(send) <= piece:
            return self._piece(send)
        parts = [self._piece(send[at : at + piece]) for at in range(0, len(send), piece)]
        return np.concatenate(parts)

    def take_in(self) -> None:
        """Record what is left of the block that was sent last."""
        if self._to_record is not None and self._sent is not None:
            self._lay_down(self._sent, *self._to_record)
            self._to_record = None
        self._sent = None

    def look_ahead(self, frames: int) -> None:
        """Work out a next block of so many frames, if it does not depend on what will be sent."""
        self.take_in()
        if self._ahead is not None or self._passes_on or frames > self._piece_frames:
            return
        sides = [one for side in self._sides.values() for one in side.moving]
        chain = [self._motion, self._expander, *self._record.moving, *sides]
        moment = Moment([self, *chain, *self.banks.values()], self._white.rng)
        self._ahead = self._next(np.zeros((frames, self.machine.tracks), np.float32)), moment

    def take_back(self) -> None:
        """Be where the last block ended, with nothing worked out ahead."""
        if self._ahead is not None:
            self._ahead[1].back()

    @property
    def _passes_on(self) -> bool:
        """Whether what is sent comes back at once."""
        in_sync = self.transport == "record" and self.monitor == "sync" and bool(self.ready.any())
        return in_sync or self._on_input

    @property
    def _on_input(self) -> bool:
        return self.monitor == "input" or self.machine.faults.monitor_input

    def _piece(self, send: F32) -> F32:
        self.take_in()
        if self.machine.faults.crossed:
            send = send[:, self._send_from]
        if self._ahead is not None and len(self._ahead[0]) != len(send):
            self.take_back()
        out = self._next(send) if self._ahead is None else self._ahead[0]
        self._ahead, self._sent = None, send
        return out

    def _next(self, send: F32) -> F32:
        """What comes back of the block that is next."""
        frames = len(send)
        self._turn(frames / self.machine.rate_hz)
        hum_db = 0.0 if self.monitor == "reproduce" else SYNC_HUM_DB
        out = self._background.next(self._frame, frames, hum_db)
        out *= np.float32(10.0 ** (ZERO_VU_DBFS / 20.0))
        on_input = self._on_input
        if on_input:
            out += send
        if self._winding_frames > 0:
            self._winding_frames = max(0, self._winding_frames - frames)
        elif self.transport != "stop":
            self._run(send, out, on_input)
        self._frame += frames
        out *= self._sign
        if self.machine.faults.noise_reduction:
            out = self._expander.process(out)
        return np.clip(out, -1.0, 1.0, out=out)

    def _run(self, send: F32, out: F32, on_input: bool) -> None:
        """The tape runs for a block: reproduce on top of `out`; what is to be recorded is kept."""
        frames = len(send)
        places_s = self._motion.advance(self._frame, frames)
        recording = self.transport == "record" and bool(self.ready.any())
        if recording:
            self._to_record = places_s[:frames], self._frame
        listening = self._all
        if recording and self.monitor == "sync":
            listening = np.flatnonzero(~self.ready)
        if not on_input and len(listening):
            heard = self._play(places_s[-frames:])
            if len(listening) < len(self._all):
                heard[:, self.ready] = 0.0
            out += heard
        if not on_input and len(listening) < len(self._all):
            out[:, self.ready] += send[:, self.ready]
        self._place_s = self._motion.place_s
        if self._place_s >= self.reels[self.tape].length_s:
            self.transport = "stop"

    def _lay_down(self, send: F32, places_s: F64, frame: int) -> None:
        """Record a block from a frame on; `places_s` (frames,) are where the reproduce head was."""
        machine = self.machine
        tracks = np.flatnonzero(self.ready)
        places_s = places_s + machine.head_delay_s
        afresh = self._recorded_until != frame
        if afresh:
            self._record.rest()
        if afresh or not self._motion.settled(frame):
            self._record_frame = round(places_s[0] * machine.rate_hz)
        reel, azimuth = self.reels[self.tape], float(self.banks["record_azimuth"].values[0])
        flux = self._record.process(send)
        knots, since_s = reel.lay_down(self._record_frame, flux, places_s, azimuth, tracks)
        start_s = frame / machine.rate_hz + since_s
        run = self._record.running(start_s, len(knots), KNOTS_PER_S, azimuth)
        reel.remember(knots, *run, tracks)
        self._record_frame += len(send)
        self._recorded_until = frame + len(send)
        if self.tape == "calibration":
            self.wiped = True

    def _play(self, places_s: F64) -> F32:
        """What the head that is switched on reads, full scale 1."""
        machine, monitor = self.machine, self.monitor
        side, reel = self._sides[monitor], self.reels[self.tape]
        if monitor == "sync":
            places_s = places_s + machine.head_delay_s
        if self._played_until != self._frame:
            side.rest()
        self._played_until = self._frame + len(places_s)
        kind = "reproduce_azimuth" if monitor == "reproduce" else "record_azimuth"
        azimuth = float(self.banks[kind].values[0])
        slant = azimuth - reel.azimuth_arcmin(float(places_s[0]))
        if abs(slant - self._slants[monitor]) > 0.002:
            self._slants = self._slants | {monitor: slant}
            self._adjust_side(monitor, self._all)
        flux, laid = reel.under(places_s)
        flux += self._white.next(len(places_s)) * reel.noise
        lost = self._dropouts.over(places_s)
        return side.process(flux, self._frame / machine.rate_hz, azimuth, laid, lost)

    def _turn(self, seconds: float) -> None:
        """Let the hands move on, and the chain follow."""
        moved = {k: np.array(b.advance(seconds), np.int_) for k, b in self.banks.items()}
        moved = {kind: tracks for kind, tracks in moved.items() if len(tracks)}
        if not moved:
            return
        touched = [moved[kind] for kind in _RECORD_KINDS & moved.keys()]
        if touched:
            self._adjust_record(np.concatenate(touched))
        for monitor in self._sides:
            own = [t for kind, t in moved.items() if kind.startswith(monitor) and "azi" not in kind]
            if own:
                self._adjust_side(monitor, np.unique(np.concatenate(own)))

    def _adjust_record(self, tracks: NDArray[np.int_]) -> None:
        """Take over the record trimmers of some tracks, and what leaks from them to others."""
        values = self.settings
        bias_db = bias_at_head_db(self.machine, values["bias"], self.ready)
        leaked = np.flatnonzero(np.abs(bias_db - self._record.bias_db) > LEAK_HEARD_DB)
        tracks = np.union1d(tracks, leaked)
        self._record.adjust(values["record_level"], values["record_high"], bias_db, tracks)

    def _adjust_side(self, monitor: str, tracks: NDArray[np.int_]) -> None:
        values = self.settings
        low_db = values["reproduce_low"] if monitor == "reproduce" else np.zeros(len(self._all))
        level_db, high_db = values[f"{monitor}_level"], values[f"{monitor}_high"]
        self._sides[monitor].adjust(level_db, high_db, low_db, self._slants[monitor], tracks)
