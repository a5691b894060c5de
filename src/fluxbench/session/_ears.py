"""Who listens to what is left of a track beside its tones, and to which track."""

from collections.abc import Callable

from fluxbench.engine import Left, Listening
from fluxbench.lineup import LineUp


class Ears:
    """Hands on what is left while somebody listens. `on_left` is called in the session's thread.

    It is the track in hand; while none is, the one before it, at first track 1.
    """

    def __init__(self) -> None:
        self.open = False
        """Whether anybody listens; may be set from any thread."""
        self.on_left: Callable[[Left], None] = lambda left: None
        self._track = 0

    def listening(self, lineup: LineUp | None) -> Listening | None:
        """What the engine is to give out."""
        advice = None if lineup is None else lineup.view.advice
        if advice is not None and advice.track is not None:
            self._track = advice.track - 1
        return Listening(self._track) if self.open else None

    def hand_on(self, left: Left | None) -> None:
        """Hand on what came with a step."""
        if left is not None and self.open:
            self.on_left(left)
