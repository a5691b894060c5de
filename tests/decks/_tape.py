"""Reels of the second deck: pages of recorded flux, a calibration tape that can be wiped."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.decks._magnetics import Floats, Stock
from tests.decks._motion import Samples

PAGE = 16384
_OLD_REMAINS = np.float32(10.0 ** (-78.0 / 20.0))  # common practice: studio erasure 75-80 dB
_FADE_S = 0.02


@dataclass(frozen=True, slots=True)
class Section:
    """One tone of a calibration tape; the level is re the tape's own fluxivity."""

    start_s: float
    seconds: float
    frequency_hz: float
    level_db: float


@dataclass
class _Page:
    flux: Samples  # (tracks, PAGE), peak operating flux = 1
    displacement: Floats  # (PAGE,) of the tape while it was recorded, frames
    azimuth_arcmin: float = 0.0


@dataclass
class Tape:
    """A reel. Flux lies on a grid of nominal frames; what was never recorded is made on demand.

    Only the latest ``most_pages`` recorded pages are kept (the reel then reads blank there);
    a calibration tape forgets none.
    """

    name: str
    sheet: dict[str, Any]
    tracks: int
    rate_hz: float
    seconds: float
    noise: float
    rng: np.random.Generator
    stock: Stock | None = None
    sections: tuple[Section, ...] = ()
    amplitude: list[Floats] = field(default_factory=list)  # per section, (tracks,)
    speed_error: float = 0.0
    most_pages: int = 1 << 30
    wiped: bool = False
    pages: OrderedDict[int, _Page] = field(default_factory=OrderedDict)
    drop_outs: list[tuple[int, int, int, float]] = field(default_factory=list)

    def scatter_drop_outs(self, per_minute: Floats) -> None:
        """Strew drop-outs (start frame, frames, row, depth_db), sorted along the reel."""
        for row, count in enumerate(self.rng.poisson(per_minute * self.seconds / 60.0)):
            starts = self.rng.uniform(0.0, self.seconds, count) * self.rate_hz
            lengths = self.rng.uniform(0.003, 0.025, count) * self.rate_hz
            depths_db = self.rng.uniform(3.0, 14.0, count)
            self.drop_outs += [
                (int(start), int(length), row, float(depth))
                for start, length, depth in zip(starts, lengths, depths_db, strict=True)
            ]
        self.drop_outs.sort()

    def section_at(self, position_s: float) -> int | None:
        """Number of the section under the reproduce head, counted from 0 as on the sheet."""
        for entry in self.sheet.get("sections", []):
            if entry["start_s"] <= position_s < entry["start_s"] + entry["seconds"]:
                return int(entry["section"])
        return None

    def _made(self, first: int, frames: int) -> Samples:
        """What the reel carries from the factory: tones, and the noise of erased tape."""
        flux = self.rng.standard_normal((self.tracks, frames), dtype=np.float32)
        flux *= np.float32(self.noise * 0.6)
        for section, amplitude in zip(self.sections, self.amplitude, strict=True):
            start = section.start_s * self.rate_hz
            stop = start + section.seconds * self.rate_hz
            if first >= stop or first + frames <= start:
                continue
            frame = np.arange(first, first + frames)
            inside = np.minimum(frame - start, stop - frame) / (_FADE_S * self.rate_hz)
            cycles = section.frequency_hz * (1.0 + self.speed_error) / self.rate_hz * frame
            tone = np.sin(2.0 * np.pi * np.mod(cycles, 1.0)) * np.clip(inside, 0.0, 1.0)
            flux += amplitude.astype(np.float32)[:, None] * tone.astype(np.float32)
        return flux

    def _page(self, number: int) -> _Page:
        page = self.pages.get(number)
        if page is None:
            page = _Page(self._made(number * PAGE, PAGE), np.zeros(PAGE))
            self.pages[number] = page
            if len(self.pages) > self.most_pages:
                self.pages.popitem(last=False)
        return page

    def write(
        self, first: int, flux: Samples, rows: list[int], displacement: Floats, azimuth: float
    ) -> None:
        """Erase and record ``rows`` from grid frame ``first`` on."""
        done, frames = 0, flux.shape[1]
        while done < frames:
            number, at = divmod(first + done, PAGE)
            count = min(PAGE - at, frames - done)
            page = self._page(number)
            self.pages.move_to_end(number)
            target = page.flux[:, at : at + count]
            target[rows] = flux[rows, done : done + count] + _OLD_REMAINS * target[rows]
            page.displacement[at : at + count] = displacement[done : done + count]
            page.azimuth_arcmin = azimuth
            done += count
        self.wiped = self.wiped or bool(rows)

    def read(self, first: int, frames: int) -> tuple[Samples, Floats, float]:
        """Flux (tracks, frames), displacement while recorded, azimuth of the recording head."""
        flux = np.empty((self.tracks, frames), dtype=np.float32)
        displacement = np.zeros(frames)
        azimuth, done = 0.0, 0
        while done < frames:
            number, at = divmod(first + done, PAGE)
            count = min(PAGE - at, frames - done)
            page = self.pages.get(number)
            if page is None:
                flux[:, done : done + count] = self._made(first + done, count)
            else:
                flux[:, done : done + count] = page.flux[:, at : at + count]
                displacement[done : done + count] = page.displacement[at : at + count]
                azimuth = page.azimuth_arcmin
            done += count
        return flux, displacement, azimuth
