"""How long answers of the history take on a large book: `python benchmarks/history_speed.py`.

Builds a book of many line-ups of 24 tracks by SQL, over several decks, serves it, and asks over
HTTP for every kind of answer, once after the start and five times more: milliseconds on the wall,
in brackets of processor time (of all that the bench does meanwhile, as Linux counts it).
`--lineups 10000 --decks 20` unless told; `--decks 1` puts all on one deck.
"""

import argparse
import os
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.request import urlopen

import numpy as np

from fluxbench.book import Book
from fluxbench.book._open import engine_for
from fluxbench.book._packs import pack_all

TRIMMERS = (
    "reproduce_level", "reproduce_high", "sync_level", "sync_high", "bias", "record_level",
    "record_high", "reproduce_low",
)  # fmt: skip
TRACKS = 24
REPEATS = 5
CALLS = {
    "overview": "?deck=deck-0",
    "a trimmer, its drift, forecasts and what moves together":
        "/trimmers/reproduce_level?deck=deck-0",
    "suggestions": "/suggestions?deck=deck-0",
    "batches": "/batches?deck=deck-0",
    "tapes": "/tapes?deck=deck-0",
}  # fmt: skip


def build(path: Path, lineups: int, decks: int) -> None:
    """A book of that many line-ups; readings are noise, which is all that time depends on."""
    Book(path).close()
    rng = np.random.default_rng(1)
    each = lineups // decks
    begin = np.datetime64("2005-01-01T08:00:00.000")
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA synchronous=OFF")
    for n in range(lineups):
        deck, nth = f"deck-{n % decks}", n // decks
        at = str(begin + np.timedelta64(nth * 7000 // max(each, 1), "D")) + "Z"
        name = f"line-up-{n}"
        connection.execute(
            "INSERT INTO lineups (id, kind, begun_at, plan, closed, deck, tape, batch, speed_ips,"
            " bench) VALUES (?, 'line-up', ?, '{}', 1, ?, ?, ?, 15.0, 'another')",
            (name, at, deck, f"tape-{nth % 7 == 0}", f"batch-{nth // 40}"),
        )
        entry = connection.execute(
            "INSERT INTO journal (lineup, at, t_s, what, facts)"
            " VALUES (?, ?, 0.0, 'as found', '{}')",
            (name, at),
        )
        values = rng.normal(0.0, 0.03, (2, len(TRIMMERS), TRACKS)).round(4)
        connection.executemany(
            "INSERT INTO readings (lineup, seq, stage, trimmer, track, kind, reading, error, unit,"
            " deck, at, speed_ips) VALUES (?, ?, 'x', ?, ?, ?, ?, 0.02, 'dB off target', ?, ?, 15)",
            [
                (name, entry.lastrowid, trimmer, t + 1, kind, float(values[k, m, t]), deck, at)
                for m, trimmer in enumerate(TRIMMERS)
                for k, kind in enumerate(("found", "left"))
                for t in range(TRACKS)
            ],
        )
    connection.commit()
    connection.close()
    engine = engine_for(path, writes=True)
    with engine.begin() as packing:
        pack_all(packing)
    engine.dispose()


def main() -> None:
    """Build, serve, ask; print milliseconds of the first answer and of the next five."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lineups", type=int, default=10_000)
    parser.add_argument("--decks", type=int, default=20)
    parser.add_argument("--book", type=Path, help="one that was built before, or is to be kept")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = asked.book or Path(folder) / "large.book"
        if not path.exists():
            build(path, asked.lineups, asked.decks)
        print(f"{asked.lineups} line-ups, {path.stat().st_size / 1e6:.0f} MB")
        with served(path) as (bench, process):
            for name, call in CALLS.items():
                taken = [ask(f"{bench}/api/history{call}", process) for _ in range(1 + REPEATS)]
                first, *rest = (f"{wall:.0f} ({used:.0f})" for wall, used in taken)
                print(f"{name}: first {first} ms, then {', '.join(rest)}")


@contextmanager
def served(book: Path) -> Iterator[tuple[str, int]]:
    """A bench with that book, in a process of its own: its address and number."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "fluxbench", "serve", "--no-browser", "--port", str(port)]
    with subprocess.Popen([*command, "--book", str(book)], stdout=subprocess.DEVNULL) as bench:
        try:
            for _ in range(600):
                with suppress(OSError), urlopen(f"http://127.0.0.1:{port}/api/lan", timeout=5):
                    break
                time.sleep(0.1)
            yield f"http://127.0.0.1:{port}", bench.pid
        finally:
            bench.terminate()


def ask(url: str, process: int) -> tuple[float, float]:
    """Milliseconds from question to whole answer, and those of its processor time."""
    used_ms, start = processor_ms(process), time.perf_counter()
    with urlopen(url, timeout=60) as answer:
        answer.read()
    return 1000.0 * (time.perf_counter() - start), processor_ms(process) - used_ms


def processor_ms(process: int) -> float:
    """What a process has used of the processor, as Linux counts it, in steps of a tick."""
    told = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return 1000.0 * (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
