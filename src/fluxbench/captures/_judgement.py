"""Whether a capture as a whole can be trusted, and what there is to say against it in words."""

from collections import Counter
from collections.abc import Sequence

from fluxbench.base import Validity
from fluxbench.captures._header import Header
from fluxbench.captures._results import MeasuredSection
from fluxbench.captures._scan import Scan
from fluxbench.captures._sections import SHORTEST_S

_PLACES = 5
"""Where frames are missing: so many are told."""

_DAMAGE = (Validity.NOT_FINITE, Validity.CLIPPED, Validity.GAP, Validity.DC)
"""What marks the whole capture if one track has it."""

_WORDS = {
    Validity.NOT_FINITE: "values that are no numbers, or far beyond full scale",
    Validity.CLIPPED: "clipped",
    Validity.GAP: "frames are missing inside a section",
    Validity.DC: "a direct voltage stands on it",
}


def judged(
    header: Header,
    tracks: Sequence[int],
    frames: int,
    found: Scan,
    sections: Sequence[MeasuredSection],
) -> tuple[Validity, list[str]]:
    """Validity of the whole, and notes."""
    told = [section.track_validity() for section in sections]
    against = _against(tracks, found, told)
    notes = [
        *_what_is_missing(header, found),
        *(f"{_WORDS[validity]}: {_numbers(those, tracks)}" for validity, those in against.items()),
        *_where_frames_are_missing(sections),
    ]
    silent = not found.track_power.any()
    if silent:
        notes.append("nothing but silence")
    reasons = (
        (header.declared_frames > header.frames or found.failed_frames > 0, Validity.CUT),
        *((validity in against, validity) for validity in _DAMAGE),
        (frames < SHORTEST_S * header.rate_hz, Validity.TOO_SHORT),
        (silent, Validity.NO_SIGNAL),
    )
    return next((reason for holds, reason in reasons if holds), _of_all(told)), notes


def _what_is_missing(header: Header, found: Scan) -> list[str]:
    notes = []
    if (missing := header.declared_frames - header.frames) > 0:
        notes.append(
            f"cut: {missing} of the {header.declared_frames} frames that its header promises"
            " are missing"
        )
    if found.failed_frames:
        notes.append(f"{found.failed_frames} frames could not be read and count as silence")
    return notes


def _where_frames_are_missing(sections: Sequence[MeasuredSection]) -> list[str]:
    """Where the phase of a tone jumps; a few of the places, if there are many."""
    at_s = [
        section.measured_from_s + missing_s
        for section in sections
        if section.tone is not None
        for missing_s in section.tone.missing_s
    ]
    if not at_s:
        return []
    more = f" and {len(at_s) - _PLACES} places more" if len(at_s) > _PLACES else ""
    places = ", ".join(f"{one:.2f}" for one in at_s[:_PLACES])
    return [f"the phase of a tone jumps on all tracks at {places} s{more}: frames were lost there"]


def _against(
    tracks: Sequence[int], found: Scan, told: Sequence[tuple[Validity, ...]]
) -> dict[Validity, list[int]]:
    """The tracks that each kind of damage was seen on, in any section or outside of them."""
    against: dict[Validity, list[int]] = {}
    for index, track in enumerate(tracks):
        seen = {validity[index] for validity in told}
        if found.not_finite[index]:
            seen.add(Validity.NOT_FINITE)
        for validity in _DAMAGE:
            if validity in seen:
                against.setdefault(validity, []).append(track)
    return against


def _numbers(those: Sequence[int], tracks: Sequence[int]) -> str:
    if 1 < len(tracks) == len(those):
        return "all tracks"
    return f"track{'s' if len(those) > 1 else ''} {', '.join(map(str, those))}"


def _of_all(told: Sequence[tuple[Validity, ...]]) -> Validity:
    """Sound if anything in it is; else what is most often wrong."""
    seen = Counter(validity for section in told for validity in section)
    if not seen or seen[Validity.OK]:
        return Validity.OK
    return seen.most_common(1)[0][0]
