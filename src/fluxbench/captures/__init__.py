"""Reading one capture: its header, its sections, and what they measure; and writing one."""

from fluxbench.captures._bext import BroadcastExtension
from fluxbench.captures._header import Header
from fluxbench.captures._line import line_of
from fluxbench.captures._nominal import LINE_UP_HZ, nominal_hz
from fluxbench.captures._place import capture_at
from fluxbench.captures._read import read_capture
from fluxbench.captures._results import CaptureAzimuth, CaptureReading, MeasuredSection
from fluxbench.captures._sections import Kind
from fluxbench.captures._wave_file import WORD_BITS, WaveFormat, write_wave

__all__ = [
    "LINE_UP_HZ",
    "WORD_BITS",
    "BroadcastExtension",
    "CaptureAzimuth",
    "CaptureReading",
    "Header",
    "Kind",
    "MeasuredSection",
    "WaveFormat",
    "capture_at",
    "line_of",
    "nominal_hz",
    "read_capture",
    "write_wave",
]
