"""What a person sees of a capture: how far the reading is, and a table a section."""

import threading
from collections.abc import Callable, Iterator
from pathlib import PurePath
from types import TracebackType

import numpy as np
from numpy.typing import NDArray
from rich.box import SIMPLE
from rich.console import Console
from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bars
from rich.table import Table
from rich.text import Text

from fluxbench.base import Validity
from fluxbench.captures import CaptureReading, Kind, MeasuredSection, line_of, nominal_hz
from fluxbench.cli._capture_drawn import drawn, drawn_delays
from fluxbench.cli._capture_related import reel_lines, section_lines
from fluxbench.trade import pitch

_WIDTH = 110
_MOST_COLUMNS = 8


class Progress:
    """A bar on standard error while a capture is read, if it is a terminal."""

    def __init__(self, *, quiet: bool = False, console: Console | None = None) -> None:
        console = Console(stderr=True) if console is None else console
        self._bars: Bars | None = None
        if console.is_terminal and not quiet:
            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                TaskProgressColumn(),
                TimeRemainingColumn(),
            )
            self._bars = Bars(*columns, console=console, transient=True)
        self._lock = threading.Lock()

    def __enter__(self) -> "Progress":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.pause()

    def of(self, path: str) -> Callable[[float], None]:
        """Begin a bar for a capture; call what is given back with what is done, 0 to 1."""
        bars = self._bars
        if bars is None:
            return lambda share: None
        bars.start()
        task = bars.add_task(plain(PurePath(path).name), total=1.0)

        def told(share: float) -> None:
            with self._lock:
                bars.update(task, completed=share)

        return told

    def pause(self) -> None:
        """Take the bars away."""
        if self._bars is None:
            return
        for task in self._bars.task_ids:
            self._bars.remove_task(task)
        self._bars.stop()


def plain(text: str) -> str:
    """Text that can be shown anywhere, whatever a file holds."""
    return "".join(c if c.isprintable() else "?" for c in text)


def print_capture(
    reading: CaptureReading, *, plot: bool = False, console: Console | None = None
) -> None:
    """Print everything that was read in a capture, for a person."""
    if console is None:
        console = Console(highlight=False)
        if not console.is_terminal:
            console = Console(highlight=False, width=_WIDTH)
    header = reading.header
    facts = [
        f"{header.container} {header.coding}",
        f"{header.tracks} track{'s' if header.tracks > 1 else ''}",
        f"{header.rate_hz} Hz",
        f"{reading.duration_s:.3f} s",
        _words(reading.validity),
    ]
    console.print(Text(plain(reading.path), style="bold"))
    console.print(Text(f"  {', '.join(facts)}"))
    for note in reading.notes:
        console.print(Text(f"  note: {plain(note)}"))
    for line in _broadcast(reading):
        console.print(Text(f"  {line}"))
    if not reading.sections:
        console.print(Text("  no section that could be measured"))
    for section in reading.sections:
        console.print(_table(section, reading.tracks))
        _print_lines(console, section_lines(section, reading.tracks))
        if plot:
            for line in drawn(section, reading.tracks):
                console.print(Text(line))
    _print_lines(console, reel_lines(reading))
    _print_azimuth(console, reading, plot)


def _print_lines(console: Console, lines: Iterator[str]) -> None:
    for line in lines:
        console.print(Text(f"  {line}"))


def _broadcast(reading: CaptureReading) -> list[str]:
    broadcast = reading.header.broadcast
    if broadcast is None:
        return []
    told = line_of(reading)["capture"]["bext"]
    lines = [
        f"bext {name.replace('_', ' ')}: {plain(str(value))}"
        for name, value in told.items()
        if value not in ("", []) and name != "coding_history"
    ]
    return lines + [
        "bext coding history: " + plain(", ".join(f"{key}={value}" for key, value in keys.items()))
        for keys in broadcast.coding_history
    ]


def _words(validity: Validity) -> str:
    return validity.value.replace("_", " ")


def _number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else "-"


def _table(section: MeasuredSection, tracks: tuple[int, ...]) -> Table:
    title = f"{section.start_s:.2f} to {section.end_s:.2f} s: {section.kind.value}"
    match section.kind:
        case Kind.TONE if section.tone is not None:
            return _tone(section, tracks, title)
        case Kind.NOISE if section.noise is not None:
            return _noise(section, tracks, title)
        case Kind.MULTITONE | Kind.SWEEP if section.response is not None:
            return _points(section, tracks, title)
    return _new(title)


