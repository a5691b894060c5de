"""What `--json` prints, field by field, from the schemas that the tests hold the output against."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from manual.fields import joined, what

ROOT = Path(__file__).parents[1]
REFERENCE = ROOT / "tests" / "reference"
SCHEMAS = {
    "read": REFERENCE / "read.schema.json",
    "rehearse": REFERENCE / "rehearse.schema.json",
    "catalogue": ROOT / "src/fluxbench/captures/catalogue/catalogue.schema.json",
}


def lines_told() -> str:
    """Every schema as a heading with a table of its fields, those within others too."""
    parts = []
    for name, file in SCHEMAS.items():
        schema = json.loads(file.read_text())
        rows = "".join(_rows(schema, schema, ""))
        parts.append(
            f"### `fluxbench {name} --json`\n\n{joined(schema.get('description', ''))}\n\n"
            f"| field | what | |\n|---|---|---|\n{rows}"
        )
    examples = json.loads((REFERENCE / "work-out.json").read_text())["examples"]
    rows = "".join(
        f"| `{command.partition('  (')[0]}` | {', '.join(f'`{key}`' for key in answer)} |\n"
        for command, answer in examples.items()
    )
    parts.append(f"### `fluxbench work-out --json`\n\n| asked | fields |\n|---|---|\n{rows}")
    return "\n".join(parts)


def _rows(whole: Mapping[str, Any], schema: Mapping[str, Any], above: str) -> Iterator[str]:
    needed = schema.get("required", ())
    for name, field in schema.get("properties", {}).items():
        inner = _inner(whole, field)
        must = " **always**" if name in needed else ""
        about = joined(field.get("description", ""))
        told = "JSON" if "$ref" in field else what(field)
        if "null" in field.get("type", ()):
            told += " or null"
        yield f"| `{above}{name}` | {told}{must} | {about} |\n"
        if inner is not None:
            listed = "[]" if field.get("type") == "array" else ""
            yield from _rows(whole, inner, f"{above}{name}{listed}.")


def _inner(whole: Mapping[str, Any], field: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The object that a field holds, or each of its list; None where it holds none."""
    if field.get("type") == "array":
        return _inner(whole, field.get("items", {}))
    if reference := field.get("$ref"):
        found: Any = whole
        for step in str(reference).removeprefix("#/").split("/"):
            found = found[step]
        return _inner(whole, found)
    return field if "properties" in field else None
