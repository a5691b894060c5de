"""Builds the screens (`ui/`) into the package, for wheels and source distributions.

An editable installation is left alone: `./run` and `./test` build the screens by themselves. A
source distribution carries the screens as they were built: installing it needs nothing but Python.
"""

import runpy
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class ScreensHook(BuildHookInterface[Any]):
    """Called by hatchling before it gathers files."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the screens, unless they came along or only the checkout is installed."""
        root = Path(self.root)
        if version == "editable" or (root / "PKG-INFO").exists():
            return
        runpy.run_path(str(root / "ui" / "build.py"))["build"](root)
