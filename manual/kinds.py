"""What the book knows of each kind of thing, from the schemas of its facts."""

from collections.abc import Iterator, Mapping
from typing import Any

from fluxbench.book import KINDS, schema_of
from manual.fields import joined, what


def kinds_told() -> str:
    """Every kind as a heading with a table of its facts."""
    parts = []
    for name in KINDS:
        schema = schema_of(name)
        parts.append(f"### `{name}`\n\n{joined(schema['description'])}\n\n{_table(schema)}")
        for inner, part in schema.get("$defs", {}).items():
            parts.append(f"Each of its `{inner}`: {joined(part['description'])}\n\n{_table(part)}")
    return "\n".join(parts)


def _table(schema: Mapping[str, Any]) -> str:
    return "| fact | what | |\n|---|---|---|\n" + "".join(_rows(schema))


def _rows(schema: Mapping[str, Any]) -> Iterator[str]:
    for name, field in schema["properties"].items():
        must = " **needed**" if name in schema["required"] else ""
        yield f"| `{name}` | {what(field)}{must} | {joined(field.get('description', ''))} |\n"
