"""What a bench has shown, held against what its book holds; by plain SQL, not by its own code."""

import json
import sqlite3
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.faults.writer_process import reading_of, tracks_of


@dataclass(slots=True)
class Account:
    """Readings by their number in the journal, and answers, that were shown."""

    taken: dict[int, tuple[int, int, float]] = field(default_factory=dict)
    answered: set[str] = field(default_factory=set)

    def hear(self, said: str) -> list[dict[str, Any]]:
        """Take whole lines of what a writer said; they are given back."""
        told = [json.loads(line) for line in said.splitlines(keepends=True) if line[-1:] == "\n"]
        for message in told:
            if "taken" in message:
                page, track, reading = message["taken"]
                self.taken[message["seq"]] = (page, track, reading)
            elif "answered" in message:
                self.answered.add(message["answered"])
        return told


def check(book: Path, account: Account) -> int:
    """Everything shown is there and no page is half there; how many pages there are."""
    if not book.exists():
        assert not account.taken, f"{len(account.taken)} readings were shown and are lost"
        return 0
    connection = sqlite3.connect(book)
    try:
        ask = connection.execute
        assert ask("PRAGMA integrity_check").fetchall() == [("ok",)]
        if not ask("SELECT 1 FROM sqlite_master WHERE name = 'journal'").fetchall():
            assert not account.taken, f"{len(account.taken)} readings were shown and are lost"
            return 0
        facts = {
            seq: json.loads(told)
            for seq, told in ask("SELECT seq, facts FROM journal WHERE what = 'taken'")
        }
        readings = dict(ask("SELECT seq, reading FROM readings"))
        steps = [number for (number,) in ask("SELECT number FROM steps ORDER BY row")]
        answers = {name for (name,) in ask("SELECT id FROM commands")}
    finally:
        connection.close()
    entries = {
        seq: (told["page"], told["track"], told["reading_db"]) for seq, told in facts.items()
    }
    lost = [seq for seq, shown in account.taken.items() if entries.get(seq) != shown]
    lost += [seq for seq in account.taken if seq not in readings]
    assert not lost, f"{len(lost)} readings were shown and are lost"
    gone = account.answered - answers
    assert not gone, f"{len(gone)} commands were answered and are lost"
    _check_whole(entries, readings, steps, answers)
    return len(steps)


def _check_whole(
    entries: dict[int, tuple[int, int, float]],
    readings: dict[int, float],
    steps: list[int],
    answers: set[str],
) -> None:
    pages = range(len(steps))
    assert steps == [*pages], "half a page, or one twice: its step"
    wanted = {(p, t, reading_of(p, t)) for p in pages for t in range(1, tracks_of(p) + 1)}
    counted = Counter(entries.values())
    assert counted == dict.fromkeys(wanted, 1), "half a page, or one twice: its entries"
    told = {seq: entry[2] for seq, entry in entries.items()}
    assert readings == told, "half a page, or one twice: its readings"
    assert answers == {f"page {p}" for p in pages}, "half a page, or one twice: its answers"
