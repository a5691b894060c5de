"""What cannot be run is named, or is a failure where all is demanded."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

SUITE = """
import pytest
def test_always(): pass
@pytest.mark.sound
def test_sound(): pass
"""


@pytest.fixture
def suite(tmp_path: Path) -> Path:
    """The project's settings with two tests, one of them marked `sound`."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "requirements").mkdir()
    shutil.copy(ROOT / "requirements" / "debian-packages", tmp_path / "requirements")
    (tmp_path / "tests").mkdir()
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path / "tests")
    (tmp_path / "tests" / "test_two.py").write_text(SUITE)
    return tmp_path


def run(
    suite: Path,
    *more: str,
    jackd: bool,
    environment: dict[str, str] | None = None,
) -> "subprocess.CompletedProcess[str]":
    programs = suite / "bin"
    programs.mkdir(exist_ok=True)
    if jackd:
        (programs / "jackd").symlink_to(sys.executable)
    clean = {name: value for name, value in os.environ.items() if "FLUXBENCH" not in name}
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", *(more or ("-p", "no:cacheprovider"))],
        cwd=suite,
        env=clean | {"PATH": f"{programs}"} | (environment or {}),
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_plain_user_is_told_what_was_not_run(suite: Path) -> None:
    done = run(suite, jackd=False)
    assert done.returncode == 0
    assert "1 passed, 1 deselected" in done.stdout
    assert "NOT RUN: tests marked `sound`, for want of jackd" in done.stdout
    assert "jackd2" in done.stdout


def test_where_all_is_demanded_it_is_a_failure(suite: Path) -> None:
    done = run(suite, jackd=False, environment={"FLUXBENCH_REQUIRE_ALL": "1"})
    assert done.returncode != 0
    assert "for want of jackd" in done.stderr
    assert "passed" not in done.stdout


@pytest.mark.sound
def test_nothing_is_left_out_where_all_is_there(suite: Path) -> None:
    done = run(suite, jackd=True, environment={"FLUXBENCH_REQUIRE_ALL": "1"})
    assert done.returncode == 0
    assert "2 passed" in done.stdout
    assert "NOT RUN" not in done.stdout


def test_a_failed_check_fails_the_run(suite: Path) -> None:
    done = run(suite, jackd=False, environment={"FLUXBENCH_FAILED_CHECKS": "style, types"})
    assert done.returncode == 1
    assert "1 passed" in done.stdout
    assert "FAILED CHECKS, shown above the tests: style, types" in done.stdout


SHAKY = """
from pathlib import Path
def test_shaky():
    first = not Path("seen").exists()
    Path("seen").touch()
    assert not first
def test_broken(): assert Path("mended").exists()
"""


def test_what_passes_once_more_is_named_and_what_fails_again_fails(suite: Path) -> None:
    again = ("--last-failed", "--last-failed-no-failures", "none", "--maxfail", "3")
    (suite / "tests" / "test_shaky.py").write_text(SHAKY)
    assert run(suite, "-m", "not sound", jackd=False).returncode == 1
    done = run(suite, *again, jackd=False)
    assert done.returncode == 1
    assert "1 failed, 1 passed" in done.stdout
    named = "FAILED AT FIRST and passed once more, to be looked into: tests/test_shaky.py"
    assert named in done.stdout
    (suite / "mended").touch()
    assert run(suite, *again, jackd=False).returncode == 0
