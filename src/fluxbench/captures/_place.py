"""A capture by its path, as a person gives it: looked at from outside, before anything reads it."""

import os
import stat

from fluxbench.base import MisuseError

_BEGINS = (b"RIFF", b"RF64", b"BW64", b"FORM", b"fLaC")
_LONGEST = 4096


def capture_at(given: str) -> str:
    """The whole path of a file that looks like a capture.

    Quotes around it are taken off, `~` is the home of the user that this runs as. A file counts
    if that user may list its folder and read it, and if it begins as a WAV, RF64, BW64, AIFF or
    FLAC file does; a tag before FLAC may be one too. `MisuseError` says what is the matter.
    """
    text = given.strip()
    if len(text) > 1 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1]
    path = os.path.normpath(os.path.expanduser(text))
    if not text or "\0" in text or len(text) > _LONGEST or not os.path.isabs(path):
        raise MisuseError("give the whole path of a file on the bench's computer, root first")
    try:
        _check(path)
    except OSError as error:
        raise MisuseError(f"{path} cannot be read: {error.strerror or error}") from None
    return path


def _check(path: str) -> None:
    mode = os.stat(path).st_mode
    if stat.S_ISDIR(mode):
        raise MisuseError(f"{path} is a folder; name one file in it")
    if not stat.S_ISREG(mode):
        raise MisuseError(f"{path} is no file; give a WAV, RF64, BW64, AIFF or FLAC file")
    if not os.access(os.path.dirname(path), os.R_OK | os.X_OK):
        raise MisuseError(f"{os.path.dirname(path)} may not be listed by the user of the bench")
    with open(path, "rb") as file:
        begins = file.read(4)
    if begins not in _BEGINS and begins[:3] != b"ID3":
        raise MisuseError(f"{path} is no capture; give a WAV, RF64, BW64, AIFF or FLAC file")
