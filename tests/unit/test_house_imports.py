"""The one dependency direction holds, and what holds it can fail."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINT = "import sys; from importlinter.cli import lint_imports_command as lint; sys.exit(lint())"


def lint(root: Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", LINT, "--no-cache", "--no-logo"],
        cwd=root,
        env={"PYTHONPATH": f"{root / 'src'}", "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package as it stands."""
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_are_kept(copy: Path) -> None:
    done = lint(copy)
    assert done.returncode == 0, done.stdout + done.stderr
    assert " kept, 0 broken" in done.stdout


DIRECTION = "A package imports only what stands below it BROKEN"
DECK = "Only cli and rehearsal see the practice deck: lineup, session and web never do BROKEN"
PURE = "trade, signals, measure, history and lineup import no clock, thread, socket or file BROKEN"


@pytest.mark.parametrize(
    ("place", "line", "broken"),
    [
        ("base", "import fluxbench.trade", DIRECTION),
        ("trade", "import fluxbench.measure", DIRECTION),
        ("signals", "import fluxbench.measure", DIRECTION),
        ("measure", "import fluxbench.signals", DIRECTION),
        ("deck", "import fluxbench.links", DIRECTION),
        ("links", "import fluxbench.deck", DIRECTION),
        ("lineup", "import fluxbench.engine", DIRECTION),
        ("engine", "import fluxbench.rehearsal", DIRECTION),
        ("rehearsal", "import fluxbench.cli", DIRECTION),
        ("engine", "import fluxbench.book", DIRECTION),
        ("captures", "import fluxbench.sheets", DIRECTION),
        ("session", "import fluxbench.web", DIRECTION),
        ("attic", "", "fluxbench.attic"),
        ("lineup", "import fluxbench.deck", DECK),
        ("engine", "import fluxbench.deck", DECK),
        ("session", "import fluxbench.deck", DECK),
        ("web", "from fluxbench.deck import _trimmers", DECK),
        ("engine", "import sounddevice", "Only links import sounddevice BROKEN"),
        ("session", "import sqlalchemy", "Only book imports SQLAlchemy BROKEN"),
        ("trade", "import time", PURE),
        ("signals", "from threading import Event", PURE),
        ("measure", "from pathlib import Path", PURE),
        ("lineup", "import datetime", PURE),
        ("lineup", "import fluxbench.links", PURE),
        ("lineup", "import random", "lineup and history import no randomness BROKEN"),
    ],
)
def test_a_planted_violation_is_caught(copy: Path, place: str, line: str, broken: str) -> None:
    """Also in packages that do not exist yet."""
    for name in (place, *re.findall(r"fluxbench\.(\w+)", line)):
        package = copy / "src" / "fluxbench" / name
        package.mkdir(exist_ok=True)
        (package / "__init__.py").touch()
    (copy / "src" / "fluxbench" / place / "_planted.py").write_text(f"{line}\n")
    done = lint(copy)
    assert done.returncode == 1
    assert broken in done.stdout, done.stderr
