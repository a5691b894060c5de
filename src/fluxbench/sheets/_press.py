"""From what stands on a paper to a PDF/A file: set by Typst, with the fonts it carries."""

import io
import json
import re
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from typing import Any, Final

import segno
import typst

from fluxbench.base import MisuseError
from fluxbench.sheets._contents import Contents
from fluxbench.sheets._record import record_of
from fluxbench.sheets._told import FEW_TRACKS, told
from fluxbench.sheets._words import harmless

STANDARD: Final = "a-2b"
"""PDF/A-2b: all fonts inside, nothing that needs a network, a program or a password."""

PAPERS: Mapping[str, str] = {"a4": "a4", "letter": "us-letter"}
"""Papers by their name, and what Typst calls them."""

_press = ThreadPoolExecutor(1, "press")
"""Typst keeps a megabyte or more for every thread that it ever worked in: it works in one."""


@dataclass(frozen=True, slots=True)
class Layout:
    """How a sheet is set: so many notes at most, close or roomy, on so many pages."""

    notes: int
    tight: bool
    pages: int


LAYOUTS = (Layout(14, True, 1), Layout(14, False, 2), Layout(6, True, 2), Layout(2, True, 2))
"""Tried one after another until the pages hold it."""


def sheet_pdf(contents: Contents, version: str, paper: str = "a4", address: str = "") -> bytes:
    """The sheet as a PDF/A file of one or two pages; same arguments, same bytes.

    The printed code holds the name of the line-up, with the address of a bench on the local
    network the place where it answers. MisuseError for an unknown paper or another address.
    """
    size, record = paper_named(paper), record_of(contents.lineup, address)
    made = b""
    for layout in LAYOUTS:
        if layout.pages == 1 and contents.plan.tracks > FEW_TRACKS:
            continue
        values, pictures = told(contents, version, layout.notes, layout.tight, size)
        values |= {"paper": size, "record": record, "one": layout.pages == 1}
        stamp = int(datetime.fromisoformat(contents.last_at).timestamp())
        made = typeset(("common.typ", "sheet.typ"), values, record, stamp, pictures)
        if pages_of(made) <= layout.pages:
            break
    return made


def paper_named(paper: str) -> str:
    """What Typst calls a paper; MisuseError if there is none of that name."""
    if paper not in PAPERS:
        raise MisuseError(f"there is no paper {paper[:20]!r}; give one of {', '.join(PAPERS)}")
    return PAPERS[paper]


def typeset(
    pages: Sequence[str],
    values: Mapping[str, Any],
    record: str,
    stamp: int,
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """Set pages of this package one after another, with pictures (SVG) and a code of the record.

    Texts go to the page as values, never as markup. `stamp` is the file's date in seconds since
    1970. Fonts are those that Typst carries: none of this machine's is used.
    """
    inputs = {"sheet": json.dumps(harmless(dict(values)), allow_nan=False)}
    if record:
        inputs["code"] = _code(record)
    inputs |= {name: svg.decode() for name, svg in (pictures or {}).items()}
    here = files("fluxbench.sheets")
    whole = b"\n".join((here / name).read_bytes() for name in pages)
    return _press.submit(_set, whole, inputs, stamp).result()


def _set(whole: bytes, inputs: dict[str, str], stamp: int) -> bytes:
    compiler = typst.Compiler(whole, ignore_system_fonts=True, sys_inputs=inputs)
    made = compiler.compile(format="pdf", pdf_standards=STANDARD, timestamp=stamp)
    if not isinstance(made, bytes):
        raise TypeError("a document is one file")
    return made


def _code(text: str) -> str:
    """A QR code as SVG, with the quiet zone that readers need."""
    out = io.BytesIO()
    code = segno.make(text, error="m", micro=False)
    code.save(out, kind="svg", border=4, xmldecl=False, light="white")
    return out.getvalue().decode()


def pages_of(pdf: bytes) -> int:
    """How many pages a file has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def file_name(contents: Contents) -> str:
    """A name that is safe on every system and in a header."""
    return f"line-up-{safe_name(contents.lineup)}.pdf"


def safe_name(text: str) -> str:
    """Letters, digits and hyphens of a text, 64 at most."""
    return re.sub(r"[^A-Za-z0-9-]+", "-", text)[:64].strip("-")
