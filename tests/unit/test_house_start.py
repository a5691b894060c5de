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
*"-m mypy"*) echo "a wrong type"; exit {wrong_types} ;;
*"-m fluxbench"* | *"-m pytest"*) echo "started: $*" ;;
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

    def python(self, **answers: int) -> None:
        usual = dict.fromkeys(("old", "no_venv", "no_network", "wrong_types"), 0)
        self.program("python3", PYTHON.format_map(usual | answers))

    def program(self, name: str, script: str) -> None:
        path = self.path / name
        path.unlink(missing_ok=True)
        path.write_text(script)
        path.chmod(0o755)

    def run(self, *arguments: str, script: str = "run") -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [self.root / script, *arguments],
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
    assert first.stdout == "started: -m fluxbench serve\n"
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


def debian(machine: Machine, *, user: int) -> None:
    """A Debian machine that lacks jackd2 and nothing else."""
    machine.python()
    machine.program("id", f"#!/bin/sh\necho {user}\n")
    machine.program("apt-get", '#!/bin/sh\necho "apt-get $*" >>"$LOG"\n')
    machine.program(
        "dpkg-query",
        '#!/bin/sh\ncase "$*" in *jackd2) exit 1 ;; *) echo "install ok installed" ;; esac\n',
    )


def test_root_on_debian_gets_the_packages_that_are_missing(machine: Machine) -> None:
    debian(machine, user=0)
    done = machine.run("-k", "a b", script="test")
    assert done.stdout == "started: -m pytest -k a b\n"
    assert machine.log.read_text().splitlines()[-2:] == [
        "apt-get update",
        "apt-get install -y --no-install-recommends jackd2",
    ]


def test_a_plain_user_on_debian_gets_none(machine: Machine) -> None:
    debian(machine, user=1000)
    assert machine.run(script="test").returncode == 0
    assert "apt-get" not in machine.log.read_text()


def test_a_failed_check_is_shown_and_the_tests_run_all_the_same(machine: Machine) -> None:
    machine.python(wrong_types=1)
    done = machine.run(script="test")
    beside = "-m pytest -n auto --dist loadfile --no-loadscope-reorder -m not alone"
    alone = "-m pytest -m alone"
    assert done.stdout == f"a wrong type\nstarted: {beside}\nstarted: {alone}\n"


@pytest.mark.parametrize("name", ["run", "test", ".ci/run"])
def test_scripts_can_be_started(name: str) -> None:
    assert os.access(ROOT / name, os.X_OK)
    subprocess.run(["sh", "-n", ROOT / name], check=True)
