"""The engine: what is sent, the stream, what is measured, one step at a time."""

from collections.abc import Sequence

from fluxbench.links import Link
from fluxbench.measure import EnvelopeBank, Hop
from fluxbench.signals import Sender, Signal, Silence

STEP_S = 0.04


class Engine:
    """Sends a signal over a link and gives back hops of what returned.

    `listen` and `send` take effect with the next step, which is about `step_s` long.
    """

    def __init__(self, link: Link, tracks: int, step_s: float = STEP_S) -> None:
        self.rate_hz = link.rate_hz
        self.tracks = tracks
        self._link = link
        self._sender = Sender(link.rate_hz, tracks)
        self._bank = EnvelopeBank(link.rate_hz, tracks)
        hops = max(1, round(step_s * link.rate_hz / self._bank.hop_frames))
        self._frames = hops * self._bank.hop_frames

    @property
    def time_s(self) -> float:
        """Frames sent since the start, as seconds."""
        return self._sender.sent_frames / self.rate_hz

    def send(self, signal: Signal) -> None:
        """Send something else from the next step on."""
        self._sender.send(signal)

    def listen(self, frequencies_hz: Sequence[float]) -> None:
        """Measure other tones from the next step on."""
        self._bank.tune(frequencies_hz)

    def step(self) -> list[Hop]:
        """Exchange one block and measure it."""
        return self._bank.process(self._link.exchange(self._sender.block(self._frames)))

    def close(self) -> None:
        """Fade to silence, then let the link go."""
        self._sender.send(Silence())
        try:
            for _ in range(3):
                self._link.exchange(self._sender.block(self._frames))
        finally:
            self._link.close()
