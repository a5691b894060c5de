"""What a field of a JSON Schema may hold, in words for a table."""

from collections.abc import Mapping
from typing import Any


def joined(text: str) -> str:
    """On one line."""
    return " ".join(text.split())


def what(field: Mapping[str, Any]) -> str:
    """Such as "number 0 to 20"; a model is named in code marks."""
    some = [f for f in field.get("anyOf", [field]) if f.get("type") != "null"]
    return " or ".join(_one(f) for f in some)


def _one(some: Mapping[str, Any]) -> str:
    if "$ref" in some:
        return f"`{str(some['$ref']).rpartition('/')[2]}`"
    if "const" in some:
        return f'"{some["const"]}"'
    if "enum" in some:
        return " or ".join(f'"{word}"' for word in some["enum"])
    kind = some.get("type")
    if isinstance(kind, list):
        return " or ".join(_one({**some, "type": one}) for one in kind if one != "null")
    if kind == "array":
        return f"list of {what(some.get('items', {}))}"
    if kind == "string":
        pattern = some.get("pattern", "")
        if "A-Za-z0-9-" in pattern:
            return "id"
        return "date" if pattern.startswith(r"^\d{4}") else "text"
    if kind in ("number", "integer"):
        return _range(some)
    return {"boolean": "true or false", "object": "JSON"}.get(str(kind), "anything")


def _range(some: Mapping[str, Any]) -> str:
    low = some.get("minimum", some.get("exclusiveMinimum"))
    above = "above " if "exclusiveMinimum" in some else ""
    word = "whole number" if some["type"] == "integer" else "number"
    if low is None:
        return word
    high = some.get("maximum")
    if high is None:
        return f"{word} {above}{low:.10g}{'' if above else ' or more'}"
    return f"{word} {above}{low:.10g} to {high:.10g}"
