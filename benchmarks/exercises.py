"""How the practising technician does the exercises, by what the bench shows: tape time and marks.

Run: python -m benchmarks.exercises            (shows what came out)
     python -m benchmarks.exercises --keep       (and keeps it for the judge: experts.json)
     python -m benchmarks.exercises --only NAME...
"""

import argparse
import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

from fluxbench.deck import EXERCISES, Judge, exercise_named, hidden_in, set_up, told_of
from fluxbench.links import DeckLink
from fluxbench.rehearsal import rehearse_guided

SEEDS = (1, 2, 3)
RATE_HZ = 48_000
EXPERTS = Path(__file__).parents[1] / "src" / "fluxbench" / "deck" / "_exercises" / "experts.json"


def done_by_the_technician(name: str, seed: int) -> Mapping[str, Any]:
    """What he needed and left; where it has to be said what is wrong, what the bench said."""
    exercise = exercise_named(name)
    hidden = hidden_in(exercise, seed)
    deck = set_up(exercise, seed, RATE_HZ)
    judge = Judge(exercise, hidden, set_up(exercise, seed, RATE_HZ))
    told = told_of(exercise, hidden)
    done = rehearse_guided(DeckLink(deck), deck, seed, begin=told["begin"])
    tape_s = float(done.line["tape_time_s"])
    answers = [{"what": what, "tracks": list(tracks)} for what, tracks in hidden.wrong]
    verdict = judge.verdict(deck, tape_s, answers)
    said = [*done.notes, *([done.stopped] if done.stopped else [])]
    return {
        "tape_s": tape_s,
        "settings_in": all(row["verdict"] in ("in", "near") for row in verdict["settings"]),
        "left": [(row["trimmer"], row["track"], row["left"]) for row in verdict["settings"]],
        "needless": verdict["needless"],
        "said": said,
        "hidden": verdict["hidden"],
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--only", nargs="+")
    asked = parser.parse_args()
    known = json.loads(EXPERTS.read_text())
    for exercise in EXERCISES:
        if told_of(exercise)["advised"] and (not asked.only or exercise.name in asked.only):
            runs = list(map(partial(done_by_the_technician, exercise.name), SEEDS))
            for seed, run in zip(SEEDS, runs, strict=True):
                print(exercise.name, seed, json.dumps(run), flush=True)
            if all(run["settings_in"] for run in runs):
                known["exercises"][exercise.name] = {
                    "tape_s": round(max(run["tape_s"] for run in runs), 1),
                    "tape_s_each": [round(run["tape_s"], 1) for run in runs],
                }
    if asked.keep:
        EXPERTS.write_text(json.dumps(known, indent=1) + "\n")


if __name__ == "__main__":
    main()
