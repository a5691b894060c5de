"""The `fluxbench` command: finds the command that is asked for, turns errors into one line."""

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup
from typer.exceptions import TyperException

import fluxbench

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Read when numpy is imported: its small products only get slower on several threads."""

FAILURE = 1
MISUSE = 2
INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class LazyCommand:
    """A command that is imported when it is called: `face` of `fluxbench.cli.<module>`."""

    help: str
    module: str
    face: str

    def load(self, name: str) -> Any:
        """Import the command, a function or an app of commands, and make it callable by Typer."""
        face = getattr(import_module(f"fluxbench.cli.{self.module}"), self.face)
        if isinstance(face, typer.Typer):
            app = face
        else:
            app = typer.Typer(add_completion=False, rich_markup_mode=None)
            app.command(name)(face)
        return typer.main.get_command(app)


COMMANDS = {
    "serve": LazyCommand("Run the bench in a browser.", "_serve", "serve"),
    "rehearse": LazyCommand("Line up the practice deck, start to end.", "_rehearse", "rehearse"),
    "read": LazyCommand("Measure captures: find their sections, measure each.", "_read", "read"),
    "catalogue": LazyCommand(
        "Judge an archive of captures, and say what to do.", "_catalogue", "catalogue"
    ),
    "sheet": LazyCommand("Print the sheet of a line-up to a PDF file.", "_sheet", "sheet"),
    "label": LazyCommand("Print box label and spine of a reel.", "_sheet_label", "label"),
    "track-sheet": LazyCommand("Print the track sheet of a reel.", "_sheet_label", "track_sheet"),
    "book": LazyCommand("Export, import, back up, restore or upgrade the book.", "_book", "app"),
    "tones": LazyCommand("Write the line-up tones of a reel to a file.", "_tones", "tones"),
    "work-out": LazyCommand("Do the arithmetic of fluxes, losses and levels.", "_work_out", "app"),
    "deck": LazyCommand("Run the practice deck on a sound server.", "_deck", "deck"),
    "interfaces": LazyCommand("List the sound interfaces, or check one.", "_interfaces", "app"),
}


class LazyGroup(TyperGroup):
    """Shows the registered stand-ins in its help, and calls the real commands."""

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        """Find the command named first, as Typer does, and import it."""
        name, stand_in, rest = super().resolve_command(ctx, args)
        if name is None:
            return name, stand_in, rest
        return name, COMMANDS[name].load(name), rest


app = typer.Typer(cls=LazyGroup, add_completion=False, rich_markup_mode=None)


def _stand_in() -> None:
    raise AssertionError("a stand-in is never called")


for _name, _command in COMMANDS.items():
    app.command(_name, help=_command.help)(_stand_in)


@app.callback(invoke_without_command=True)
def fluxbench_command(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.")] = False,
) -> None:
    """Fluxbench: a line-up bench for analogue tape recorders."""
    if version:
        print(f"fluxbench {fluxbench.__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(context.get_help())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run `fluxbench` and give back its exit code.

    0 done, 1 failed, 2 misuse, 130 interrupted; what went wrong is one line on standard error.
    """
    try:
        code = _run(sys.argv[1:] if arguments is None else list(arguments))
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read has enough. Nothing may be written at exit into the pipe that is gone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILURE
    except KeyboardInterrupt:
        code = INTERRUPTED
    if code == INTERRUPTED:
        _say("interrupted")
    return code


def _run(arguments: list[str]) -> int:
    command = typer.main.get_command(app)
    try:
        result = command.main(args=arguments, prog_name="fluxbench", standalone_mode=False)
    except typer.Abort:
        return INTERRUPTED
    except TyperException as error:
        return _misused(error)
    except Exception as error:
        # Imported only now, since it brings numpy along.
        from fluxbench.base import FluxbenchError, MisuseError

        if not isinstance(error, FluxbenchError):
            raise
        _say(str(error))
        return MISUSE if isinstance(error, MisuseError) else FAILURE
    return result if isinstance(result, int) else 0


def _misused(error: TyperException) -> int:
    context = getattr(error, "ctx", None)
    message = error.format_message()
    if context is not None and message == context.get_help():
        message = "a command is missing"
    where = f" (see {context.command_path} --help)" if context is not None else ""
    _say(f"{message.rstrip('.')}{where}")
    return error.exit_code


def _say(message: str) -> None:
    """Write one line on standard error, however long, whatever it carries."""
    print(f"fluxbench: {' '.join(message.split())}", file=sys.stderr)
