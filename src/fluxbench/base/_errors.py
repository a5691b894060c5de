"""The errors of Fluxbench, one small tree.

::

    FluxbenchError            something went wrong that a person can read about in one line
    ├── MisuseError           a name, number or option that cannot be used (exit code 2)
    │   └── SignalError       a tone that cannot be sent: above Nyquist, above full scale
    ├── LinkError             the stream of samples cannot be had
    │   ├── NoServerError     no sound server or no such interface
    │   ├── ChannelsError     the interface has too few channels
    │   └── DeviceLostError   the interface went away while in use
    ├── DeckError             the deck refused a turn, a load or a transport command
    ├── CrewError             workers of a cluster that cannot be had, or cannot do the jobs
    ├── CaptureError          a sound file that cannot be read or written, or holds nothing
    ├── ConflictError         an id that was used for something else, a thing changed meanwhile
    └── BookError             the book cannot be opened, or not be written any more

A measurement that cannot be trusted is not an error: it is a result with a `Validity`.
"""


class FluxbenchError(Exception):
    """Something went wrong; the message says what happened and what to do, on one line."""


class MisuseError(FluxbenchError):
    """A name, number or option that cannot be used."""


class SignalError(MisuseError):
    """A tone that cannot be sent, such as one above half the sample rate."""


class LinkError(FluxbenchError):
    """The stream of samples cannot be had."""


class NoServerError(LinkError):
    """No sound server is running, or it knows no such interface."""


class ChannelsError(LinkError):
    """The interface has fewer channels than asked for."""


class DeviceLostError(LinkError):
    """The interface went away while it was in use."""


class DeckError(FluxbenchError):
    """The deck refused a turn, a load or a transport command."""


class CaptureError(FluxbenchError):
    """A sound file that cannot be read or written, or holds nothing to measure."""


class CrewError(FluxbenchError):
    """Workers of a cluster that cannot be had, or cannot do the jobs."""


class ConflictError(FluxbenchError):
    """An id that was used for something else, or a thing that was changed meanwhile."""


class BookError(FluxbenchError):
    """The book cannot be opened, or not be written any more."""
