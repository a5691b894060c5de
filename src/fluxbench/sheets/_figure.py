"""The response of all tracks as a picture without words: the page puts those where they belong."""

import io
import math
from dataclasses import dataclass

from matplotlib import rcParams
from matplotlib.figure import Figure

from fluxbench.sheets._contents import Response
from fluxbench.sheets._words import plain
from fluxbench.trade import Tolerances

rcParams.update({"svg.fonttype": "path", "svg.hashsalt": "fluxbench"})  # same input, same bytes

LOW_HZ, HIGH_HZ = 28.0, 22_400.0
GRID_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0)
LEAST_DB, MOST_DB = 3.0, 12.0
MOST_NAMED = 6
INK, SOFT, LINE, WASH, MARK = "#191712", "#70675a", "#cdc3b1", "#f0ebe0", "#b23100"

Place = tuple[float, float, str]
"""Where a word belongs, in parts of width and height from the top left, and the word."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A response drawn: SVG, its words along both edges, and the tracks that leave the band."""

    svg: bytes
    along: tuple[Place, ...]
    up: tuple[Place, ...]
    named: tuple[Place, ...]


def draw(response: Response, bands: Tolerances, width_mm: float, height_mm: float) -> Picture:
    """Draw a response; the same one gives the same bytes."""
    order = sorted(range(len(response.frequencies_hz)), key=lambda i: response.frequencies_hz[i])
    tones = [response.frequencies_hz[i] for i in order]
    rows = [response.off_db[i] for i in order]
    tracks = list(zip(*rows, strict=True))
    reach_db = _reach_db(rows)
    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xscale="log", xlim=(LOW_HZ, HIGH_HZ), ylim=(-reach_db, reach_db))
    axes.set_axis_off()
    axes.fill_between(
        (bands.response_low_hz, bands.response_high_hz), -bands.response_db, bands.response_db,
        color=WASH, lw=0,
    )  # fmt: skip
    steps = _steps_db(reach_db)
    axes.hlines(steps, LOW_HZ, HIGH_HZ, color=LINE, lw=0.35)
    axes.vlines(GRID_HZ, -reach_db, reach_db, color=LINE, lw=0.35)
    axes.hlines(0.0, LOW_HZ, HIGH_HZ, color=SOFT, lw=0.7)
    named: list[Place] = []
    for number, track in enumerate(tracks):
        worst = _worst(tones, track, bands)
        levels = [math.nan if level is None else level for level in track]
        style = {"color": MARK, "lw": 1.2, "zorder": 4} if worst else {"color": INK, "lw": 0.4}
        axes.plot(tones, levels, **style)  # type: ignore[arg-type]
        if worst and len(named) < MOST_NAMED:
            named.append((*_place(*worst, reach_db), str(number + 1)))
    return Picture(
        _svg(figure),
        tuple((_place(f, 0.0, reach_db)[0], 1.0, _short(f)) for f in GRID_HZ),
        tuple((0.0, _place(LOW_HZ, db, reach_db)[1], plain(db, 0)) for db in steps),
        tuple(named),
    )


def _svg(figure: Figure) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _reach_db(rows: list[tuple[float | None, ...]]) -> float:
    most = max((abs(v) for row in rows for v in row if v is not None), default=0.0)
    return float(min(MOST_DB, max(LEAST_DB, math.ceil(most * 1.05))))


def _steps_db(reach_db: float) -> list[float]:
    step = 1 if reach_db <= 4.0 else 2 if reach_db <= 8.0 else 4
    return [float(db) for db in range(-12, 13, step) if abs(db) < reach_db]


def _worst(
    tones: list[float], track: tuple[float | None, ...], bands: Tolerances
) -> tuple[float, float] | None:
    """The tone and level at which a track is farthest out of its band, if it is."""
    out = [
        (abs(level), tone, level)
        for tone, level in zip(tones, track, strict=True)
        if level is not None
        and bands.response_low_hz <= tone <= bands.response_high_hz
        and abs(level) > bands.response_db
    ]
    return max(out)[1:] if out else None


def _place(frequency_hz: float, level_db: float, reach_db: float) -> tuple[float, float]:
    along = math.log(frequency_hz / LOW_HZ) / math.log(HIGH_HZ / LOW_HZ)
    down = 0.5 - max(-1.0, min(1.0, level_db / reach_db)) / 2.0
    return round(along, 4), round(down, 4)


def _short(frequency_hz: float) -> str:
    return f"{frequency_hz:g}" if frequency_hz < 1000.0 else f"{frequency_hz / 1000.0:g}k"
