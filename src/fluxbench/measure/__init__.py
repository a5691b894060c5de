"""What came back: arrays in, frozen results out."""

from fluxbench.measure._bank import HOP_S, EnvelopeBank, Hop

__all__ = ["HOP_S", "EnvelopeBank", "Hop"]
