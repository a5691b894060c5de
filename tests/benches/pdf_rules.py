"""What PDF/A-2 asks of a file beyond its own word, read off its objects by qpdf.

Clauses are those of ISO 19005-2:2011, their numbers from memory. No validator of PDF/A is a Debian
package: this is the part of the rules that a paper of ours could break.
"""

import base64
import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FOUR_COLOURS = re.compile(rb"(?:^|\s)(?:[\d.]+\s+){4}[kK]\s")
"""A colour of four inks set in a page: the profile of our papers has three colours."""
FORBIDDEN_ACTIONS = {
    "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/JavaScript", "/Hide",
    "/SetOCGState", "/Rendition", "/Trans", "/GoTo3DView",
}  # fmt: skip


def broken_rules(file: Path) -> list[str]:
    """The rules that a file breaks; none if it keeps all that are looked at."""
    subprocess.run(["qpdf", "--check", file], check=True, capture_output=True)
    data = file.read_bytes()
    objects = _objects(file)
    trailer = objects["trailer"]["value"]
    root = objects["obj:" + trailer["/Root"]]["value"]
    found = {
        "6.1.2 header": data[:7] != b"%PDF-1." or min(data.split(b"\n")[1][1:5]) < 128,
        "6.1.3 file identifier": len(trailer.get("/ID", [])) != 2,
        "6.1.3 encryption": "/Encrypt" in trailer,
        "6.1.3 data after the end": not data.rstrip(b"\r\n").endswith(b"%%EOF"),
        "6.2.3 output intent": _profile(objects, root) != 3,
        "6.6.2 metadata": _stream(objects, root.get("/Metadata", "")).find(b"pdfaid:part") < 0,
        "6.4 forms": "/AcroForm" in root,
        "6.5 actions": "/AA" in root or "/OpenAction" in root,
        "6.8 embedded files": "/EmbeddedFiles" in json.dumps(root.get("/Names", {})),
    }
    broken = {rule for rule, is_so in found.items() if is_so}
    for one in _dictionaries(objects):
        broken |= set(_broken_in(one, objects))
    pages = [
        _contents(objects, one) for one in _dictionaries(objects) if one.get("/Type") == "/Page"
    ]
    if not pages or any(FOUR_COLOURS.search(page) for page in pages):
        broken.add("6.2.4 colours of a device that has no profile")
    return sorted(broken)


def _contents(objects: dict[str, Any], page: dict[str, Any]) -> bytes:
    named = page.get("/Contents", [])
    return b"\n".join(_stream(objects, n) for n in (named if isinstance(named, list) else [named]))


def _broken_in(one: dict[str, Any], objects: dict[str, Any]) -> Iterator[str]:
    filters = one.get("/Filter")
    filters = filters if isinstance(filters, list) else [filters]
    image, form = one.get("/Subtype") == "/Image", one.get("/Subtype") == "/Form"
    told = {
        "6.1.7 filters": bool({"/LZWDecode", "/Crypt"} & {str(f) for f in filters}),
        "6.1.7 streams outside of the file": "/Length" in one
        and bool({"/F", "/FFilter", "/FDecodeParms"} & one.keys()),
        "6.2.4 colours of a device that has no profile": one.get("/ColorSpace") == "/DeviceCMYK",
        "6.2.5 transfer functions": bool({"/TR", "/HTP"} & one.keys())
        or one.get("/TR2", "/Default") != "/Default",
        "6.2.8 images": image and (bool(one.get("/Interpolate")) or "/Alternates" in one),
        "6.2.9 forms": form and bool({"/PS", "/Ref", "/OPI"} & one.keys()),
        "6.2.9 PostScript": one.get("/Subtype") == "/PS",
        "6.2.10 transparency": one.get("/Type") == "/Page"
        and _group(one, objects).get("/CS") == "/DeviceCMYK",
        "6.2.11 fonts inside": _is_without_font(one),
        "6.5 actions": one.get("/S") in FORBIDDEN_ACTIONS,
        "text that cannot be read out: 2u asks for it, and ours has it": one.get("/Subtype")
        == "/Type0"
        and "/ToUnicode" not in one,
    }
    yield from (rule for rule, is_so in told.items() if is_so)


def _is_without_font(one: dict[str, Any]) -> bool:
    files = {"/FontFile", "/FontFile2", "/FontFile3"}
    if one.get("/Type") == "/FontDescriptor":
        return not files & one.keys()
    simple = one.get("/Type") == "/Font" and one.get("/Subtype") not in ("/Type0", "/Type3")
    return simple and "/FontDescriptor" not in one


def _group(page: dict[str, Any], objects: dict[str, Any]) -> dict[str, Any]:
    group = page.get("/Group", {})
    return dict(objects[f"obj:{group}"]["value"] if isinstance(group, str) else group)


def _profile(objects: dict[str, Any], root: dict[str, Any]) -> int:
    """How many colours the profile of the one PDF/A output intent has, by its own header; else 0.

    An ICC profile (ISO 15076-1) has its colour space at byte 16 and `acsp` at byte 36.
    """
    intents = root.get("/OutputIntents", [])
    intents = objects[f"obj:{intents}"]["value"] if isinstance(intents, str) else intents
    intents = [objects[f"obj:{i}"]["value"] if isinstance(i, str) else i for i in intents]
    ours = [i for i in intents if i.get("/S") == "/GTS_PDFA1"]
    if len(ours) != 1:
        return 0
    profile = _stream(objects, ours[0].get("/DestOutputProfile", ""))
    if len(profile) < 128 or int.from_bytes(profile[:4], "big") != len(profile):
        return 0
    known = {b"RGB ": 3, b"GRAY": 1, b"CMYK": 4}
    told = objects["obj:" + ours[0]["/DestOutputProfile"]]["stream"]["dict"]["/N"]
    held = known.get(profile[16:20], 0) if profile[36:40] == b"acsp" else 0
    return held if held == told else 0


def _stream(objects: dict[str, Any], name: str) -> bytes:
    found = objects.get(f"obj:{name}", {}).get("stream", {})
    return base64.b64decode(found.get("data", ""))


def _objects(file: Path) -> dict[str, Any]:
    told = subprocess.run(
        ["qpdf", "--json=2", "--json-stream-data=inline", "--decode-level=generalized", file],
        check=True,
        capture_output=True,
    ).stdout
    return dict(json.loads(told)["qpdf"][1])


def _dictionaries(of: Any) -> Iterator[dict[str, Any]]:
    if isinstance(of, dict):
        yield of
        of = list(of.values())
    if isinstance(of, list):
        for one in of:
            yield from _dictionaries(one)
