"""A running line-up: commands in; journal, events and meters out; the engine in its process."""

from fluxbench.session._commands import Command, NotNowError
from fluxbench.session._from_book import begun_with
from fluxbench.session._ledger import event
from fluxbench.session._meters import Shown, bias_picture
from fluxbench.session._pages import now_utc, readings_of
from fluxbench.session._session import Session

__all__ = [
    "Command",
    "NotNowError",
    "Session",
    "Shown",
    "begun_with",
    "bias_picture",
    "event",
    "now_utc",
    "readings_of",
]
