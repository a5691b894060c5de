"""A tone of any length from blocks: everything that is asked of it in one pass."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluxbench.measure._azimuth import DelaysReading
from fluxbench.measure._drop_outs import DropOut
from fluxbench.measure._flutter import FlutterReading, RotatingPart
from fluxbench.measure._harmonics import HarmonicsReading
from fluxbench.measure._spectrum import Samples
from fluxbench.measure._tone import ToneReading


@dataclass(frozen=True, slots=True)
class ToneTake:
    """Everything measured on a tone; times are from the first frame that was added.

    `flutter` is None unless it was asked for. `level_along_dbfs` (points, tracks) is the level
    along the reel, at `along_s`, about one a second.
    """

    tone: ToneReading
    harmonics: HarmonicsReading
    delays: DelaysReading
    drop_outs: tuple[tuple[DropOut, ...], ...]
    along_s: NDArray[np.float64]
    level_along_dbfs: NDArray[np.float64]
    flutter: FlutterReading | None


class ToneStream:
    """Measures a tone from blocks of any length; memory does not grow with time.

    `frequency_hz` is where the tone was found, within 1 %. `positions_mm` is the place of each
    track across the tape; track numbers, if left out, so that slopes are per track.
    `with_flutter` is for speed tones; `parts` are what turns in the deck.
    """

    def __init__(
        self,
        rate_hz: float,
        tracks: int,
        frequency_hz: float,
        positions_mm: Sequence[float] | None = None,
        *,
        with_flutter: bool = False,
        parts: Sequence[RotatingPart] = (),
    ) -> None:
        raise NotImplementedError

    def add(self, samples: Samples) -> None:
        """Take the next frames, shape (frames, tracks)."""
        raise NotImplementedError

    def reading(self) -> ToneTake:
        """What was measured; the stream cannot be added to afterwards."""
        raise NotImplementedError
