"""The commands; the only place that chooses practice deck, sound interface or file."""

from fluxbench.cli._main import main

__all__ = ["main"]
