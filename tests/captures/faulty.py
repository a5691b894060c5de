"""Transfers of made-up reels with planted faults: each is a formula, and says what must be found.

Only closed forms are used, nothing of `fluxbench.measure` or of the catalogue: equalisations by the
formula of IEC 60094-1 clause 15, written out here once more.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.captures import made

F64 = NDArray[np.float64]
Constants = tuple[float | None, float]

STANDARDS: dict[float, tuple[Constants, ...]] = {
    30.0: ((None, 17.5), (None, 35.0)),
    15.0: ((None, 35.0), (3180.0, 50.0)),
    7.5: ((None, 70.0), (3180.0, 50.0)),
    3.75: ((3180.0, 90.0), (None, 200.0)),
}
"""The two that a speed is most often confused between (IASA-TC 04 5.4.10)."""

RATE_HZ = 48_000
REFERENCE_DBFS = -18.0
SPEED_TONE_HZ = 3150.0
REPEAT = {
    "high end lost", "response", "flutter", "clipped", "gap", "cut", "dead track",
}  # fmt: skip
REPAIR = {"level", "balance", "delay", "polarity", "equalisation", "speed"}
LOOK = {"noise", "hum", "drop-outs", "direct voltage"}
MASKING = {"gap", "dead track", "direct voltage"}
"""Nothing else can be told of a track, or of the reference tone, that has one of these."""

FORMATS = {2: "1/4-inch 2-track European", 4: "1/2-inch 4-track"}
WIDTH_RE_PITCH = {2: 2.75 / 3.5, 4: 70.0 / 130.0}
"""Of the tracks of these formats (restoration notes; the first from memory)."""

ALL = sorted(REPEAT | REPAIR | LOOK)

_LOW = 10.0 ** (-75.0 / 20.0)


@dataclass
class Reel:
    """One transfer: what is declared about it, and what was planted in it."""

    seed: int
    tracks: int = 2
    speed_ips: float = 15.0
    played: Constants = (None, 35.0)
    recorded: Constants = (None, 35.0)
    faults: set[str] = field(default_factory=set)
    samples: F64 = field(default_factory=lambda: np.zeros((0, 2)))

    @property
    def verdict(self) -> str:
        if self.faults & REPEAT:
            return "repeat"
        if self.faults & REPAIR:
            return "repair"
        return "look" if self.faults & LOOK else "good"


def flux_db(constants: Constants, hz: float) -> float:
    t1_us, t2_us = constants
    omega = 2e-6 * np.pi * hz
    low = 10.0 * np.log10(1.0 + 1.0 / (omega * t1_us) ** 2) if t1_us else 0.0
    return float(low - 10.0 * np.log10(1.0 + (omega * t2_us) ** 2))


def read_db(recorded: Constants, played: Constants, hz: float) -> float:
    """How high a tone reads re 1 kHz."""
    return (flux_db(recorded, hz) - flux_db(recorded, 1000.0)) - (
        flux_db(played, hz) - flux_db(played, 1000.0)
    )


def reel(seed: int) -> Reel:
    """A reel of this seed: none, one or two faults, all else within what decks in order have."""
    random = np.random.default_rng([7, seed])
    made_as = Reel(seed, tracks=int(random.choice([2, 2, 2, 4])))
    made_as.speed_ips = float(random.choice(list(STANDARDS)))
    made_as.played, other = STANDARDS[made_as.speed_ips][:: random.choice([1, -1])]
    made_as.recorded = made_as.played
    # Every fault comes up in turn; every seventh reel has none, some have a second one.
    if seed % 7:
        made_as.faults = {ALL[(seed - seed // 7) % len(ALL)]}
        second = str(random.choice(ALL))
        if random.random() < 0.35 and not MASKING & {*made_as.faults, second}:
            made_as.faults.add(second)
    if "high end lost" in made_as.faults:
        made_as.faults.add("delay")  # azimuth does both
    if "equalisation" in made_as.faults:
        made_as.recorded = other
    made_as.samples = _samples(made_as, random)
    return made_as


def write(made_as: Reel, path: Path) -> Path:
    made.written(path, np.clip(made_as.samples, -1.0, 1.0 - 2.0**-23), RATE_HZ)
    if "cut" in made_as.faults:
        whole = path.read_bytes()
        path.write_bytes(whole[: -RATE_HZ * made_as.tracks * 3 // 2])
    return path


def _samples(made_as: Reel, random: np.random.Generator) -> F64:
    faults, tracks = made_as.faults, made_as.tracks
    gains_db = random.uniform(-0.08, 0.08, tracks)
    one = int(random.integers(1, tracks))
    if "balance" in faults:
        gains_db[one] += random.choice([-1, 1]) * random.uniform(1.0, 4.0)
    gains_db -= gains_db.mean()
    gains_db += random.choice([-1, 1]) * random.uniform(0.8, 6.0) * ("level" in faults)
    delays_us = _delays(made_as, random)
    lost_db = random.uniform(0.0, 0.25)
    speed = 1.0 + random.normal(0.0, 0.0004)
    if "speed" in faults:
        speed = 1.0 + random.choice([-1, 1]) * random.uniform(0.004, 0.02)
    warp = made.flutter_warp_s(random.uniform(3.0, 8.0), 0.008)
    if "flutter" in faults:
        warp = made.flutter_warp_s(random.uniform(3.0, 6.0), random.uniform(0.2, 0.5))
    step_db = float(random.choice([0.0, -10.0])) if made_as.speed_ips <= 7.5 else 0.0
    parts = []
    for hz, seconds in _tones(made_as, random):
        each_db = REFERENCE_DBFS + read_db(made_as.recorded, made_as.played, hz) + gains_db
        each_db -= _azimuth_loss_db(made_as, delays_us, hz)
        if hz != 1000.0:
            each_db += random.normal(0.0, 0.15)
        if hz > 3200.0:
            each_db += step_db - lost_db * hz / 10_000.0
            each_db[one] -= random.uniform(3.0, 6.0) * ("response" in faults)
        wave = made.tone(
            seconds, RATE_HZ, hz * speed, list(each_db), delays_us=list(delays_us), warp_s=warp
        )
        if hz == 1000.0:
            _damage(wave, faults, one)
        parts += [wave, np.zeros((RATE_HZ // 2, tracks))]
    parts += [np.zeros((2 * RATE_HZ, tracks)), _programme(tracks, random)]
    return _chain(made_as, np.concatenate(parts), one, random)


def _damage(wave: F64, faults: set[str], one: int) -> None:
    """Weak places on one track; missing samples, marked as no numbers for now, on all."""
    if "drop-outs" in faults:
        for start_s in (0.8, 1.9):
            wave[:, one] = made.dropped(wave[:, one], RATE_HZ, start_s, 30.0, 12.0)
    if "gap" in faults:
        wave[RATE_HZ : RATE_HZ + 480] = np.nan


def _chain(made_as: Reel, wave: F64, one: int, random: np.random.Generator) -> F64:
    """What tape and transfer add."""
    faults = made_as.faults
    missing = np.isnan(wave)
    if "dead track" in faults:
        wave[:, one] = 0.0
    rms = _LOW * (10.0 ** (random.uniform(17.0, 22.0) / 20.0) if "noise" in faults else 1.0)
    wave = np.nan_to_num(wave) + rms / np.sqrt(2.0) * random.standard_normal(wave.shape)
    if "hum" in faults:
        hum_hz = float(random.choice([50.0, 60.0]))
        level = made.amplitude(REFERENCE_DBFS + random.uniform(-50.0, -40.0))
        wave += level * np.sin(2.0 * np.pi * hum_hz * np.arange(len(wave)) / RATE_HZ)[:, None]
    if "direct voltage" in faults:
        wave[:, one] += 0.1
    if "polarity" in faults:
        wave[:, one] *= -1.0
    if "clipped" in faults:
        wave[-2 * RATE_HZ :] *= 60.0
    return np.where(missing, 0.0, wave)


def _tones(made_as: Reel, random: np.random.Generator) -> list[tuple[float, float]]:
    tones = [(1000.0, 3.0), (10_000.0, 3.0), (100.0, 3.0)]
    if random.random() < 0.5:
        tones.append((16_000.0, 3.0))
    if made_as.faults & {"speed", "flutter"} or random.random() < 0.3:
        tones.append((SPEED_TONE_HZ, 6.0))
    return tones


def _delays(made_as: Reel, random: np.random.Generator) -> F64:
    """A straight line over the tracks: from neighbour to neighbour within half a period."""
    across = np.arange(made_as.tracks) / (made_as.tracks - 1)
    apart_us = random.uniform(-2.0, 2.0)
    if "delay" in made_as.faults:
        apart_us = random.choice([-1, 1]) * random.uniform(7.0, 20.0)
    if "high end lost" in made_as.faults:
        slant_us = random.uniform(33.0, 45.0)
        per_track_us = slant_us / WIDTH_RE_PITCH[made_as.tracks]
        apart_us = random.choice([-1, 1]) * per_track_us * (made_as.tracks - 1)
    return np.asarray(across * apart_us)


def _azimuth_loss_db(made_as: Reel, delays_us: F64, hz: float) -> float:
    """sinc of the slant over the width of a track in wavelengths."""
    slant_us = abs(delays_us[1] - delays_us[0]) * WIDTH_RE_PITCH[made_as.tracks]
    return float(-20.0 * np.log10(np.sinc(1e-6 * slant_us * hz)))


def _programme(tracks: int, random: np.random.Generator) -> F64:
    """Notes that begin and end, all over the band: no tone, no steady noise; a loud one first."""
    frames = 2 * RATE_HZ
    time_s = np.arange(frames) / RATE_HZ
    wave = np.zeros(frames)
    for note in range(40):
        start_s, hz = random.uniform(0.0, 1.9), float(np.exp(random.uniform(4.5, 8.5)))
        age_s = time_s - start_s * (note > 3)
        wave += np.where(age_s > 0.0, np.exp(-8.0 * age_s), 0.0) * np.sin(2 * np.pi * hz * age_s)
    return np.repeat(0.03 * wave[:, None], tracks, axis=1)
