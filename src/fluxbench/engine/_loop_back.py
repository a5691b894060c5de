"""What a loop-back check found of an interface, and the lines that say what is wrong with it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

GAIN_APART_DB = 1.0
LATE_FRAMES = 0.5
NOISE_DBFS = -70.0
HARMONICS_PERCENT = 0.1
CROSSTALK_DB = -60.0
DRIFT_PPM = 2.0
"""7 ms an hour: the 60 ms that the bench keeps in hand last a working day. Our choice, like all."""


NOTHING_BACK = "no output comes back at any input: cable outputs to inputs, and turn the inputs up"


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable from an output to an input, both from 1; None where there is no valid reading.

    `delay_us` is from a sent block to its return, as the bench counts frames.
    """

    output: int
    input: int
    delay_us: float
    reversed: bool
    gain_db: float | None = None
    gain_error_db: float | None = None
    harmonics_percent: float | None = None
    drift_ppm: float | None = None
    drift_error_ppm: float | None = None
    why: str = ""
    """Why there is no reading of its tone."""


@dataclass(frozen=True, slots=True)
class LoopBack:
    """All that the check found; lists have one place an input, None where nothing is known."""

    rate_hz: int
    inputs: int
    outputs: int
    level_dbfs: float
    cables: tuple[Cable, ...]
    noise_dbfs: tuple[float | None, ...]
    """20 Hz to 20 kHz, with nothing sent."""
    hum_dbfs: tuple[float | None, ...]
    crosstalk_db: tuple[float | None, ...]
    """What an input gives while its own output is silent and the others next to it are not."""
    crosstalk_below_db: tuple[float | None, ...]
    """Where crosstalk does not stand out of the noise: it lies below this."""
    lost_told: int
    """Blocks that came with a word of lost frames."""
    lost_silent: int
    """Times that the tone jumped with no word of it."""

    @property
    def round_trip_frames(self) -> int | None:
        """Of most of the cables."""
        whole = Counter(round(self._frames(cable)) for cable in self.cables)
        return min(whole, key=lambda f: (-whole[f], f)) if whole else None

    def told(self) -> dict[str, Any]:
        """All of it as plain values, cables and faults last."""
        facts = asdict(self)
        cables = facts.pop("cables")
        return {
            **facts,
            "round_trip_frames": self.round_trip_frames,
            "drift_ppm": self.drift_ppm,
            "refused": self.refused,
            "cables": cables,
            "faults": self.faults,
        }

    def _frames(self, cable: Cable) -> float:
        return cable.delay_us * 1e-6 * self.rate_hz

    @property
    def drift_ppm(self) -> float | None:
        """How much faster inputs count than outputs, the middle of all cables."""
        known = [cable.drift_ppm for cable in self.cables if cable.drift_ppm is not None]
        return float(np.median(known)) if known else None

    @property
    def faults(self) -> list[str]:
        """What is wrong, one line each, with what to do."""
        if not self.cables:
            return [NOTHING_BACK]
        return [*self._of_cabling(), *self._of_cables(), *self._of_inputs(), *self._of_time()]

    def _of_cabling(self) -> Iterator[str]:
        heard = {cable.input for cable in self.cables}
        for channel in range(1, self.inputs + 1):
            if channel not in heard:
                yield f"input {channel} hears no output: is its cable in, and its gain up?"
        of = {n: [c.output for c in self.cables if c.input == n] for n in heard}
        for channel, outputs in sorted(of.items()):
            if len(outputs) > 1:
                yield f"input {channel} hears outputs {_listed(outputs)} at once: part them"
        shared = len({cable.output for cable in self.cables}) < len(heard)
        for channel, outputs in sorted(of.items()):
            if not shared and outputs != [channel]:
                yield f"crossed: input {channel} hears output {_listed(outputs)}"

    def _of_cables(self) -> Iterator[str]:
        gains = [cable.gain_db for cable in self.cables if cable.gain_db is not None]
        usual = float(np.median(gains)) if gains else 0.0
        for cable in self.cables:
            name = f"input {cable.input}"
            if cable.reversed:
                yield f"{name} comes back reversed in polarity: look at its cable"
            if self.round_trip_frames is not None and not self.refused:
                late = self._frames(cable) - self.round_trip_frames
                if abs(late) > LATE_FRAMES:
                    yield f"{name} is {late:+.1f} frames off the others: is a converter between?"
            if cable.gain_db is None:
                yield f"{name} gives no reading of its tone ({cable.why}): lower or raise its gain"
                continue
            if abs(cable.gain_db - usual) > GAIN_APART_DB:
                yield f"{name} comes back {cable.gain_db - usual:+.2f} dB re the others"
            if (cable.harmonics_percent or 0.0) > HARMONICS_PERCENT:
                yield f"{name} has {cable.harmonics_percent:.2f} % of harmonics: lower its level"

    def _of_inputs(self) -> Iterator[str]:
        for channel, noise in enumerate(self.noise_dbfs, 1):
            if noise is not None and noise > NOISE_DBFS:
                yield (
                    f"input {channel} has noise of {noise:.0f} dBFS with nothing sent: "
                    "look for hum, an open cable or too much gain"
                )
        for channel, level in enumerate(self.crosstalk_db, 1):
            if level is not None and level > CROSSTALK_DB:
                yield f"input {channel} hears its neighbours at {level:.0f} dB: look at the cables"

    def _of_time(self) -> Iterator[str]:
        if self.lost_told:
            yield (
                f"frames were lost {self.lost_told} times: close other programs, "
                "or give the interface longer periods"
            )
        if self.lost_silent:
            yield (
                f"frames were lost {self.lost_silent} times and nobody told: this interface or its "
                "driver cannot be trusted; try another cable, socket or period"
            )
        if self.refused:
            yield (
                f"inputs count {self.drift_ppm:+.1f} millionths against the outputs: they do not "
                "share a clock; use one interface for both, or lock one to the other"
            )

    @property
    def refused(self) -> bool:
        """Whether input and output drift apart by more than a line-up bears."""
        errors = [c.drift_error_ppm for c in self.cables if c.drift_error_ppm is not None]
        drift = self.drift_ppm
        if drift is None or not errors:
            return False
        return abs(drift) > max(DRIFT_PPM, 3.0 * float(np.median(errors)))


def _listed(numbers: list[int]) -> str:
    return " and ".join(str(number) for number in sorted(numbers))
