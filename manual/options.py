"""Every command with all its arguments and options, from the commands themselves."""

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from fluxbench.cli._main import COMMANDS
from manual.fields import joined

WORDS = {int: "whole number", float: "number", str: "text", Path: "path"}


def commands_below(path: str, command: Any) -> Iterator[tuple[str, Any]]:
    """The command itself, or every command of a group, by full name."""
    below = getattr(command, "commands", {})
    for name, inner in below.items():
        yield from commands_below(f"{path} {name}", inner)
    if not below:
        yield path, command


def all_commands() -> Iterator[tuple[str, Any]]:
    """Every command that can be called, by full name."""
    for name, lazy in COMMANDS.items():
        yield from commands_below(f"fluxbench {name}", lazy.load(name))


def options_told() -> str:
    """Every command as a heading with a table."""
    return "\n".join(
        f"## {path.removeprefix('fluxbench ')}\n\n{_usage(path, command)}{_table(command)}"
        for path, command in all_commands()
    )


def _usage(path: str, command: Any) -> str:
    words = [path, *(_argument(one) for one in command.params if not _is_option(one))]
    about = joined(command.help or "").partition(". ")[0].rstrip(".")
    return f"`{' '.join(words)}`\n\n{about}.\n\n"


def _is_option(parameter: Any) -> bool:
    return str(parameter.opts[0]).startswith("-")


def _argument(parameter: Any) -> str:
    name = str(parameter.metavar or parameter.name.upper())
    return name if parameter.required else f"[{name}]"


def _table(command: Any) -> str:
    rows = [_row(parameter) for parameter in command.params if parameter.name != "help"]
    return "| | takes | if left out | |\n|---|---|---|---|\n" + "".join(rows) if rows else ""


def _row(parameter: Any) -> str:
    names = [*parameter.opts, *parameter.secondary_opts]
    named = ", ".join(f"`{name}`" for name in names)
    if not _is_option(parameter):
        named = f"`{parameter.metavar or parameter.name.upper()}`"
    several = ", several times" if parameter.multiple else ""
    told = joined(getattr(parameter, "help", "") or "")
    cells = (named, f"{_takes(parameter)}{several}", _default(parameter), told)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def _takes(parameter: Any) -> str:
    if getattr(parameter, "is_flag", False):
        return ""
    kind = parameter.type_descriptor.annotation
    while get_args(kind):
        if get_origin(kind) is Literal:
            return " or ".join(f"`{choice}`" for choice in get_args(kind))
        kind = get_args(kind)[0]
    if issubclass(kind, Enum):
        return " or ".join(f"`{choice.value}`" for choice in kind)
    name = WORDS[kind]
    low, high = parameter.min, parameter.max
    if low is None and high is None:
        return name
    return f"{name} from {low:g}" if high is None else f"{name}, {low:g} to {high:g}"


def _default(parameter: Any) -> str:
    if parameter.required:
        return "**needed**"
    value = parameter.default
    if callable(value) or value is None or value in ("", False, (), []) or "UNSET" in str(value):
        return ""
    value = getattr(value, "value", value)
    if getattr(parameter, "is_flag", False):
        return f"`{parameter.opts[0]}`" if value else ""
    return f"{value:g}" if isinstance(value, float) else f"{value}"
