"""Link, signal and measurement in one object that steps."""

from fluxbench.engine._engine import Engine, Stretch

__all__ = ["Engine", "Stretch"]
