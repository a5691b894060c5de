"""Fluxbench: a line-up bench for analogue tape recorders."""

__version__ = "0.1.0"
