"""Everything that is set from outside: variables of the environment, files, folders.

Names and defaults are looked for in the code; the words stand here. A name without words, and
words without a name, is an error.
"""

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
IN_USE = ("src", "run", "test", ".ci", "requirements")
IN_WORK = ("tests", "ui/mock", "benchmarks", "manual")
ENDINGS = {".py", ".sh", ".ts", ""}

VARIABLES = {
    "FLUXBENCH_PYTHON": "the Python that `./run` and `./test` make `.venv` of",
    "FLUXBENCH_REQUIRE_ALL": "`./test`: 1 makes a test that was left out a failure, as `.ci/run`",
    "FLUXBENCH_FAILED_CHECKS": "how `./test` hands on what failed before pytest; not for people",
    "FLUXBENCH_LONG": "tests that have a long form run it: any text but none",
    "FLUXBENCH_TEST_PACE": "how many times faster than the wall the deck of a walked line-up runs",
    "FLUXBENCH_KILLS": "how often `tests/faults` kills a bench",
    "FLUXBENCH_CUTS": "how often it cuts the power",
    "FLUXBENCH_DAMAGES": "at how many places it damages the log",
    "FLUXBENCH_CLOCKS": "how many benches have their clock set while they run",
    "FLUXBENCH_DEATHS": "how often each part of a bench dies, or hangs",
    "FLUXBENCH_SLOW_MINUTES": "minutes beside clients that hang, in place of four seconds",
    "FLUXBENCH_PLUGS": "how many listings of interfaces are made up",
    "FLUXBENCH_ROUNDS": "how often commands are repeated, pages loaded anew, benches restarted",
    "FLUXBENCH_GONE": "how often an interface goes, in each way",
    "FLUXBENCH_LOCKS": "how often another program has the book locked",
    "FLUXBENCH_EVERY": "at every how many calls the disk fails; 1 is all of them",
    "FLUXBENCH_HISTORIES": "how many histories are invented",
    "FLUXBENCH_DRIFT_HOURS": "hours of samples that two clocks run apart",
    "FLUXBENCH_TEST_BLOCK_S": "seconds between two blocks of the tests' made-up interface",
    "FLUXBENCH_TEST_HELD": "a file; while it is there the tests' made-up interface stands still",
    "FLUXBENCH_BENCH": "address of the bench that `npm run dev` shows; none: a made-up one",
    "DISPLAY": "one of these two must be set for `serve` to open a browser",
    "WAYLAND_DISPLAY": "as above",
    "OPENBLAS_NUM_THREADS": "threads of numpy's products; more only slow small ones down",
}
OF_LIBRARIES = {
    "XDG_DATA_HOME": "Linux: where the user's data folder is; `~/.local/share` if left out",
    "JACK_DEFAULT_SERVER": "name of the sound server for `deck` and PortAudio",
    "PGPASSWORD": "password of a book on a PostgreSQL server, and libpq's other variables",
    "TMPDIR": "where Python puts what it needs for a moment",
}
FILES = {
    ".lock": "says which process has the book; its being there means nothing",
    ".deck": "trimmers, tapes and faults of the practice deck",
    ".deck-runs": "which process the practice deck is, and where it is called",
    ".deck-log": "what the practice deck said last",
    ".devices": "paired devices and who holds the controls; readable by its owner alone",
    ".before-VERSION": "the book as it was before `fluxbench book upgrade`",
    ".old": "the book that `fluxbench book restore --overwrite` replaced",
    ".new": "a file that is being written, and gets its name when it is whole",
    ".part": "the same; of a catalogue or capture it begins with a dot",
}


def _texts(places: tuple[str, ...]) -> Iterator[tuple[Path, str]]:
    for place in places:
        start = ROOT / place
        for file in [start] if start.is_file() else sorted(start.rglob("*")):
            looked_at = file.is_file() and file.suffix in ENDINGS and "static" not in file.parts
            if looked_at and file != Path(__file__):
                yield file, file.read_text(errors="replace")


def variables_read(places: tuple[str, ...]) -> dict[str, str]:
    """Every variable that is read there, with what counts if it is not set."""
    found: dict[str, str] = {}
    read = re.compile(
        r"environ(?:\.get|\.setdefault)?[\[(]\"(\w+)\"(?:, \"([^\"]*)\")?|(FLUXBENCH_[A-Z_]+)"
    )
    for _, text in _texts(places):
        for match in read.finditer(text):
            name = match[1] or match[3]
            if name and (name.startswith("FLUXBENCH_") or places is IN_USE):
                found[name] = found.get(name) or match[2] or ""
    return found


def files_written() -> set[str]:
    """The endings that files beside a book, or on their way, are given."""
    found: set[str] = set()
    for _, text in _texts(("src",)):
        found |= set(re.findall(r"\.name(?: \+ \"|\})(\.[a-z-]+)", text))
        found |= set(re.findall(r"suffix=\"(\.[a-z]+)\"", text))
    return found


def variables_told() -> str:
    """Two tables: for use, and for whoever works on Fluxbench."""
    use = variables_read(IN_USE)
    work = {n: d for n, d in variables_read(IN_WORK).items() if n not in use}
    missing = (use.keys() | work.keys()) ^ VARIABLES.keys()
    assert not missing, f"variables without words, or words without a variable: {sorted(missing)}"
    return "\n".join(
        [
            _table(use),
            "Read by what Fluxbench stands on:\n",
            _table(dict.fromkeys(OF_LIBRARIES, "")),
            "For whoever works on Fluxbench:\n",
            _table(work),
        ]
    )


def _table(found: dict[str, str]) -> str:
    words = VARIABLES | OF_LIBRARIES
    rows = (f"| `{name}` | {found[name]} | {words[name]} |\n" for name in words if name in found)
    return "| variable | if not set | |\n|---|---|---|\n" + "".join(rows)


def files_told() -> str:
    """One table of endings."""
    named = {name.replace("-VERSION", "-") for name in FILES}
    missing = named ^ files_written()
    assert not missing, f"files without words, or words without a file: {sorted(missing)}"
    rows = (f"| `BOOK{name}` | {words} |\n" for name, words in FILES.items())
    return "| file | |\n|---|---|\n" + "".join(rows)
