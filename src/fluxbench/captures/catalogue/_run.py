"""A catalogue, from folders to files: measure what is not known, judge all, write it down."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fluxbench.base import CaptureError, MisuseError
from fluxbench.captures.catalogue import _work
from fluxbench.captures.catalogue._crew import Crew
from fluxbench.captures.catalogue._declared import Declared
from fluxbench.captures.catalogue._jobs import Answer, Jobs, Measure
from fluxbench.captures.catalogue._journal import Journal, Outcome
from fluxbench.captures.catalogue._page import Page
from fluxbench.captures.catalogue._row import Entry, judged
from fluxbench.captures.catalogue._walk import Found, find
from fluxbench.captures.catalogue._written import Written, write_text

JOURNAL = "journal.txt"

Declare = Callable[[str], Declared]


@dataclass(frozen=True, slots=True)
class Done:
    """How many captures there are, how many were measured now, and how many of each verdict."""

    captures: int
    measured: int
    verdicts: Mapping[str, int]


def catalogue(
    places: Sequence[str],
    folder: Path,
    declare: Declare,
    crew: Crew,
    *,
    remedy: Callable[[Entry, Found], Entry] | None = None,
    left_out: Sequence[str] = (),
    retry: bool = False,
    measure: Measure = _work.measure,
    begun: Callable[[Sequence[Found]], None] = lambda found: None,
    told: Callable[[str, bool], None] = lambda path, fresh: None,
    entered: Callable[[Entry], None] = lambda entry: None,
) -> Done:
    """Catalogue the captures at some places into a folder.

    Parameters
    ----------
    places
        Folders and files.
    folder
        Where journal, table, lines and page are; what its journal knows is not measured again.
    declare
        What is declared about the capture of a path.
    crew
        Who measures.
    remedy
        Makes the corrected copy of an entry, and gives back the entry that names it.
    left_out
        Folders that are not looked into.
    retry
        Measure anew what was set aside before.
    begun, told, entered
        Hear of the captures that were found; of each that is known, and whether it was measured
        for it; and of each entry as it is written.

    Raises
    ------
    CaptureError
        A folder cannot be listed or written.
    MisuseError
        There is no capture.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CaptureError(f"{folder} cannot be made: {error.strerror or error}") from None
    found = find(places, [str(folder), *left_out])
    if not found:
        raise MisuseError("no captures there; give folders or files that are WAV, AIFF or FLAC")
    begun(found)
    with Journal(folder / JOURNAL) as journal:
        jobs = Jobs(
            [each.path for each in found],
            journal,
            crew,
            retry=retry,
            measure=measure,
            told=told,
        )
        answers = jobs.run()
        verdicts: Counter[str] = Counter()
        page = Page()
        with Written(folder) as written:
            for each, entry in _entries(found, answers, journal, declare):
                if remedy is not None:
                    entry = remedy(entry, each)
                written.add(entry)
                page.add(entry)
                verdicts[entry.verdict.value] += 1
                entered(entry)
        write_text(folder / "catalogue.html", page.text())
    return Done(len(found), jobs.measured, dict(verdicts))


def _entries(
    found: Sequence[Found], answers: Mapping[str, Answer], journal: Journal, declare: Declare
) -> Iterator[tuple[Found, Entry]]:
    """Judged, in the order of their paths, whoever measured them when."""
    first: dict[str, str] = {}
    for each in found:
        answer = answers[each.path]
        sha256 = answer if isinstance(answer, str) else ""
        outcome = answer if isinstance(answer, Outcome) else journal.get(sha256)
        entry = Entry(each.path, each.reel, sha256)
        if sha256:
            same_as = first.setdefault(sha256, each.path)
            entry = replace(entry, same_as=same_as if same_as != each.path else "")
        yield each, judged(entry, outcome, declare(each.path))
