"""A second modelled tape deck, for tests only: a stand-in for a deck that nobody has seen.

It shares nothing with the product. Real samples run through a record path, a tape that is stored
and read back, and a reproduce path, for every track by itself; the hands work it as a person would.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.decks._machine import FORMATS, OPERATING_FLUXIVITY, RECORD_GAP_UM, T2_US, Machine
from tests.decks._magnetics import Floats, Stock
from tests.decks._path import SignalPath
from tests.decks._reels import STATED_FLUXIVITY, blank_reel, calibration_tape
from tests.decks._trimmers import PER_STACK, PER_TRACK, TURNS, Hand, Trimmer
from tests.decks._truth import ideal_values, residuals

_ZERO_VU = np.float32(10.0 ** (-16.0 / 20.0))  # 0 VU = +4 dBu, full scale +20 dBu
_STATES = ("stop", "play", "record")
_MONITORS = ("input", "reproduce", "sync")


class SecondDeck:
    """``tracks`` of 1, 2, 4, 8, 16 or 24 at 7.5, 15 or 30 in/s; ``faults`` by name.

    bent_d, dirty, dead:N, crossed:N,M, monitor_input, wrong_tape, wrong_tape:sections.
    """

    def __init__(
        self, tracks: int, speed_ips: float, seed: int, rate_hz: int, faults: Sequence[str] = ()
    ) -> None:
        if tracks not in FORMATS or speed_ips not in T2_US:
            raise ValueError("no such deck; tracks 1, 2, 4, 8, 16, 24 at 7.5, 15 or 30 in/s")
        self.tracks, self.rate_hz, self._speed_ips = tracks, rate_hz, float(speed_ips)
        self._faults = self._read_faults(faults)
        rng = np.random.default_rng([seed, tracks, int(2 * speed_ips)])
        self._machine = Machine(tracks, self._speed_ips, rng)
        stock = Stock(kinked="bent_d" in self._faults)
        scrap = replace(stock, n=1.9, z_um=31.0, coating_um=13.0, noise=5.5e-4)
        speed_error = float(rng.normal(0.0, 6e-4))
        calibration = calibration_tape(
            self._machine,
            rate_hz,
            rng.spawn(1)[0],
            speed_error,
            200.0 if "wrong_tape" in self._faults else STATED_FLUXIVITY,
            "wrong_tape:sections" in self._faults,
        )
        self._tapes = {"calibration": calibration} | {
            name: blank_reel(name, kind, self._machine, rate_hz, rng.spawn(1)[0])
            for name, kind in (("stock", stock), ("scrap", scrap))
        }
        self._stock = stock
        self._trimmers = self._as_found(rng)
        self._hand = Hand(self._trimmers, float(rng.uniform(1.0, 2.0)))
        dirt = 2.0 if "dirty" in self._faults else 0.0
        self._machine.reproduce_spacing_um += dirt  # it came after the last line-up
        self._path = SignalPath(self._machine, rate_hz, rng, speed_error, 1.0 + dirt / 2.0)
        self._state, self._monitor = "stop", "input"
        self._ready: list[int] = []
        self._tape = self._tapes["stock"]
        self._position = 0  # of the tape at the reproduce head, frames

    @staticmethod
    def _read_faults(faults: Sequence[str]) -> dict[str, list[int]]:
        known = {"bent_d": 0, "dirty": 0, "dead": 1, "crossed": 2, "monitor_input": 0}
        read: dict[str, list[int]] = {}
        for fault in faults:
            name, _, rest = fault.partition(":")
            if fault in ("wrong_tape", "wrong_tape:sections"):
                read[fault] = []
                continue
            numbers = [int(part) - 1 for part in rest.split(",")] if rest else []
            if known.get(name) != len(numbers):
                raise ValueError(f"unknown fault {fault!r}")
            read.setdefault(name, []).extend(numbers)
        return read

    def _as_found(self, rng: np.random.Generator) -> dict[str, Trimmer]:
        """Trimmers near where the last line-up left them, 1 to 2 dB or 1 to 4 arc minutes off."""
        ideal = ideal_values(self._machine, self._stock, float(self.rate_hz))
        trimmers = {}
        for kind in PER_TRACK + PER_STACK:
            rows = self.tracks if kind in PER_TRACK else 1
            trimmer = Trimmer(kind, rows, rng)
            trimmer.centre_on(ideal[kind] + trimmer.span * rng.uniform(-0.08, 0.08, rows))
            off = np.clip(rng.uniform(1.0, 2.0) * rng.standard_normal(rows), -3.2, 3.2)
            if kind in PER_STACK:
                off = rng.uniform(1.0, 4.0, rows) * rng.choice([-1.0, 1.0])
            trimmer.set_value(ideal[kind] + off)
            trimmers[kind] = trimmer
        return trimmers

    def ideal(self) -> None:
        """Put every trimmer right at once, by no hand: for tests of the deck itself."""
        values = ideal_values(self._machine, self._stock, float(self.rate_hz))
        for kind, trimmer in self._trimmers.items():
            trimmer.set_value(values[kind])

    @property
    def _values(self) -> dict[str, Floats]:
        return {kind: trimmer.value for kind, trimmer in self._trimmers.items()}

    def process(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        """Send (frames, tracks) in, as many frames of all returns out; time passes by them."""
        if send.ndim != 2 or send.shape[1] != self.tracks:
            raise ValueError(f"send (frames, {self.tracks}), not {send.shape}")
        out = np.empty(send.shape, dtype=np.float32)
        for start in range(0, len(send), self._path.block):
            block = send[start : start + self._path.block]
            out[start : start + len(block)] = self._step(block)
        return out

    def _step(self, send: NDArray[np.float32]) -> NDArray[np.float32]:
        frames = len(send)
        self._hand.advance(frames / self.rate_hz)
        path, values = self._path, self._values
        given = np.ascontiguousarray(send.T) / _ZERO_VU
        moving = self._state != "stop"
        recording = self._ready if self._state == "record" else []
        rows = [track - 1 for track in recording]
        if rows:
            path.record(given, values, rows, self._tape, self._position)
        if self._monitor == "input" or "monitor_input" in self._faults:
            heard = given
            path.pause()
        elif not moving:
            heard = path.hum(frames, self._monitor == "sync")
        else:
            heard = path.play(
                given, values, rows, self._tape, self._position, self._monitor == "sync"
            )
        path.clock += frames
        if moving:
            self._position += frames
            if self._position >= self._tape.seconds * self.rate_hz:
                self._stop()
        return self._outputs(heard)

    def _outputs(self, heard: NDArray[np.float32]) -> NDArray[np.float32]:
        out: NDArray[np.float32] = np.clip(heard.T * _ZERO_VU, -1.0, 1.0)
        if "crossed" in self._faults:
            first, second = self._faults["crossed"][:2]
            out[:, [first, second]] = out[:, [second, first]]
        out[:, self._faults.get("dead", [])] = 0.0
        return out

    def _stop(self) -> None:
        self._state = "stop"
        self._path.pause()

    def state(self) -> dict[str, Any]:
        """What a person at the deck can see."""
        position_s = self._position / self.rate_hz
        return {
            "tracks": self.tracks,
            "rate_hz": self.rate_hz,
            "speed_ips": self._speed_ips,
            "equalisation": {"t1_us": None, "t2_us": self._machine.t2_us},
            "track_pitch_mm": self._machine.pitch_mm,
            "track_width_mm": self._machine.width_mm,
            "record_gap_um": RECORD_GAP_UM,
            "head_spacing_mm": self._machine.head_spacing_mm,
            "transport": self._state,
            "monitor": self._monitor,
            "ready": list(self._ready),
            "tape": self._tape.name,
            "tapes": list(self._tapes),
            "position_s": position_s,
            "section": self._tape.section_at(position_s),
            "turning": self._hand.busy,
            "electrical": {"zero_vu_dbu": 4.0, "interface_full_scale_dbu": 20.0},
            "operating_fluxivity_nwb_per_m": OPERATING_FLUXIVITY,
            "trimmers": {
                "per_track": list(PER_TRACK),
                "per_stack": list(PER_STACK),
                "turns": TURNS,
            },
            "data_sheet": dict(self._tape.sheet),
        }

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Have the hand turn a trimmer, after what it is doing; seconds that this turn takes."""
        if trimmer not in self._trimmers:
            raise ValueError(f"no trimmer {trimmer!r} on this deck")
        if not _is_number(turns) or abs(turns) > TURNS:
            raise ValueError(f"turns must be a number from -{TURNS:g} to {TURNS:g}")
        if trimmer in PER_STACK:
            if track is not None:
                raise ValueError(f"{trimmer} belongs to the whole stack; leave the track out")
            return self._hand.give(trimmer, 0, float(turns))
        return self._hand.give(trimmer, self._track(track) - 1, float(turns))

    def _track(self, track: object) -> int:
        if type(track) is not int or not 1 <= track <= self.tracks:
            raise ValueError(f"track must be a number from 1 to {self.tracks}")
        return track

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> dict[str, Any]:
        """Press keys; what is left out stays."""
        if state is not None and state not in _STATES:
            raise ValueError(f"transport state must be one of {', '.join(_STATES)}")
        if monitor is not None and monitor not in _MONITORS:
            raise ValueError(f"monitor must be one of {', '.join(_MONITORS)}")
        if ready is not None:
            if not isinstance(ready, (list, tuple, range)):
                raise ValueError("ready must be a list of tracks")
            chosen = sorted({self._track(track) for track in ready})
            if len(chosen) != len(ready):
                raise ValueError("ready names a track twice")
            self._ready = chosen
        if state is not None and state != self._state:
            self._state = state
            self._path.pause()
        if monitor is not None and monitor != self._monitor:
            self._monitor = monitor
            self._path.pause(playing_only=True)
        return self.state()

    def load(self, tape: str) -> dict[str, Any]:
        """Thread a tape from its beginning; stops."""
        if tape not in self._tapes:
            raise ValueError(f"no tape {tape!r} here; there are {', '.join(self._tapes)}")
        self._stop()
        self._tape, self._position = self._tapes[tape], 0
        return self.state()

    def locate(self, section: int | None = None, position_s: float | None = None) -> dict[str, Any]:
        """Wind to a section's start or a place of the reel; recording ends, playing goes on."""
        if (section is None) == (position_s is None):
            raise ValueError("locate wants either a section or a position_s")
        if section is not None:
            listed = self._tape.sheet.get("sections", [])
            if type(section) is not int or not 0 <= section < len(listed):
                raise ValueError(f"no section {section!r} on the tape {self._tape.name}")
            position_s = float(listed[section]["start_s"])
        if not _is_number(position_s) or not 0.0 <= position_s < self._tape.seconds:  # type: ignore[operator]
            raise ValueError(f"position_s must be from 0 to {self._tape.seconds:g}")
        if self._state == "record":
            self._stop()
        self._path.pause()
        self._position = round(float(position_s) * self.rate_hz)  # type: ignore[arg-type]
        return self.state()

    def truth(self) -> dict[str, Any]:
        """For a judge: residuals by the deck's own formulas, on the stock, and what was spoilt."""
        found = residuals(self._machine, self._values, self._stock, float(self.rate_hz))
        residual = {
            key: float(value[0]) if key.endswith("_arcmin") else [float(part) for part in value]
            for key, value in found.items()
        }
        return {"residual": residual, "calibration_wiped": self._tapes["calibration"].wiped}


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and type(value) is not bool and math.isfinite(value)
