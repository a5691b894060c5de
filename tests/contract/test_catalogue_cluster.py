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
PATIENCE_S = 240.0  # for a machine that is busy with other things
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


def stop_in_a_job(client: Client, process: int, address: str) -> None:
    """Have a worker stand still in the middle of a job of its own."""
    deadline_s = time.monotonic() + PATIENCE_S
    while True:
        assert time.monotonic() < deadline_s, "it is given nothing to do"
        if client.processing([address])[address]:
            os.kill(process, signal.SIGSTOP)
            if client.processing([address])[address]:
                return
            os.kill(process, signal.SIGCONT)


@pytest.mark.timeout(900)
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

    with Client(scheduler, timeout=PATIENCE_S) as client:
        asked = run(scheduler, "archive", "--to", "out", "--json")
        stop_in_a_job(client, workers[0].pid, addresses[0])
        deadline_s = time.monotonic() + PATIENCE_S
        while len(journalled(Path("out"))) < 2:
            assert asked.poll() is None, asked.communicate()[1]
            assert time.monotonic() < deadline_s
            time.sleep(0.01)
        known = len(journalled(Path("out")))
        os.kill(workers[0].pid, signal.SIGKILL)
    out, err = asked.communicate(timeout=PATIENCE_S)
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
    _, err = done.communicate(timeout=PATIENCE_S)
    assert (done.returncode, err.count("\n"), "has no workers" in err) == (1, 1, True)
    done = run("tcp://127.0.0.1:1", *given)
    _, err = done.communicate(timeout=PATIENCE_S)
    assert (done.returncode, err.count("\n"), "there is no scheduler" in err) == (1, 1, True)
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert main(["catalogue", *given, "--scheduler", "tcp://127.0.0.1:1"]) == 1
    assert "install fluxbench[cluster]" in capsys.readouterr().err
