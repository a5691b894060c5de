"""The book's page names every kind and every fact, as the code has them.

`python -m tests.unit.book.test_reference` writes the tables of the page anew.
"""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from fluxbench.book import KINDS, schema_of

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "book.md"
BEGIN, END = "<!-- kinds: made from the code -->\n", "<!-- end of kinds -->\n"


def kinds_told() -> str:
    """Every kind as a heading with a table of its facts."""
    parts = []
    for name, kind in KINDS.items():
        schema = schema_of(name)
        parts.append(f"### `{name}`\n\n{_joined(schema['description'])}\n\n{_table(schema)}")
        assert kind.belongs.keys() <= schema["properties"].keys()
        for inner, part in schema.get("$defs", {}).items():
            parts.append(f"Each of its `{inner}`: {_joined(part['description'])}\n\n{_table(part)}")
    return "\n".join(parts)


def _joined(text: str) -> str:
    return " ".join(text.split())


def _table(schema: Mapping[str, Any]) -> str:
    return "| fact | what | |\n|---|---|---|\n" + "".join(_rows(schema)) + ""


def _rows(schema: Mapping[str, Any]) -> Iterator[str]:
    for name, field in schema["properties"].items():
        must = " **needed**" if name in schema["required"] else ""
        yield f"| `{name}` | {_what(field)}{must} | {_joined(field.get('description', ''))} |\n"


def _what(field: Mapping[str, Any]) -> str:
    some: dict[str, Any] = next(f for f in field.get("anyOf", [field]) if f.get("type") != "null")
    if "$ref" in some:
        return f"`{str(some['$ref']).rpartition('/')[2]}`"
    if "enum" in some:
        return " or ".join(f'"{word}"' for word in some["enum"])
    if some["type"] == "array":
        return f"list of {_what(some['items'])}"
    if some["type"] == "string":
        pattern = some.get("pattern", "")
        if "A-Za-z0-9-" in pattern:
            return "id"
        return "date" if pattern.startswith(r"^\d{4}") else "text"
    if some["type"] == "object":
        return "JSON"
    return _range(some) if some["type"] in ("number", "integer") else "true or false"


def _range(some: Mapping[str, Any]) -> str:
    low = some.get("minimum", some.get("exclusiveMinimum"))
    above = "above " if "exclusiveMinimum" in some else ""
    word = "whole number" if some["type"] == "integer" else "number"
    if low is None:
        return word
    return f"{word} {above}{low:.10g} to {some['maximum']:.10g}"


def test_the_page_has_every_kind_and_fact() -> None:
    text = PAGE.read_text()
    found = re.search(f"{re.escape(BEGIN)}(.*?){re.escape(END)}", text, re.S)
    assert found is not None
    assert found[1].strip() == kinds_told().strip()


if __name__ == "__main__":
    before, _, rest = PAGE.read_text().partition(BEGIN)
    after = rest.partition(END)[2]
    PAGE.write_text(f"{before}{BEGIN}\n{kinds_told()}\n{END}{after}")
