"""The practice deck: a deck like any other, with samples and hands."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import DeckError, MisuseError
from fluxbench.deck._faults import faults_named
from fluxbench.deck._machine import (
    FULL_SCALE_DBU,
    OPERATING_NWB_PER_M,
    ZERO_VU_DBU,
    build,
)
from fluxbench.deck._sheets import Section, calibration_sheet, reel_label, reel_tones, stock_sheet
from fluxbench.deck._state_file import reading_state, write_state
from fluxbench.deck._stocks import stock_named
from fluxbench.deck._swaps import dealt
from fluxbench.deck._trimmers import PER_STACK, PER_TRACK, banks, leave_as_found, seen
from fluxbench.deck._truth import Truth
from fluxbench.deck._works import Works

F32 = NDArray[np.float32]

PRE_ROLL_S = 0.5
MOST_TURNS = 100.0

TRANSPORTS = ("stop", "play", "record")
MONITORS = ("input", "reproduce", "sync")
TAPES = ("calibration", "stock", "reel")


class PracticeDeck:
    """A modelled multitrack deck; time goes on by `process` alone, and all chance by the seed.

    `faults` are names from `FAULTS`. `MisuseError` for a deck that cannot be, `DeckError` for a
    refused call of the hands. `cards` and `leads`: see `dealt`.
    """

    def __init__(
        self,
        tracks: int = 24,
        speed_ips: float = 15.0,
        seed: int = 1,
        rate_hz: int = 48_000,
        stock: str = "even",
        faults: Sequence[str] = (),
        cards: Sequence[int] | None = None,
        leads: Sequence[int] | None = None,
    ) -> None:
        wrong = faults_named(faults, tracks)
        chosen = stock_named("bent" if wrong.bent else stock)
        draws = [np.random.default_rng(s) for s in np.random.SeedSequence([seed, 1]).spawn(3)]
        machine = build(tracks, speed_ips, rate_hz, wrong, draws[0])
        width_mm = machine.layout.tape_width_mm
        trimmers = banks(tracks, width_mm, draws[1])
        self._lined_up = Truth(machine.clean(), chosen).ideal()
        leave_as_found(trimmers, self._lined_up, width_mm, draws[2])
        machine = dealt(machine, trimmers, cards, leads)
        self._made_as = {
            "tracks": tracks, "speed_ips": speed_ips, "seed": seed, "rate_hz": rate_hz,
            "stock": stock, "faults": list(faults), "cards": cards, "leads": leads,
        }  # fmt: skip
        self._truth = Truth(machine, chosen)
        self._machine = machine
        self._stock = chosen
        self._works = Works(machine, chosen, trimmers, seed)
        self._other_speeds: dict[str, Any] = {}

    @property
    def rate_hz(self) -> int:
        """Frames a second."""
        return self._machine.rate_hz

    @property
    def tracks(self) -> int:
        """Tracks in and out."""
        return self._machine.tracks

    def process(self, send: F32) -> F32:
        """Take float32 (frames, tracks), full scale 1; give back the return, same shape."""
        returned = self.give_back(send)
        self.take_in()
        return returned

    def give_back(self, send: F32) -> F32:
        """The first half of `process`: what comes back. `take_in` has to follow."""
        if send.ndim != 2 or send.shape[1] != self.tracks or send.dtype != np.float32:
            raise MisuseError(
                f"the deck takes float32 (frames, {self.tracks}), not {send.dtype} {send.shape}"
            )
        if not len(send):
            return send.copy()
        return self._works.give_back(send)

    def take_in(self) -> None:
        """The second half of `process`: what was sent is recorded."""
        self._works.take_in()

    def look_ahead(self, frames: int) -> None:
        """Make ready what comes back of the next block, where that does not hang on what is sent.

        Nothing shows that it was done: whoever uses the hands first finds the deck as it was.
        """
        self._works.look_ahead(frames)

    @property
    def _now(self) -> Works:
        """The works as the last block left them."""
        self._works.take_back()
        return self._works

    def state(self) -> dict[str, Any]:
        """What a person at the deck can see."""
        machine, works = self._machine, self._now
        standard = machine.equalisation
        return {
            "tracks": self.tracks,
            "rate_hz": self.rate_hz,
            "speed_ips": machine.speed_ips,
            "equalisation": {"t1_us": standard.t1_us, "t2_us": standard.t2_us},
            "track_pitch_mm": machine.layout.pitch_mm,
            "track_width_mm": machine.layout.track_width_mm,
            "record_gap_um": machine.record_gap_um,
            "head_spacing_mm": machine.head_spacing_mm,
            "transport": works.transport,
            "monitor": works.monitor,
            "ready": [int(t) + 1 for t in np.flatnonzero(works.ready)],
            "tape": works.tape,
            "tapes": list(TAPES),
            "position_s": works.place_s,
            "section": self._section(),
            "winding": works.winding,
            "turning": any(bank.turning for bank in works.banks.values()),
            "electrical": {
                "zero_vu_dbu": ZERO_VU_DBU,
                "interface_full_scale_dbu": FULL_SCALE_DBU,
            },
            "operating_fluxivity_nwb_per_m": OPERATING_NWB_PER_M,
            "trimmers": seen(works.banks),
            "data_sheet": self._sheet(),
        }

    def turn(self, trimmer: str, turns: float, track: int | None = None) -> float:
        """Begin to turn (positive: clockwise); give back the seconds that the hand needs."""
        if trimmer not in self._now.banks:
            names = ", ".join((*PER_TRACK, *PER_STACK))
            raise DeckError(f"the deck has no trimmer {trimmer!r}; it has {names}")
        if not abs(turns) <= MOST_TURNS:
            raise DeckError(f"a trimmer cannot be turned {turns:g} times; give -100 to 100 turns")
        if trimmer in PER_STACK:
            if track is not None:
                raise DeckError(f"{trimmer} is one for all tracks; leave the track out")
            return self._now.banks[trimmer].turn(0, float(turns))
        if track is None or not 1 <= track <= self.tracks:
            raise DeckError(f"{trimmer} needs a track from 1 to {self.tracks}, not {track}")
        return self._now.banks[trimmer].turn(track - 1, float(turns))

    def transport(
        self,
        state: str | None = None,
        ready: Sequence[int] | None = None,
        monitor: str | None = None,
    ) -> dict[str, Any]:
        """Press the buttons; give back the new state."""
        works = self._now
        if state is not None and state not in TRANSPORTS:
            raise DeckError(f"no transport state {state!r}; there are {', '.join(TRANSPORTS)}")
        if monitor is not None and monitor not in MONITORS:
            raise DeckError(f"no monitor position {monitor!r}; there are {', '.join(MONITORS)}")
        if ready is not None:
            if not all(1 <= track <= self.tracks for track in ready):
                raise DeckError(f"tracks to make ready go from 1 to {self.tracks}, not {ready}")
            switches = np.zeros(self.tracks, np.bool_)
            switches[[track - 1 for track in ready]] = True
            works.set_ready(switches)
        if monitor is not None:
            works.monitor = monitor
        if state is not None:
            if works.transport == "stop" and state != "stop":
                works.start()
            works.transport = state
        return self.state()

    def load(self, tape: str) -> dict[str, Any]:
        """Thread a tape, wound to its begin; the deck stops."""
        if tape not in TAPES:
            raise DeckError(f"there is no tape {tape!r}; there are {', '.join(TAPES)}")
        self._now.wind(tape, 0.0)
        return self.state()

    def locate(self, section: int | None = None, position_s: float | None = None) -> dict[str, Any]:
        """Wind to a place, or to just before a section of the calibration tape; the deck stops."""
        works = self._now
        if (section is None) == (position_s is None):
            raise DeckError("locate needs either a section or a position_s")
        if section is not None:
            tones = self._tones()
            if not 0 <= section < len(tones):
                raise DeckError(f"the tape {works.tape} has no section {section}")
            position_s = max(0.0, tones[section].start_s - PRE_ROLL_S)
        length_s = works.reels[works.tape].length_s
        if position_s is None or not 0.0 <= position_s <= length_s:
            raise DeckError(f"the tape goes from 0 to {length_s:.0f} s, not to {position_s}")
        works.wind(works.tape, float(position_s))
        return self.state()

    def truth(self) -> dict[str, Any]:
        """For a judge only: what is left to the ideal, and whether the calibration tape lives."""
        residual: dict[str, Any] = {}
        for name, values in self._truth.residual(self._now.settings).items():
            residual[name] = float(values[0]) if "azimuth" in name else values.tolist()
        return {"residual": residual, "calibration_wiped": self._now.wiped}

    def save(self, path: Path) -> None:
        """Keep trimmers, tape and place in a file, whole or not at all; the hands have let go."""
        write_state(path, self.kept())

    def kept(self) -> dict[str, Any]:
        """What `save` keeps, as plain values."""
        works = self._now
        return {
            "made_as": self._made_as,
            "trimmers": {kind: bank.places_turns.tolist() for kind, bank in works.banks.items()},
            "tape": works.tape,
            "position_s": works.place_s,
            "calibration_wiped": works.wiped,
            "recorded": {name: reel.touched_chunks for name, reel in works.reels.items()},
            "other_speeds": self._other_speeds,
        }

    @classmethod
    def restore(cls, path: Path) -> Self:
        """The deck of a file, stopped, its recordings read as erased; `MisuseError` for another."""
        with reading_state(path) as kept:
            return cls.from_kept(kept)

    @classmethod
    def from_kept(cls, kept: Mapping[str, Any]) -> Self:
        """The deck of what `kept` gave, stopped, its recordings read as erased."""
        deck = cls(**kept["made_as"])
        for kind, bank in deck._now.banks.items():
            bank.put(np.array(kept["trimmers"][kind], np.float64))
        for name, reel in deck._now.reels.items():
            reel.forget({int(at): tracks for at, tracks in kept["recorded"].get(name, {}).items()})
        deck._now.resume(str(kept["tape"]), float(kept["position_s"]))
        deck._now.wiped = bool(kept["calibration_wiped"])
        deck._other_speeds = dict(kept.get("other_speeds", {}))
        return deck

    @property
    def settings(self) -> dict[str, NDArray[np.float64]]:
        """What every trimmer does, by kind: dB or arc-minutes."""
        return {kind: values.copy() for kind, values in self._now.settings.items()}

    @property
    def tape_runs(self) -> bool:
        """Whether tape goes by at the moment, at its speed."""
        return self._works.transport != "stop" and not self._works.winding

    def lined_up(self) -> dict[str, NDArray[np.float64]]:
        """What trimmers did on the day of the last line-up, before anything went wrong."""
        return {kind: values.copy() for kind, values in self._lined_up.items()}

    def put(self, settings: Mapping[str, NDArray[np.float64]]) -> None:
        """Put every trimmer where it does this, as far as it goes."""
        for kind, bank in self._now.banks.items():
            bank.set_values(settings[kind])
        self._now.adjust_all()

    def _set_ideal(self) -> None:
        """Put every trimmer right; for tests."""
        self.put(self._truth.ideal())

    def _section(self) -> int | None:
        for number, tone in enumerate(self._tones()):
            if tone.start_s <= self._now.place_s < tone.end_s:
                return number
        return None

    def _tones(self) -> Sequence[Section]:
        """The tones that the loaded tape came with."""
        if self._now.tape == "reel":
            return reel_tones(self._machine.speed_ips)
        return self._now.sections if self._now.tape == "calibration" else ()

    def _sheet(self) -> Mapping[str, Any]:
        if self._now.tape == "calibration":
            return calibration_sheet(self._now.sections)
        if self._now.tape == "reel":
            return reel_label(self._machine)
        return stock_sheet(self._machine, self._stock)
