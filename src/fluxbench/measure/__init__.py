"""What came back: arrays in, frozen results out."""

from fluxbench.measure._along import (
    AlongReading,
    level_along,
)
from fluxbench.measure._azimuth import (
    DelaysReading,
    delays_of,
    track_delays,
)
from fluxbench.measure._bank import (
    HOP_S,
    EnvelopeBank,
    Hop,
    power_dbfs,
)
from fluxbench.measure._clock_drift import ClockDrift
from fluxbench.measure._drop_outs import (
    DropOut,
    drop_outs_of,
)
from fluxbench.measure._echoes import (
    LONGEST_TURN_S,
    EchoesReading,
    echoes,
    narrow_powers,
    turn_of,
)
from fluxbench.measure._flutter import (
    FlutterReading,
    flutter_of,
)
from fluxbench.measure._flutter_parts import (
    FlutterComponent,
    PartReading,
    RotatingPart,
    components_of,
)
from fluxbench.measure._frequency import (
    HeardTone,
    fit_frequency,
    hear,
)
from fluxbench.measure._harmonics import (
    HarmonicsReading,
    harmonics,
    harmonics_of,
)
from fluxbench.measure._hum import (
    HumLine,
)
from fluxbench.measure._left_over import LeftOver
from fluxbench.measure._limits import (
    THIRD_HARMONIC_LIMIT_PERCENT,
    HighestOutput,
    MaximumOutput,
    compression_db,
    highest_output,
    maximum_output,
)
from fluxbench.measure._loop_probe import (
    ProbeReading,
    probe_return,
)
from fluxbench.measure._low_end import (
    LowEndReading,
    low_end,
)
from fluxbench.measure._needles import (
    ProgrammeNeedles,
    VuNeedles,
)
from fluxbench.measure._noise import (
    NoiseReading,
    NoiseStream,
    noise,
)
from fluxbench.measure._one_track import (
    UprightReading,
    upright,
)
from fluxbench.measure._pair_delay import (
    PairDelayReading,
    pair_delay,
)
from fluxbench.measure._quasi_peak import (
    QuasiPeak,
)
from fluxbench.measure._response import (
    ResponseReading,
    multitone_levels,
)
from fluxbench.measure._steps import (
    stepped_levels,
)
from fluxbench.measure._stretch import KINDS, Measured, Wanted, measured
from fluxbench.measure._sweep import (
    sweep_levels,
)
from fluxbench.measure._tone import (
    ToneReading,
    tone_levels,
    tone_reading,
)
from fluxbench.measure._tone_piece import (
    ToneTake,
)
from fluxbench.measure._tone_stream import (
    TonePart,
    ToneStream,
    take_tone,
    tone_of,
)
from fluxbench.measure._unwanted import (
    RelativeReading,
    crosstalk,
    crosstalk_between,
    erasure,
    modulation_noise,
    print_through,
    remains,
)
from fluxbench.measure._validity import (
    waveform_validity,
)

__all__ = [
    "HOP_S",
    "KINDS",
    "LONGEST_TURN_S",
    "THIRD_HARMONIC_LIMIT_PERCENT",
    "AlongReading",
    "ClockDrift",
    "DelaysReading",
    "DropOut",
    "EchoesReading",
    "EnvelopeBank",
    "FlutterComponent",
    "FlutterReading",
    "HarmonicsReading",
    "HeardTone",
    "HighestOutput",
    "Hop",
    "HumLine",
    "LeftOver",
    "LowEndReading",
    "MaximumOutput",
    "Measured",
    "NoiseReading",
    "NoiseStream",
    "PairDelayReading",
    "PartReading",
    "ProbeReading",
    "ProgrammeNeedles",
    "QuasiPeak",
    "RelativeReading",
    "ResponseReading",
    "RotatingPart",
    "TonePart",
    "ToneReading",
    "ToneStream",
    "ToneTake",
    "UprightReading",
    "VuNeedles",
    "Wanted",
    "components_of",
    "compression_db",
    "crosstalk",
    "crosstalk_between",
    "delays_of",
    "drop_outs_of",
    "echoes",
    "erasure",
    "fit_frequency",
    "flutter_of",
    "harmonics",
    "harmonics_of",
    "hear",
    "highest_output",
    "level_along",
    "low_end",
    "maximum_output",
    "measured",
    "modulation_noise",
    "multitone_levels",
    "narrow_powers",
    "noise",
    "pair_delay",
    "power_dbfs",
    "print_through",
    "probe_return",
    "remains",
    "stepped_levels",
    "sweep_levels",
    "take_tone",
    "tone_levels",
    "tone_of",
    "tone_reading",
    "track_delays",
    "turn_of",
    "upright",
    "waveform_validity",
]
