"""What holds for all tests: an own home, no thread left running, none quietly left out."""

import functools
import importlib
import importlib.util
import os
import re
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# How long an example takes says how busy the machine is, not whether the code is right.
settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")

DEBIAN_PACKAGES = Path(__file__).parents[1] / "requirements" / "debian-packages"


def lacking_for_sound() -> list[str]:
    """What the tests marked `sound` need and this machine does not have."""
    lacking = [] if shutil.which("jackd") else ["jackd"]
    for module, library in {"jack": "libjack", "sounddevice": "PortAudio"}.items():
        try:
            importlib.import_module(module)
        except (ImportError, OSError):
            lacking.append(library)
    return lacking


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--quiet-minutes", type=float, default=0.25, help="minutes of tape in which nobody turns"
    )
    parser.addoption(
        "--reels", type=int, default=10, help="made-up reels with planted faults to catalogue"
    )
    parser.addoption("--kills", type=int, default=1, help="times a catalogue is killed")


def lacking_for_browser() -> list[str]:
    """What the tests marked `browser` need and this machine does not have."""
    return [] if Path("/usr/bin/chromium").exists() else ["chromium"]


def lacking_for_paper() -> list[str]:
    """What the tests marked `paper` need and this machine does not have."""
    tools = ("pdfinfo", "pdffonts", "pdftoppm", "qpdf")
    return [name for name in tools if not Path("/usr/bin", name).exists()]


def lacking_to_compile() -> list[str]:
    """What the tests marked `compiled` need and this machine does not have."""
    needed = {"gcc": Path("/usr/bin/gcc"), "libc6-dev": Path("/usr/include/stdio.h")}
    return [name for name, path in needed.items() if not path.exists()]


def lacking_for_database() -> list[str]:
    """What the tests marked `database` need and this machine does not have."""
    lacking = [] if any(Path("/usr/lib/postgresql").glob("*/bin/initdb")) else ["postgresql"]
    return lacking if importlib.util.find_spec("psycopg") else [*lacking, "psycopg"]


def lacking_for_network() -> list[str]:
    """What the tests marked `network` need and this machine does not have, or does not allow."""
    tools = {"iproute2": "/usr/sbin/ip", "util-linux": "/usr/bin/nsenter"}
    missing = [name for name, path in tools.items() if not Path(path).exists()]
    return missing or ([] if _may_make_networks() else ["namespaces, which this user may not make"])


@functools.cache
def _may_make_networks() -> bool:
    inner = ["/usr/bin/unshare", "-n", "/bin/true"]
    tried = subprocess.run(
        ["/usr/bin/unshare", "-r", "-n", *inner], capture_output=True, check=False
    )
    return tried.returncode == 0


LACKING = {
    "sound": lacking_for_sound,
    "browser": lacking_for_browser,
    "paper": lacking_for_paper,
    "compiled": lacking_to_compile,
    "database": lacking_for_database,
    "network": lacking_for_network,
}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if any(item.get_closest_marker(marker) for marker in ("sound", "browser", "network")):
            item.add_marker("alone")
    for marker, lacking in LACKING.items():
        left_out = [item for item in items if item.get_closest_marker(marker)]
        if left_out and lacking():
            items[:] = [item for item in items if item not in left_out]
            config.hook.pytest_deselected(items=left_out)


RUNS_ALONE = re.compile(r"mark\.(alone|sound|browser|network)\b")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where only what runs alone is wanted, other files are not even imported: it takes seconds."""
    if config.option.markexpr != "alone" or not collection_path.match("test_*.py"):
        return None
    return RUNS_ALONE.search(collection_path.read_text()) is None or None


LONGEST = (
    "tests/contract/test_rehearse.py", "tests/unit/rehearsal/test_needle.py",
    "tests/contract/test_faults.py", "tests/unit/lineup/", "tests/unit/decks/", "tests/faults/",
    "tests/contract/", "tests/golden/", "tests/unit/deck/", "tests/unit/history/",
)  # fmt: skip
"""What takes long, by the beginning of its path."""


class LongestFirst:
    """Files that take long begin first, so that no core waits for one of them at the end."""

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: _place(item.nodeid))


def _place(name: str) -> int:
    """Which of `LONGEST` it is; the order is as drawn where it is the same."""
    return next((n for n, start in enumerate(LONGEST) if name.startswith(start)), len(LONGEST))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if terminalreporter.config.getoption("lf", False):
        for report in terminalreporter.stats.get("passed", []):
            line = f"FAILED AT FIRST and passed once more, to be looked into: {report.nodeid}"
            terminalreporter.write_line(line, yellow=True)
    for line in _what_is_left_out():
        terminalreporter.write_line(line, yellow=True)
    if failed := os.environ.get("FLUXBENCH_FAILED_CHECKS"):
        terminalreporter.write_line(f"FAILED CHECKS, shown above the tests: {failed}", red=True)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Checks that `./test` ran before the tests count as well."""
    if os.environ.get("FLUXBENCH_FAILED_CHECKS") and session.exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(LongestFirst())
    lines = _what_is_left_out()
    if lines and os.environ.get("FLUXBENCH_REQUIRE_ALL") == "1":
        raise pytest.UsageError(*lines)


def _what_is_left_out() -> list[str]:
    packages = " ".join(DEBIAN_PACKAGES.read_text().split())
    return [
        f"NOT RUN: tests marked `{marker}`, for want of {', '.join(found)} (Debian: {packages})"
        for marker, lacking in LACKING.items()
        if (found := lacking())
    ]


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that a test does reaches the home of whoever runs it."""
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, f"{home}")


@pytest.fixture(scope="module")
def playing() -> Iterator[Any]:
    """What starts browsers; a process can have one at a time, and meanwhile no other event loop."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def database_server() -> Iterator[Any]:
    """A server for all tests of a process, see `benches.database_server`."""
    from tests.benches.database_server import DatabaseServer

    server = DatabaseServer()
    yield server
    server.end()


@pytest.fixture(params=["file", pytest.param("server", marks=pytest.mark.database)])
def book_place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """Where a book can be, of either sort: a test that asks for it holds for both."""
    if request.param == "file":
        yield tmp_path / "deep" / "book.db"
        return
    server = request.getfixturevalue("database_server")
    place = server.book()
    yield place
    server.give_back(place)


THREADS_END_WITHIN_S = 60.0  # on a machine that is busy with other things
GOES_ON = "press_0"
"""The thread that sets papers, one for the whole life of a process."""


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """Threads that a test starts have ended when it has, or a moment later."""
    before = set(threading.enumerate())
    yield
    patience_ends_s = time.monotonic() + THREADS_END_WITHIN_S
    while left := {t for t in threading.enumerate() if t.name != GOES_ON} - before:
        assert time.monotonic() < patience_ends_s, f"left running: {left}"
        time.sleep(0.01)
