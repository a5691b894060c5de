"""What stands out, in words, with its evidence; the deck's manual and qualified people decide."""

import re
from dataclasses import dataclass

import numpy as np

from fluxbench.history._sudden import Finding, What
from fluxbench.history._trail import Note, date_of, days_of

MANUAL = "The deck's manual and qualified service people decide."
SOLVENT = (
    "Cleaning: power off; only what the head maker allows; ventilation, no flames; let it dry."
)
DEMAGNETISER = (
    "Demagnetiser: power off, every recorded tape and the calibration tape well away, not near"
    " people with implants."
)
MAINS = "Cards: mains voltage inside; covers off only by qualified people, power off, local rules."


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Words for people; `evidence` are the numbers, dates and tracks that they rest on."""

    finding: Finding
    words: str
    evidence: tuple[str, ...]
    cautions: tuple[str, ...]


def suggestion_of(finding: Finding) -> Suggestion:
    """What to think of a finding, and what to do about it."""
    words, cautions = _WORDS[finding.what](finding)
    return Suggestion(finding, words, _evidence(finding), (*cautions, MANUAL))


def _evidence(f: Finding) -> tuple[str, ...]:
    amount = f"{f.amount:+.2f}" if not f.restless else f"{f.amount:.2f}"
    size = f"{amount} {_unit(f)} (standard error {f.error:.2f})"
    if f.per_year is not None:
        when = f"from {_date(f.since)} to {_date(f.until)}: {size}, {f.per_year:+.2f} a year"
    elif f.restless:
        when = f"from {_date(f.since)} to {_date(f.until)}: moves of {size}, one sigma"
    else:
        when = f"left on {_date(f.since)}, found on {_date(f.until)}: {size}"
    said = [f"{_names(f)}, {_tracks(f)}: {when}"]
    if f.doubt is not None:
        said.append(f"chance alone shows as much {_how_often(f.doubt)}")
    if f.came_back is not None:
        said.append(
            "at the next visit it came back by itself: it had been trimmed away"
            if f.came_back else "nothing of it is left at the next visit"
        )  # fmt: skip
    return (*(_signed(one) for one in said), *(_note(n) for n in f.notes))


def _signed(text: str) -> str:
    """A minus as a minus before numbers, not as a hyphen; dates keep theirs."""
    return re.sub(r"(?<![\w-])-(?=\d)", "\N{MINUS SIGN}", text)


def _how_often(doubt: float) -> str:
    """A probability in words: once in so many times."""
    times = min(1.0 / max(doubt, 1e-12), 1e9)
    for power, word in ((1e9, "a billion"), (1e6, "a million")):
        if times >= power:
            return f"less than once in {word} times"
    digits = 10.0 ** np.floor(np.log10(times))
    return f"once in {int(np.floor(times / digits) * digits):,} times".replace(",", " ")


def _note(note: Note) -> str:
    told = f", {note.text}" if note.text else ""
    return f"service note of {_date(note.at)}: {note.kind}{told}"


def _wear(f: Finding) -> tuple[str, tuple[str, ...]]:
    if f.renewed is not None:
        over = (
            f"Short waves fell slowly on all tracks until the {_head(f)} head was found renewed on"
            f" {_date(f.renewed)}: that was its wear, or slow dirt. What has happened since is"
            " told apart from it."
        )
        return over, ()
    both = len(f.trimmers) > 1
    where = {"record_high": "the record head"}.get(f.trimmers[0], f"the {_head(f)} head")
    cause = (
        "both heads at once: rather the calibration tape losing its short waves with use"
        if both
        else f"wear of {where}, or slow dirt; or the calibration tape, if only it shows it"
    )
    words = (
        f"Short waves fall slowly on all tracks: this looks like {cause}. Compare with another"
        " calibration tape before the head is judged, clean, and look at the wear face."
    )
    return words, (SOLVENT,)


def _dirt(f: Finding) -> tuple[str, tuple[str, ...]]:
    cleaned = any("clean" in n.kind for n in f.notes)
    said = "and a cleaning is noted" if cleaned else "though no cleaning is noted"
    words = (
        f"Short waves were suddenly lost on {_tracks(f)} and long waves were not, {said}: dirt on"
        " the head or its tape. Clean the whole path before as found is read."
    )
    return words, (SOLVENT, DEMAGNETISER)


def _renewed(f: Finding) -> tuple[str, tuple[str, ...]]:
    work = [n.kind for n in f.notes]
    because = f"the service notes say {', '.join(work)}" if work else "no service note says why"
    words = (
        f"Short waves stepped up on {_tracks(f)} and stayed: a relapped, new or newly cleaned"
        f" head; {because}. Its wear is counted afresh from here."
    )
    return words, () if work else (DEMAGNETISER,)


def _card(f: Finding) -> tuple[str, tuple[str, ...]]:
    how = "moves to and fro" if f.restless else "drifts"
    high_only = all(name.endswith("_high") for name in f.trimmers)
    where = "at short waves only" if high_only else "at all wavelengths"
    chain = sorted({name.split("_")[0] for name in f.trimmers})
    words = (
        f"{_tracks(f).capitalize()} {how} alone, {where}, in the {' and '.join(chain)} chain:"
        " rather its card or trimmer than the head. Swap cards with a neighbour; if the drift"
        " goes with the card, have it looked at."
    )
    return words, (MAINS,)


def _step(f: Finding) -> tuple[str, tuple[str, ...]]:
    because = "as the notes say" if f.notes else "and no service note says why"
    words = (
        f"{_tracks(f).capitalize()} jumped alone {because}: a repair, another card, a touched"
        " trimmer or a bad contact. Read it again before turning anything."
    )
    return words, (MAINS,)


def _azimuth(f: Finding) -> tuple[str, tuple[str, ...]]:
    how = "drifts" if f.per_year is not None else "stepped"
    words = (
        f"The angle of the {_head(f)} head {how}: a loose or touched head mount, or worn guides;"
        " the outer tracks show it first. Set azimuth before any high end is judged."
    )
    return words, ()


def _together(f: Finding) -> tuple[str, tuple[str, ...]]:
    words = (
        f"{_names(f).capitalize()} moves on all tracks together: look at what they share (the"
        " calibration tape, the interface's calibration, the supply, the stock) before the tracks."
    )
    return words, ()


_WORDS = {
    What.WEAR: _wear,
    What.DIRT: _dirt,
    What.RENEWED: _renewed,
    What.CARD: _card,
    What.STEP: _step,
    What.AZIMUTH: _azimuth,
    What.TOGETHER: _together,
}


def _head(f: Finding) -> str:
    return f.trimmers[0].split("_", maxsplit=1)[0]


def _names(f: Finding) -> str:
    return " and ".join(
        name.replace("_", " ") + (" end" if name.endswith(("_high", "_low")) else "")
        for name in f.trimmers
    )


def _tracks(f: Finding) -> str:
    if not f.tracks:
        return "all tracks"
    if len(f.tracks) == 1:
        return f"track {f.tracks[0]}"
    return f"tracks {', '.join(str(t) for t in f.tracks)}"


def _unit(f: Finding) -> str:
    return "arc-minutes" if f.unit == "arcmin" else f.unit


def _date(at: str) -> str:
    return date_of(float(days_of((at,))[0]))