def _new(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", box=SIMPLE, title_style="bold")
    for column in columns:
        table.add_column(column, justify="right")
    return table


def _tone(section: MeasuredSection, tracks: tuple[int, ...], title: str) -> Table:
    take = section.tone
    if take is None:
        return _new(title)
    ok = np.array([v is Validity.OK for v in section.track_validity()], bool)
    found_hz = take.tone.frequency_hz[ok & np.isfinite(take.tone.frequency_hz)]
    if len(found_hz):
        mean_hz = float(found_hz.mean())
        title += f", {mean_hz:.3f} Hz"
        if nominal := nominal_hz(mean_hz):
            title += f", {100.0 * (mean_hz / nominal - 1.0):+.3f} % re {pitch(nominal)}"
    if take.flutter is not None:
        title += _flutter(section)
    table = _new(
        title, "track", "level dBFS", "spread dB", "frequency Hz", "phase °", "2nd %", "3rd %",
        "THD %", "drop-outs", "",
    )  # fmt: skip
    for index, (track, validity) in enumerate(zip(tracks, section.track_validity(), strict=True)):
        drops = take.drop_outs[index]
        deepest = f", to {max(d.depth_db for d in drops):.1f} dB" if drops else ""
        numbers = (
            _number(take.tone.level_dbfs[index], 3),
            _number(take.tone.level_spread_db[index], 3),
            _number(take.tone.frequency_hz[index], 3),
            _number(take.tone.phase_deg[index], 2),
            _number(take.harmonics.percent[0][index], 3),
            _number(take.harmonics.percent[1][index], 3),
            _number(take.harmonics.total_percent[index], 3),
            f"{len(drops)}{deepest}",
        )
        told = numbers if validity is Validity.OK else ("-",) * len(numbers)
        table.add_row(f"{track}", *told, "" if validity is Validity.OK else _words(validity))
    return table


def _flutter(section: MeasuredSection) -> str:
    flutter = section.tone.flutter if section.tone is not None else None
    if flutter is None:
        return ""
    ok = np.isfinite(flutter.weighted_quasi_peak_percent)
    if not ok.any():
        return ""
    lines = ", ".join(
        f"{c.frequency_hz:.2f} Hz {c.peak_percent:.3f} %" for c in flutter.components[:6]
    )
    return (
        f"\nflutter ± {flutter.weighted_quasi_peak_percent[ok].mean():.4f} % weighted quasi-peak, "
        f"{flutter.weighted_2_sigma_percent[ok].mean():.4f} % weighted 2 sigma, "
        f"{flutter.unweighted_percent[ok].mean():.4f} % unweighted"
        + (f"\nparts of it: {lines}" if lines else "")
    )


def _noise(section: MeasuredSection, tracks: tuple[int, ...], title: str) -> Table:
    reading = section.noise
    table = _new(
        title, "track", "20 Hz to 20 kHz dBFS", "A-weighted dBFS", "BS.468 dBFS", "hum", ""
    )
    if reading is None:
        return table
    for index, (track, validity) in enumerate(zip(tracks, section.track_validity(), strict=True)):
        ok = validity is Validity.OK
        levels = (reading.unweighted_dbfs, reading.a_weighted_dbfs, reading.bs468_dbfs)
        hum = " ".join(
            f"{line.frequency_hz:.0f} Hz {line.level_dbfs:.1f}" for line in reading.hum[index]
        )
        table.add_row(
            f"{track}",
            *(_number(level[index], 2) if ok else "-" for level in levels),
            hum if ok else "",
            "" if ok else _words(validity),
        )
    return table


def _points(section: MeasuredSection, tracks: tuple[int, ...], title: str) -> Table:
    """A column a track; or, of many tracks, the mean and the ends."""
    response = section.response
    if response is None:
        return _new(title)
    kept = np.array([v is Validity.OK for v in section.validity])
    levels = np.where(kept, response.level_dbfs, np.nan)
    each = len(tracks) <= _MOST_COLUMNS
    heads = [f"{track}" for track in tracks] if each else ["mean dBFS", "lowest", "highest"]
    table = _new(title, "Hz", *heads)
    for frequency_hz, row in zip(response.frequencies_hz, levels, strict=True):
        cells = [_number(level, 2) for level in row]
        if not each:
            cells = _mean_and_ends(row, tracks)
        table.add_row(f"{frequency_hz:.1f}", *cells)
    return table


def _mean_and_ends(row: NDArray[np.float64], tracks: tuple[int, ...]) -> list[str]:
    if not np.isfinite(row).any():
        return ["-", "-", "-"]
    low, high = int(np.nanargmin(row)), int(np.nanargmax(row))
    mean_db = 10.0 * np.log10(np.nanmean(10.0 ** (row / 10.0)))
    return [
        _number(mean_db, 2),
        f"{row[low]:.2f} (track {tracks[low]})",
        f"{row[high]:.2f} (track {tracks[high]})",
    ]


def _print_azimuth(console: Console, reading: CaptureReading, plot: bool) -> None:
    azimuth = reading.azimuth
    if azimuth.validity is not Validity.OK:
        console.print(Text(f"azimuth: {_words(azimuth.validity)}"))
        return
    title = (
        f"azimuth from {azimuth.frequency_hz:.1f} Hz, re track {azimuth.reference_track}: "
        f"{azimuth.slope_us_per_track:+.3f} us a track"
    )
    table = _new(title, "track", "delay us", "off the line us")
    for index, track in enumerate(reading.tracks):
        table.add_row(
            f"{track}",
            _number(azimuth.delay_us[index], 3),
            _number(azimuth.scatter_us[index], 3),
        )
    console.print(table)
    if plot:
        for line in drawn_delays(azimuth, reading.tracks):
            console.print(Text(line))
