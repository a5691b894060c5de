"""Every call of the HTTP API with what it takes and answers, by the application's OpenAPI."""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from tempfile import TemporaryDirectory
from typing import Any

from fastapi.routing import APIWebSocketRoute

import fluxbench.web
from fluxbench.book import Book
from fluxbench.session import Session
from fluxbench.web import build_app
from manual.fields import joined, what

GENERATOR_S_OWN = {"HTTPValidationError", "ValidationError"}
"""Models of the library's own 422, which is never sent."""


@cache
def description() -> Mapping[str, Any]:
    """The OpenAPI description of an application around a session that was never started."""
    with TemporaryDirectory() as folder:
        book = Book(Path(folder) / "book.db")
        try:
            session = Session(book, _no_link, "none", "0")
            return dict(build_app(session, Path(folder) / "none").openapi())
        finally:
            book.close()


def _no_link(_silence: object) -> Any:
    raise AssertionError("nothing is sent while a page is written")


def sockets() -> list[str]:
    """The paths of all sockets."""
    found = []
    for part in iter_modules(fluxbench.web.__path__):
        router = getattr(import_module(f"fluxbench.web.{part.name}"), "router", None)
        for route in getattr(router, "routes", ()):
            if isinstance(route, APIWebSocketRoute):
                found.append((route.path, joined(route.endpoint.__doc__ or "")))
    return [f"`{path}` | {about}" for path, about in sorted(set(found))]


def calls() -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Method, path and what OpenAPI says, in the order of the paths."""
    for path, methods in sorted(description()["paths"].items()):
        for method, call in methods.items():
            yield method.upper(), path, call


def calls_told() -> str:
    """One table of all calls."""
    rows = (_row(method, path, call) for method, path, call in calls())
    return "| call | does | query | body | answer |\n|---|---|---|---|---|\n" + "".join(rows)


def _row(method: str, path: str, call: Mapping[str, Any]) -> str:
    query = [one for one in call.get("parameters", ()) if one["in"] == "query"]
    cells = (
        f"`{method} {path}`",
        joined(call["description"]),
        ", ".join(f"`{one['name']}`" + ("*" if one["required"] else "") for one in query),
        _linked(call.get("requestBody", {}).get("content", {})),
        _linked(call["responses"]["200"].get("content", {})),
    )
    return "| " + " | ".join(cells) + " |\n"


def _linked(content: Mapping[str, Any]) -> str:
    """The model of a body or an answer, linked to its table below."""
    told = []
    for kind, part in content.items():
        schema = part.get("schema", {})
        names = re.findall(r"#/components/schemas/(\w+)", str(schema))
        if not kind.endswith("json"):
            told.append(kind)
        elif names:
            told += [f"[`{name}`](#{name.lower()})" for name in dict.fromkeys(names)]
        else:
            told.append("JSON")
    return ", ".join(told)


def sockets_told() -> str:
    """One table of all sockets."""
    return "| socket | |\n|---|---|\n" + "".join(f"| {row} |\n" for row in sockets())


def bodies_told() -> str:
    """Every model as a heading with a table of its fields."""
    models = description()["components"]["schemas"]
    return "\n".join(
        f"### {name}\n\n{joined(model.get('description', ''))}\n\n{_fields(model)}"
        for name, model in sorted(models.items())
        if name not in GENERATOR_S_OWN
    )


def _fields(model: Mapping[str, Any]) -> str:
    needed = model.get("required", ())
    rows = [
        f"| `{name}` | {what(field)}{' **needed**' if name in needed else ''} "
        f"| {joined(field.get('description', ''))} |\n"
        for name, field in model.get("properties", {}).items()
    ]
    return "| field | what | |\n|---|---|---|\n" + "".join(rows) if rows else "No field.\n"
