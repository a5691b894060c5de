"""From what stands on a sheet to a PDF/A file: set by Typst, with the fonts it carries."""

import json
import re
from datetime import datetime
from importlib.resources import files
from typing import Final

import typst

from fluxbench.sheets._contents import Contents
from fluxbench.sheets._told import told
from fluxbench.sheets._words import harmless

MOST_PAGES = 2
MOST_NOTES = (14, 6, 2)
"""So many notes are printed, fewer where the pages would not hold them."""
STANDARD: Final = "a-2b"
"""PDF/A-2b: all fonts inside, nothing that needs a network, a program or a password."""


def sheet_pdf(contents: Contents, version: str) -> bytes:
    """The sheet as a PDF/A file of one or two A4 pages; same contents, same bytes.

    Texts go to the page as values, never as markup. Fonts are those that Typst carries: none of
    this machine's is used.
    """
    made = b""
    for notes in MOST_NOTES:
        values, pictures = told(contents, version, notes, notes < MOST_NOTES[0])
        inputs = {"sheet": json.dumps(harmless(values), allow_nan=False)}
        inputs |= {name: svg.decode() for name, svg in pictures.items()}
        made = _set(inputs, contents)
        if pages_of(made) <= MOST_PAGES:
            break
    return made


def _set(inputs: dict[str, str], contents: Contents) -> bytes:
    page = (files("fluxbench.sheets") / "sheet.typ").read_bytes()
    compiler = typst.Compiler(page, ignore_system_fonts=True, sys_inputs=inputs)
    made = compiler.compile(format="pdf", pdf_standards=STANDARD, timestamp=_stamp(contents))
    if not isinstance(made, bytes):
        raise TypeError("a document is one file")
    return made


def pages_of(pdf: bytes) -> int:
    """How many pages a sheet has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def file_name(contents: Contents) -> str:
    """A name that is safe on every system and in a header."""
    return f"line-up-{re.sub(r'[^A-Za-z0-9-]+', '-', contents.lineup)[:64].strip('-')}.pdf"


def _stamp(contents: Contents) -> int:
    return int(datetime.fromisoformat(contents.last_at).timestamp())
