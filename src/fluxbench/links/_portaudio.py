"""A sound interface, or a sound server's client, through PortAudio."""

import atexit
import threading
import time
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluxbench.base import Block, DeviceLostError, Flag, LinkError, MisuseError, NoServerError
from fluxbench.links._duplex_ring import DuplexRing, SilenceKey
from fluxbench.links._interfaces import (
    Interface,
    check_channels,
    chosen,
    devices,
    portaudio,
    sending_to,
)
from fluxbench.links._pace import Pace
from fluxbench.links._sends import check_send

_CAPACITY_S = 1.0  # the caller may be this late before frames are lost
_GIVEN_UP_S = 1.0  # without a callback the interface is gone
_LOOK_S = 0.1
_LOOKS = round(_GIVEN_UP_S / _LOOK_S)  # counted: while the machine stands still nobody is late
_LEAVING_S = 0.5
_SHORT_LOOK_S = 2e-3

_starting = threading.Lock()
_open_streams = 0
_abandoned = False


class PortAudioLink:
    """A full-duplex stream of the interface called `interface_name`, float32, all channels at once.

    Channels left out (None) mean all there are, the rate left out the interface's own; under a
    sound server no other rate works. `host_api` may be a beginning such as ``jack`` and is needed
    where a name is there twice. The stream starts silent; frames count from the first `exchange`.
    A block sent leaves `lead_ms` after the arrival of the block given back for it: so long may
    the caller take now and then. `send_to` names another interface for the sends: one whose clock
    is not the same drifts, see `engine.LoopCheck`. `silence` is read in the callback: set, it sends
    silence at once.

    NoServerError: no PortAudio, no server, no such interface. ChannelsError: too few channels.
    MisuseError: a rate or name that cannot be used. LinkError: it cannot be opened, or a sound
    server went away under an earlier link: PortAudio can then not be used again in this process.
    """

    def __init__(
        self,
        interface_name: str,
        rate_hz: int | None = None,
        inputs: int | None = None,
        outputs: int | None = None,
        host_api: str | None = None,
        *,
        silence: SilenceKey | None = None,
        lead_ms: float = 60.0,
        send_to: str | None = None,
    ) -> None:
        global _open_streams
        sounddevice = portaudio()
        with _starting:
            if _abandoned:
                raise LinkError("the sound server went away under this process; start a new one")
            if _open_streams == 0:
                _look_again(sounddevice)
            try:
                found = devices(sounddevice)
                device = chosen(found, interface_name, host_api)
                if send_to is not None:
                    device = sending_to(device, chosen(found, send_to, host_api))
                interface = device.interface
                self.interface: Interface = interface
                self._inputs = interface.inputs if inputs is None else inputs
                self._outputs = interface.outputs if outputs is None else outputs
                check_channels(interface, self._inputs, self._outputs)
                self._rate_hz = _usable_rate(interface, rate_hz)
                self._ring = DuplexRing(
                    self._inputs,
                    self._outputs,
                    capacity_frames=round(_CAPACITY_S * self._rate_hz),
                    lead_frames=round(lead_ms * 1e-3 * self._rate_hz),
                    silence=threading.Event() if silence is None else silence,
                )
                self._ended = False
                self._pace = Pace(self._rate_hz)
                sink = device.output_index if self._outputs else None
                self._stream = self._opened(sounddevice, device.input_index, sink)
            except BaseException:
                if _open_streams == 0:
                    _let_go(sounddevice)
                raise
            self._open = True
            _open_streams += 1
        atexit.register(self.close)  # before PortAudio's own end, which may wait for ever

    def _opened(self, sounddevice: ModuleType, source: int | None, sink: int | None) -> Any:
        common: dict[str, Any] = {
            "samplerate": self._rate_hz,
            "blocksize": 0,
            "dtype": "float32",
            "finished_callback": self._finished,
        }
        try:
            if sink is None:
                stream = sounddevice.RawInputStream(
                    device=source, channels=self._inputs, callback=self._input_period, **common
                )
            else:
                stream = sounddevice.RawStream(
                    device=(source, sink),
                    channels=(self._inputs, self._outputs),
                    callback=self._period,
                    **common,
                )
            try:
                stream.start()
            except sounddevice.PortAudioError:
                stream.close()
                raise
        except sounddevice.PortAudioError as error:
            reason = " ".join(str(error).split())
            raise LinkError(f"{self.interface.name} cannot be opened: {reason}") from None
        return stream

    def _period(self, arrived: Any, leaving: Any, frames: int, _time: Any, status: Any) -> None:
        arriving = np.frombuffer(arrived, np.float32).reshape(frames, self._inputs)
        sending = np.frombuffer(leaving, np.float32).reshape(frames, self._outputs)
        lost = _flags(status) if status else Flag.NONE
        self._ring.period(arriving, sending, frames, lost)

    def _input_period(self, arrived: Any, frames: int, _time: Any, status: Any) -> None:
        arriving = np.frombuffer(arrived, np.float32).reshape(frames, self._inputs)
        nothing = np.empty((frames, 0), np.float32)
        self._ring.period(arriving, nothing, frames, _flags(status) if status else Flag.NONE)

    def _finished(self) -> None:
        self._ended = True
        self._ring.arrived.set()

    @property
    def rate_hz(self) -> int:
        return self._rate_hz

    @property
    def inputs(self) -> int:
        return self._inputs

    @property
    def outputs(self) -> int:
        return self._outputs

    def exchange(self, send: NDArray[np.float32]) -> Block:
        """Send a block and wait for as many frames of all inputs, for 20 ms or so at a time.

        DeviceLostError when the stream ends, when no frame arrives for a second, or when frames
        come at another rate than they should; a sound server's rate stays what it is.
        """
        check_send(send, self._outputs)
        if not self._open:
            raise LinkError(f"the link to {self.interface.name} is closed; open a new one")
        if len(send) > self._ring.longest_block:
            raise MisuseError(
                f"{len(send)} frames are too many for one block of a live stream; "
                f"send at most {self._ring.longest_block}"
            )
        self._ring.send(send)
        looks, clock = 0, self._ring.clock
        while True:
            self._ring.arrived.clear()
            block = self._ring.take(len(send))
            if block is not None:
                self._check_pace(block)
                return block
            if self._ended:
                raise self._lost("has ended the stream")
            if self._ring.arrived.wait(_LOOK_S):
                continue
            looks += 1
            if self._ring.clock != clock:
                looks, clock = 0, self._ring.clock
            elif not self._stream.active:
                raise self._lost("has stopped")
            elif looks >= _LOOKS:
                raise self._lost(f"has given no frame for {_GIVEN_UP_S:g} s")

    def _check_pace(self, block: Block) -> None:
        lost = block.flags != Flag.NONE
        pace_hz = self._pace.see(self._ring.clock, time.monotonic(), lost=lost)
        if pace_hz is not None and not _is_served(self.interface):
            raise self._lost(
                f"runs at about {pace_hz:.0f} Hz instead of {self._rate_hz}: another program may"
                " have changed its rate"
            )

    def _lost(self, what_happened: str) -> DeviceLostError:
        return DeviceLostError(
            f"{self.interface.name} {what_happened}; "
            "see to the interface or the sound server, then start again"
        )

    def close(self) -> None:
        """Stop the stream and let the interface go; a second time does nothing."""
        global _open_streams, _abandoned
        if not self._open:
            return
        self._open = False
        atexit.unregister(self.close)
        sounddevice = portaudio()
        with _starting:
            _open_streams -= 1
            if _is_served(self.interface) and not self._periods_come():
                _abandoned = True
                _abandon(sounddevice)
            else:
                self._stream.close()
                if _open_streams == 0:
                    _let_go(sounddevice)
        self._ring.rest()

    def _periods_come(self) -> bool:
        """Whether the callback is still called; a period lasts some milliseconds."""
        periods = self._ring.periods
        for _ in range(round(_LEAVING_S / _SHORT_LOOK_S)):
            if not self._stream.active:
                return False
            time.sleep(_SHORT_LOOK_S)
            if self._ring.periods != periods:
                return True
        return False


