"""docs/ as a site, built strictly: a dead link or anchor, or a page that nobody finds, ends it."""

import logging
import re
from pathlib import Path

from properdocs.commands.build import build as build_site
from properdocs.config import load_config
from properdocs.exceptions import Abort

HERE = Path(__file__).parent
TO = HERE.parent / "build" / "manual"


class NotWholeError(Exception):
    """What is amiss with the manual, a line each."""


class Amiss(logging.Handler):
    """Keeps what the generator warns of."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one line."""
        self.lines.append(record.getMessage())


def anchor_of(heading: str, separator: str = "-") -> str:
    """The name of a heading, as hosts of Markdown make it, so that a link works on both."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", separator)


def build(to: Path = TO, settings: Path = HERE / "properdocs.yml") -> Path:
    """Write the site into a folder, which is emptied before; NotWholeError."""
    said = logging.getLogger("properdocs")
    amiss = Amiss()
    said.addHandler(amiss)
    said.propagate = False
    try:
        config = load_config(str(settings), strict=True, site_dir=str(to))
        config.mdx_configs["toc"] = {"slugify": anchor_of, "toc_depth": "2-3"}
        config.plugins.on_startup(command="build", dirty=False)
        build_site(config)
        config.plugins.on_shutdown()
    except Abort as end:
        raise NotWholeError("\n".join([*amiss.lines, end.format_message()])) from end
    finally:
        said.removeHandler(amiss)
        said.propagate = True
    return to
