"""A sound file as a link that cannot send."""

from os import PathLike, fspath

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, Flag, LinkError
from fluxbench.links._sends import check_send


class FileLink:
    """A sound file of one channel a track, streamed; LinkError if it cannot be read.

    It has no outputs: `exchange` takes an array (frames, 0). The block that reaches the end
    carries `Flag.END` and may be short; every one after it is empty and carries it too.
    """

    def __init__(self, path: str | PathLike[str]) -> None:
        # Late: the commands that read no file start sooner.
        import soundfile  # type: ignore[import-untyped]

        self._path = fspath(path)
        try:
            self._file = soundfile.SoundFile(self._path)
        except (soundfile.LibsndfileError, OSError, TypeError) as error:
            reason = getattr(error, "error_string", str(error)).strip().rstrip(".")
            raise LinkError(f"{self._path} cannot be read as a sound file: {reason}") from None
        self._unreadable = soundfile.LibsndfileError
        self._next_frame = 0

    @property
    def rate_hz(self) -> int:
        return int(self._file.samplerate)

    @property
    def inputs(self) -> int:
        return int(self._file.channels)

    @property
    def outputs(self) -> int:
        return 0

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Read the next `len(send)` frames, fewer at the end of the file."""
        check_send(send, 0)
        if self._file.closed:
            raise LinkError(f"{self._path} is closed; open a new link")
        try:
            samples = self._file.read(len(send), dtype="float32", always_2d=True)
        except self._unreadable as error:
            raise LinkError(f"{self._path} cannot be read on: {error.error_string}") from None
        block_start = self._next_frame
        self._next_frame += len(samples)
        ended = len(samples) < len(send) or self._next_frame >= self._file.frames
        return Block(samples, block_start, Flag.END if ended else Flag.NONE)

    def close(self) -> None:
        """Close the file; a second time does nothing."""
        self._file.close()
