"""`fluxbench catalogue --scheduler`: a real cluster, a worker killed in the middle."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from distributed import Client

from fluxbench.captures.catalogue import Declared, catalogue
from fluxbench.cli import main
from tests.captures import made
from tests.captures.inline import InlineCrew

ROOT = Path(__file__).parents[2]
OUTPUTS = ("catalogue.csv", "catalogue.jsonl", "catalogue.html")
Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Starts a part of a cluster and gives back the process; all of them are ended."""
    started: list[subprocess.Popen[str]] = []

    def one(*address: str) -> "subprocess.Popen[str]":
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.captures.cluster_process", *address],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
            env=os.environ | {"TMPDIR": str(tmp_path)},
        )  # fmt: skip
        started.append(process)
        return process

    yield one
    for process in reversed(started):
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


def address_of(process: "subprocess.Popen[str]") -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()


def archive_of(folder: Path, count: int) -> None:
    folder.mkdir()
    for number in range(count):
        wave = made.tone(1.0, 48_000, 1000.0, [-20.0 - number, -20.0], delays_us=(0.0, 0.0))
        made.written(folder / f"{number:02d}.wav", wave, 48_000)


def journalled(out: Path) -> list[str]:
    journal = out / "journal.txt"
    lines = journal.read_text().splitlines() if journal.exists() else []
    return [json.loads(line.partition(" ")[2])["sha256"] for line in lines]


def run(scheduler: str, *words: Any) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "fluxbench", "catalogue", "--scheduler", scheduler,
         *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_a_worker_is_killed_and_the_catalogue_is_that_of_one_machine(
    tmp_path: Path, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Named by a path that only the one who asks can follow: workers stand elsewhere."""
    count = 8
    monkeypatch.chdir(tmp_path)
    archive_of(Path("archive"), count)
    scheduler = address_of(start())
    workers = [start(scheduler) for _ in range(2)]
    addresses = [address_of(worker) for worker in workers]
    assert all(address.startswith("tcp://127.0.0.1:") for address in addresses)

    asked = run(scheduler, "archive", "--to", "out", "--json")
    deadline_s = time.monotonic() + 120.0
    while len(journalled(Path("out"))) < 2:
        assert asked.poll() is None, asked.communicate()[1]
        assert time.monotonic() < deadline_s
        time.sleep(0.01)
    with Client(scheduler) as client:  # in the middle of a job of its own
        while not client.processing(addresses[:1])[addresses[0]]:
            assert time.monotonic() < deadline_s
        os.kill(workers[0].pid, signal.SIGKILL)
    known = len(journalled(Path("out")))
    out, err = asked.communicate(timeout=120.0)
    assert (asked.returncode, err) == (0, "")
    assert known < count, "it was killed too late to matter"
    assert len(out.splitlines()) == count
    contents = journalled(Path("out"))
    assert len(set(contents)) == len(contents) == count  # every content once, none missed

    catalogue(["archive"], Path("alone"), lambda path: Declared(), InlineCrew())
    for name in OUTPUTS:
        assert Path("out", name).read_bytes() == Path("alone", name).read_bytes()


def test_no_scheduler_and_no_worker_are_one_line(
    tmp_path: Path, start: Start, capsys: pytest.CaptureFixture[str], monkeypatch: Any
) -> None:
    archive_of(tmp_path / "archive", 1)
    given = [str(tmp_path / "archive"), "--to", str(tmp_path / "out")]
    assert main(["catalogue", *given, "--scheduler", "x", "--workers", "2"]) == 2
    assert "has workers of its own" in capsys.readouterr().err
    done = run(address_of(start()), *given)
    _, err = done.communicate(timeout=60.0)
    assert (done.returncode, err.count("\n"), "has no workers" in err) == (1, 1, True)
    done = run("tcp://127.0.0.1:1", *given)
    _, err = done.communicate(timeout=60.0)
    assert (done.returncode, err.count("\n"), "there is no scheduler" in err) == (1, 1, True)
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert main(["catalogue", *given, "--scheduler", "tcp://127.0.0.1:1"]) == 1
    assert "install fluxbench[cluster]" in capsys.readouterr().err
