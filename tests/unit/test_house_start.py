"""`./run` and `./test` on machines of all kinds, with a Python that only says what it is asked."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Says its version by exit code, makes a `.venv` of itself, and logs everything else.
PYTHON = """#!/bin/sh
case "$*" in
*version_info*) exit {old} ;;
*ensurepip*) exit {no_venv} ;;
*"-m venv"*) mkdir -p "$4/bin" && cp "$0" "$4/bin/python" ;;
*"pip install"*) echo "$*" >>"$LOG"; exit {no_network} ;;
*"-m fluxbench"*) echo "started: $*" ;;
*) exit 0 ;;
esac
"""


class Machine:
    """A checkout of the scripts and pins alone, and a PATH with one Python on it."""

    def __init__(self, home: Path) -> None:
        self.root = home / "a check out"
        self.root.mkdir()
        for name in ("run", "test", "pyproject.toml"):
            shutil.copy(ROOT / name, self.root)
        shutil.copytree(ROOT / "requirements", self.root / "requirements")
        self.path = home / "bin"
        self.path.mkdir()
        for tool in ("sh", "dirname", "cat", "cksum", "mkdir", "cp", "id", "grep"):
            found = shutil.which(tool)
            assert found
            (self.path / tool).symlink_to(found)
        self.log = home / "pip.log"
        self.log.touch()

    def python(self, *, old: int = 0, no_venv: int = 0, no_network: int = 0) -> None:
        python = self.path / "python3"
        python.write_text(PYTHON.format(old=old, no_venv=no_venv, no_network=no_network))
        python.chmod(0o755)

    def run(self, *arguments: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [self.root / "run", *arguments],
            env={"PATH": f"{self.path}", "LOG": f"{self.log}"},
            capture_output=True,
            text=True,
            check=False,
        )

    def installs(self) -> int:
        """How often pip was called since the last question."""
        calls = len(self.log.read_text().splitlines())
        self.log.write_text("")
        return calls


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_first_start_installs_and_the_second_needs_no_network(machine: Machine) -> None:
    machine.python()
    first = machine.run()
    assert first.stdout == "started: -m fluxbench rehearse --tracks 8\n"
    assert machine.installs() == 2
    second = machine.run("work-out", "reel", "a b")
    assert (second.stdout, second.stderr) == ("started: -m fluxbench work-out reel a b\n", "")
    assert machine.installs() == 0


@pytest.mark.parametrize("name", ["pyproject.toml", "requirements/run.txt"])
def test_changed_pins_are_installed_again(machine: Machine, name: str) -> None:
    machine.python()
    machine.run()
    machine.installs()
    with (machine.root / name).open("a") as pins:
        pins.write("# changed\n")
    machine.run()
    assert machine.installs() == 2
    machine.run()
    assert machine.installs() == 0


def test_a_moved_checkout_is_installed_again(machine: Machine) -> None:
    machine.python()
    machine.run()
    machine.installs()
    machine.root = machine.root.rename(machine.root.with_name("moved"))
    assert machine.run().returncode == 0
    assert machine.installs() == 2


def test_no_python_is_one_line(machine: Machine) -> None:
    done = machine.run()
    assert done.returncode == 1
    assert done.stderr.startswith("fluxbench: needs Python 3.11 or newer; ")
    assert done.stderr.count("\n") == 1


def test_an_old_python_is_one_line(machine: Machine) -> None:
    machine.python(old=1)
    done = machine.run()
    assert done.returncode == 1
    assert done.stderr.startswith("fluxbench: needs Python 3.11 or newer; ")
    assert done.stderr.count("\n") == 1


def test_no_venv_module_is_one_line(machine: Machine) -> None:
    machine.python(no_venv=1)
    done = machine.run()
    assert done.returncode == 1
    assert done.stderr.startswith("fluxbench: python3 has no venv module; ")
    assert done.stderr.count("\n") == 1


def test_no_network_is_told_and_tried_again(machine: Machine) -> None:
    machine.python(no_network=1)
    for _ in range(2):
        done = machine.run()
        assert done.returncode == 1
        assert done.stdout == ""
        assert "could not be installed; is there a network?" in done.stderr.splitlines()[-1]
        assert machine.installs() == 1


@pytest.mark.parametrize("name", ["run", "test", ".ci/run"])
def test_scripts_can_be_started(name: str) -> None:
    assert os.access(ROOT / name, os.X_OK)
    subprocess.run(["sh", "-n", ROOT / name], check=True)
