"""How long a history answers take on a large book: `python benchmarks/history_speed.py`.

Builds a book of many line-ups of 24 tracks by SQL, over several decks, and times every call of the
history. `--lineups 10000 --decks 20` unless told; `--decks 1` puts all on one deck.
"""

import argparse
import sqlite3
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from fluxbench.book import Book
from fluxbench.web import _history

TRIMMERS = (
    "reproduce_level", "reproduce_high", "sync_level", "sync_high", "bias", "record_level",
    "record_high", "reproduce_low",
)  # fmt: skip
TRACKS = 24
REPEATS = 5


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
            "INSERT INTO lineups (id, kind, begun_at, plan, closed, deck, tape, batch, speed_ips)"
            " VALUES (?, 'line-up', ?, '{}', 1, ?, ?, ?, 15.0)",
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
    connection.execute("ANALYZE")
    connection.close()


def main() -> None:
    """Build, ask, print milliseconds: the median and the worst of five."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lineups", type=int, default=10_000)
    parser.add_argument("--decks", type=int, default=20)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.book"
        start = time.perf_counter()
        build(path, asked.lineups, asked.decks)
        size_mb = path.stat().st_size / 1e6
        print(f"{asked.lineups} line-ups, {size_mb:.0f} MB, {time.perf_counter() - start:.0f} s")
        book = Book(path)
        bench: Any = SimpleNamespace(book=book)
        calls = {
            "overview": lambda: _history.overview(bench, "deck-0", None, 100),
            "a trimmer": lambda: _history.trimmer_history(
                bench, "reproduce_level", "deck-0", None, 300, None
            ),
            "suggestions": lambda: _history.suggestions(bench, "deck-0", None, 60),
            "batches": lambda: _history.batches(bench, "deck-0", None, 60),
            "tapes": lambda: _history.tapes(bench, "deck-0", None, 60),
        }
        for name, call in calls.items():
            taken = []
            for _ in range(REPEATS):
                start, used = time.perf_counter(), time.process_time()
                call()
                wall, cpu = time.perf_counter() - start, time.process_time() - used
                taken.append((1000.0 * wall, 1000.0 * cpu))
            wall_ms, cpu_ms = np.median(taken, axis=0)
            worst = max(wall for wall, _ in taken)
            print(f"{name}: median {wall_ms:.0f} ms ({cpu_ms:.0f} of processor), worst {worst:.0f}")
        book.close()


if __name__ == "__main__":
    main()
