"""From the bytes of a sound file to samples: whole numbers of 1 to 4 bytes, and floats.

Several times faster than the sound-file library for 3 bytes, which is what captures have.
"""

import numpy as np
from numpy.typing import NDArray

WIDTHS = {"PCM_S8": 1, "PCM_U8": 1, "PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}
"""Bytes a sample, by the name of the coding."""

_SPARE = 4
"""Bytes that a buffer has before and after what is read, so that 3 bytes can be seen as 4."""


class Decoder:
    """Turns bytes into float32 samples, full scale 1, with buffers of its own."""

    def __init__(self, coding: str, big_endian: bool, most_samples: int) -> None:
        self._coding, self._order = coding, ">" if big_endian else "<"
        self._width = WIDTHS[coding]
        self._bytes = np.zeros(most_samples * self._width + 2 * _SPARE, np.uint8)
        self._whole = np.zeros(most_samples if coding == "PCM_24" else 0, np.int32)

    def room(self, samples: int) -> memoryview:
        """Where the bytes of so many samples go."""
        return self._bytes.data[_SPARE : _SPARE + samples * self._width]

    def decode(self, samples: int) -> NDArray[np.float32]:
        """The samples whose bytes were put into the room."""
        if self._coding == "PCM_24":
            return self._of_three_bytes(samples)
        kind = {"PCM_S8": "i1", "PCM_U8": "u1", "PCM_16": "i2", "PCM_32": "i4", "FLOAT": "f4"}
        seen = np.frombuffer(
            self._bytes, f"{self._order}{kind.get(self._coding, 'f8')}", samples, _SPARE
        )
        with np.errstate(over="ignore", invalid="ignore"):
            decoded = seen.astype(np.float32)
        if self._coding == "PCM_U8":
            decoded -= np.float32(128.0)
        if self._coding.startswith("PCM"):
            decoded *= np.float32(2.0 ** (1 - 8 * self._width))
        return decoded

    def _of_three_bytes(self, samples: int) -> NDArray[np.float32]:
        """Seen as 4 bytes of which the lowest is a neighbour's, which is shifted out."""
        first = _SPARE - 1 if self._order == "<" else _SPARE
        seen = np.ndarray((samples,), f"{self._order}i4", self._bytes.data, first, (3,))
        whole = self._whole[:samples]
        np.copyto(whole, seen)
        np.right_shift(whole, 8, out=whole)
        decoded = whole.astype(np.float32)
        decoded *= np.float32(2.0**-23)
        return decoded
