"""Where the trimmers of a deck are: photographs of its cards, with marks on them."""

from dataclasses import dataclass
from typing import Annotated, ClassVar

from pydantic import ConfigDict, Field, StringConstraints

from fluxbench.base import MisuseError
from fluxbench.book._kinds._words import CONFIG, Id, Name, Speed, Text, Track
from fluxbench.book._pictures import LARGEST_BYTES, image_of

Share = Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]
Base64 = Annotated[str, StringConstraints(max_length=4 * (LARGEST_BYTES // 3 + 1))]


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph, apart from what is marked on it, which changes more often."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    image: Base64
    """A JPEG or PNG file as base64, 184320 bytes and 4096 pixels each way at most."""

    def __post_init__(self) -> None:
        image_of(self.image)


@dataclass(frozen=True, slots=True)
class Mark:
    """The place of a trimmer on the picture of its card."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    trimmer: Name
    """As the deck calls it: reproduce_level, bias and so on, or one of its own."""
    x: Share
    """From 0 at the left edge of the picture to 1 at the right one."""
    y: Share
    """From 0 at the upper edge of the picture to 1 at the lower one."""
    track: Track | None = None
    """None: the same place on the card of every track, or a trimmer of the whole deck."""
    speed_ips: Speed | None = None
    """None: it is for all speeds."""


@dataclass(frozen=True, slots=True)
class Card:
    """A card or panel of a deck with trimmers on it."""

    __pydantic_config__: ClassVar[ConfigDict] = CONFIG

    name: Name
    deck: Id
    picture: Id
    marks: Annotated[tuple[Mark, ...], Field(max_length=1000)] = ()
    remark: Text | None = None

    def __post_init__(self) -> None:
        named = [(m.trimmer, m.track, m.speed_ips) for m in self.marks]
        if len(set(named)) < len(named):
            raise MisuseError("marks: one trimmer stands there twice")
