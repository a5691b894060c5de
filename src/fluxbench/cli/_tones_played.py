"""`fluxbench tones --interface`: the line-up tones played to a deck that records."""

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
import typer
from numpy.typing import NDArray

from fluxbench.base import DeviceLostError, Flag, MisuseError

if TYPE_CHECKING:
    from fluxbench.links import Link
    from fluxbench.signals import Passage, PassageSender
    from fluxbench.trade import LineUpTone

BLOCK_FRAMES = 1024
FADE_S = 0.05
QUESTION = "Are monitors and headphones down, and do the tracks of the right reel record?"


def agreed(caution: str, *, yes: bool) -> None:
    """Have the person say that tones may be sent, once cautioned; `MisuseError` if not."""
    typer.echo(caution, err=True)
    if not yes and not typer.confirm(QUESTION, default=False, err=True):
        raise MisuseError("nothing was sent; give the command again when all is ready")


def play(
    link: "Link",
    sender: "PassageSender",
    printed: "Sequence[LineUpTone]",
    tell: Callable[[str], None],
) -> None:
    """Send all passages over a link, telling of each tone as it begins; silence at the end.

    DeviceLostError if frames were lost: what was recorded then has a gap, and is to be recorded
    anew. However it ends, what is sent fades out.
    """
    numbered = [
        (first, passage)
        for passage, (first, _) in zip(sender.passages, sender.spans, strict=True)
        if passage.number
    ]
    at, last, lost = 0, np.zeros(link.outputs, np.float32), False
    try:
        for block in _pieces(sender.blocks()):
            while numbered and numbered[0][0] < at + len(block):
                tell(_told(numbered.pop(0)[1], printed))
            flags = link.exchange(block).flags
            at, last = at + len(block), block[-1]
            if flags != Flag.NONE and at > sender.rate_hz:  # a stream may stumble as it starts
                lost = True
                break
    finally:
        _fade(link, last)
    if lost:
        raise DeviceLostError(
            f"frames were lost {at / sender.rate_hz:.1f} s after the begin: the tones on the tape"
            " have a gap; wind back and give the command again"
        )


def _pieces(blocks: "Iterator[NDArray[np.float32]]") -> "Iterator[NDArray[np.float32]]":
    for block in blocks:
        for at in range(0, len(block), BLOCK_FRAMES):
            yield np.ascontiguousarray(block[at : at + BLOCK_FRAMES])


def _fade(link: "Link", last: NDArray[np.float32]) -> None:
    """From whatever was sent last to silence, and long enough of it to be played out."""
    frames = round(FADE_S * link.rate_hz)
    link.exchange(np.linspace(1.0, 0.0, frames, dtype=np.float32)[:, np.newaxis] * last)
    silence = np.zeros((BLOCK_FRAMES, link.outputs), np.float32)
    for _ in range(round(0.2 * link.rate_hz / BLOCK_FRAMES) + 1):
        link.exchange(silence)


def _told(passage: "Passage", printed: "Sequence[LineUpTone]") -> str:
    from fluxbench.trade import pitch

    tone = printed[passage.number - 1]
    return (
        f"tone {passage.number} of {len(printed)}: {pitch(tone.frequency_hz)} at"
        f" {tone.level_db:g} dB for {tone.duration_s:g} s"
    )
