"""From the bytes of a sound file to samples: whole numbers of 1 to 4 bytes, and floats.

Several times faster than the sound-file library for 3 bytes, which is what captures have.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

WIDTHS = {"PCM_S8": 1, "PCM_U8": 1, "PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}
"""Bytes a sample, by the name of the coding."""

_SPARE = 4
"""Bytes that a buffer has before and after what is read, so that 3 bytes can be seen as 4."""


_CHUNK_SAMPLES = 3 << 15
"""Decoded at once, so that what lies between bytes and samples stays in the nearest cache."""


class Decoder:
    """Turns bytes of interleaved tracks into float32 samples, full scale 1.

    The buffers are its own: what it gives is good until it is used again.
    """

    def __init__(
        self, coding: str, big_endian: bool, tracks: int, wanted: Sequence[int], most_frames: int
    ) -> None:
        self._coding, self._order = coding, ">" if big_endian else "<"
        self._width = WIDTHS[coding]
        self._tracks = tracks
        all_of_them = list(wanted) == list(range(tracks))
        self._wanted = slice(None) if all_of_them else np.array(wanted)
        self._bytes = np.zeros(most_frames * tracks * self._width + 2 * _SPARE, np.uint8)
        self._samples = np.zeros((len(wanted), most_frames), np.float32)
        self._chunk = max(_CHUNK_SAMPLES // tracks, 64)
        self._whole = np.zeros((len(wanted), self._chunk if coding == "PCM_24" else 0), np.int32)

    def room(self, frames: int) -> memoryview:
        """Where the bytes of so many frames go."""
        return self._bytes.data[_SPARE : _SPARE + frames * self._tracks * self._width]

    def decode(self, frames: int) -> NDArray[np.float32]:
        """The wanted tracks of the frames whose bytes were put into the room, (frames, tracks).

        Each track's samples lie side by side in memory.
        """
        seen = self._seen(frames)
        with np.errstate(over="ignore", invalid="ignore"):
            for first in range(0, frames, self._chunk):
                some = seen[first : first + self._chunk, self._wanted].T
                self._decode(some, self._samples[:, first : first + some.shape[1]])
        return self._samples[:, :frames].T

    def _seen(self, frames: int) -> NDArray[Any]:
        """The bytes as numbers, (frames, tracks); 3 bytes as 4, the lowest a neighbour's."""
        kind = {"PCM_S8": "i1", "PCM_U8": "u1", "PCM_16": "i2", "FLOAT": "f4", "DOUBLE": "f8"}
        first = _SPARE - 1 if self._coding == "PCM_24" and self._order == "<" else _SPARE
        return np.ndarray(
            (frames, self._tracks),
            f"{self._order}{kind.get(self._coding, 'i4')}",
            self._bytes.data,
            first,
            (self._tracks * self._width, self._width),
        )

    def _decode(self, seen: NDArray[Any], samples: NDArray[np.float32]) -> None:
        if self._coding == "PCM_24":
            whole = self._whole[:, : seen.shape[1]]
            np.copyto(whole, seen)
            seen = np.right_shift(whole, 8, out=whole)
        np.copyto(samples, seen, casting="unsafe")
        if self._coding == "PCM_U8":
            samples -= np.float32(128.0)
        if self._coding.startswith("PCM"):
            samples *= np.float32(2.0 ** (1 - 8 * self._width))