def _abandon(sounddevice: Any) -> None:
    """Leave PortAudio as it is: closing a stream of a dead server makes it wait ten minutes."""
    sounddevice._last_callback = None
    sounddevice._initialized = 0


def _look_again(sounddevice: ModuleType) -> None:
    """Start PortAudio anew: its list of interfaces is fixed at the start."""
    try:
        _let_go(sounddevice)
        sounddevice._initialize()
    except sounddevice.PortAudioError as error:
        raise NoServerError(f"PortAudio does not start: {error}") from None


def _let_go(sounddevice: ModuleType) -> None:
    """End PortAudio: it must not be a client of a sound server that may stop before it."""
    while sounddevice._initialized:
        sounddevice._terminate()


def _usable_rate(interface: Interface, rate_hz: int | None) -> int:
    if rate_hz is not None and _is_served(interface) and rate_hz != interface.rate_hz:
        raise MisuseError(
            f"the sound server of {interface.name} runs at {interface.rate_hz} Hz; "
            f"leave the rate out, or start the server at {rate_hz} Hz"
        )
    return interface.rate_hz if rate_hz is None else rate_hz


def _is_served(interface: Interface) -> bool:
    return interface.host_api.lower().startswith("jack")


def _flags(status: Any) -> Flag:
    flags = Flag.NONE
    if status.input_overflow or status.input_underflow:
        flags |= Flag.INPUT_LOST
    if status.output_underflow or status.output_overflow:
        flags |= Flag.OUTPUT_LOST
    return flags
