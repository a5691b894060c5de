"""Link, signal and measurement in one object that steps."""

from fluxbench.engine._engine import Engine

__all__ = ["Engine"]
