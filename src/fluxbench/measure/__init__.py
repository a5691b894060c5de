"""What came back: arrays in, frozen results out."""

from fluxbench.measure._azimuth import DelaysReading, delays_of, track_delays
from fluxbench.measure._bank import HOP_S, EnvelopeBank, Hop
from fluxbench.measure._frequency import HeardTone, fit_frequency, hear
from fluxbench.measure._harmonics import HarmonicsReading, harmonics, harmonics_of
from fluxbench.measure._pair_delay import PairDelayReading, pair_delay
from fluxbench.measure._response import ResponseReading, multitone_levels
from fluxbench.measure._tone import ToneReading, tone_levels, tone_reading
from fluxbench.measure._validity import waveform_validity

__all__ = [
    "HOP_S",
    "DelaysReading",
    "EnvelopeBank",
    "HarmonicsReading",
    "HeardTone",
    "Hop",
    "PairDelayReading",
    "ResponseReading",
    "ToneReading",
    "delays_of",
    "fit_frequency",
    "harmonics",
    "harmonics_of",
    "hear",
    "multitone_levels",
    "pair_delay",
    "tone_levels",
    "tone_reading",
    "track_delays",
    "waveform_validity",
]
