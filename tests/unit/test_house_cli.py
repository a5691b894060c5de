"""The `fluxbench` command: exit codes, one line for what went wrong, a quick start."""

import signal
import subprocess
import sys
from collections.abc import Callable
from types import ModuleType

import pytest

import fluxbench
from fluxbench.base import DeviceLostError, MisuseError, SignalError
from fluxbench.cli import main
from fluxbench.cli._main import COMMANDS, LazyCommand

Plant = Callable[[Callable[[], None]], None]


@pytest.fixture
def plant(monkeypatch: pytest.MonkeyPatch) -> Plant:
    """Let `fluxbench rehearse` be a function of the test's own."""

    def planted(function: Callable[[], None]) -> None:
        module = ModuleType("fluxbench.cli._planted")
        module.__dict__["face"] = function
        monkeypatch.setitem(sys.modules, "fluxbench.cli._planted", module)
        monkeypatch.setitem(COMMANDS, "rehearse", LazyCommand("", "_planted", "face"))

    return planted


def raising(error: BaseException) -> Callable[[], None]:
    def command() -> None:
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (MisuseError("no such speed"), 2),
        (SignalError("no such speed"), 2),
        (DeviceLostError("no such speed"), 1),
    ],
)
def test_our_errors_are_one_line(
    plant: Plant, capsys: pytest.CaptureFixture[str], error: Exception, code: int
) -> None:
    plant(raising(error))
    assert main(["rehearse"]) == code
    assert capsys.readouterr() == ("", "fluxbench: no such speed\n")


def test_a_long_message_is_not_wrapped_and_a_broken_one_is_joined(
    plant: Plant, capsys: pytest.CaptureFixture[str]
) -> None:
    plant(raising(MisuseError("word\n  " * 200)))
    assert main(["rehearse"]) == 2
    assert capsys.readouterr().err == "fluxbench:" + " word" * 200 + "\n"


def test_other_errors_are_ours_to_mend_and_keep_their_traceback(plant: Plant) -> None:
    plant(raising(ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        main(["rehearse"])


@pytest.mark.parametrize(
    "arguments",
    [
        ["nosuch"],
        ["--nosuch"],
        ["deck", "--nosuch"],
        ["deck", "--tracks", "many"],
        ["deck", "more"],
        ["work-out"],
        ["work-out", "nosuch"],
        ["work-out", "level", "much"],
    ],
)
def test_misuse_is_one_line_that_says_where_to_look(
    capsys: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fluxbench: ")
    assert err.count("\n") == 1
    assert err.endswith("--help)\n")


def test_an_interrupt_is_one_line(plant: Plant, capsys: pytest.CaptureFixture[str]) -> None:
    plant(raising(KeyboardInterrupt()))
    assert main(["rehearse"]) == 130
    assert capsys.readouterr() == ("", "fluxbench: interrupted\n")


@pytest.mark.parametrize("code", [0, 1, 3])
def test_a_command_may_choose_its_exit_code(plant: Plant, code: int) -> None:
    def command() -> None:
        import typer

        raise typer.Exit(code)

    plant(command)
    assert main(["rehearse"]) == code


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"fluxbench {fluxbench.__version__}\n"


@pytest.mark.parametrize("arguments", [[], ["--help"]])
def test_help_names_every_command(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert all(f"  {name} " in out and command.help in out for name, command in COMMANDS.items())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_exists(capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert main([name, "--help"]) == 0
    assert capsys.readouterr().out.startswith(f"Usage: fluxbench {name} ")


# In a process of their own: what only a whole process shows.

PLANTED = """
import sys, time
from types import ModuleType
from fluxbench.cli import main, _main
def command():
    {body}
module = sys.modules["fluxbench.cli._planted"] = ModuleType("fluxbench.cli._planted")
module.face = command
_main.COMMANDS["rehearse"] = _main.LazyCommand("", "_planted", "face")
raise SystemExit(main(["rehearse"]))
"""


def planted_process(body: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-c", PLANTED.format(body=body)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.mark.parametrize("lines", [1, 100_000])
def test_a_reader_that_has_enough_is_no_traceback(lines: int) -> None:
    """Few lines are lost when the buffer is flushed at the end, many while they are printed."""
    with planted_process(f"sys.stdin.read(); [print('line') for _ in range({lines})]") as process:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        process.stdin.close()  # only now it goes on
        assert process.stderr.read() == b""
    assert process.returncode == 1


def test_ctrl_c_ends_a_process_with_one_line() -> None:
    with planted_process("print('ready', flush=True); time.sleep(60)") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == b"ready\n"
        process.send_signal(signal.SIGINT)
        assert process.stderr.read() == b"fluxbench: interrupted\n"
    assert process.returncode == 130


@pytest.mark.parametrize(
    ("arguments", "unwanted"),
    [
        (["--help"], {"numpy", "scipy", "rich", "soundfile", "sounddevice"}),
        (["deck", "--help"], {"numpy", "scipy", "rich", "soundfile", "sounddevice"}),
        (["tones", "--help"], {"numpy", "scipy", "rich", "soundfile", "sounddevice"}),
        (
            ["work-out", "level", "4", "--unit", "dbu", "--json"],
            {"scipy", "rich", "soundfile", "sounddevice"},
        ),
    ],
)
def test_a_quick_start(arguments: list[str], unwanted: set[str]) -> None:
    """What takes long to import is not imported before it is needed."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "fluxbench", *arguments],
        capture_output=True,
        text=True,
        check=True,
    )
    imported = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert "fluxbench.cli._main" in imported
    assert imported & unwanted == set()


def test_python_dash_m_is_the_same_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "fluxbench", "nosuch"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr == "fluxbench: No such command 'nosuch' (see fluxbench --help)\n"
