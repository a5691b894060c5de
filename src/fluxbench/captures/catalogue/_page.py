"""The catalogue as one page for reading and printing: by reel, and by remedy. Nothing is loaded."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from html import escape
from importlib.resources import files
from itertools import count

from fluxbench.captures.catalogue._faults import Fault, Verdict
from fluxbench.captures.catalogue._row import Entry, row_of, shown

_SAID = {
    Verdict.SET_ASIDE: "could not be measured",
    Verdict.REPEAT: "transfer again",
    Verdict.REPAIR: "can be put right in the file",
    Verdict.LOOK: "look and listen",
    Verdict.NO_TONES: "no line-up tones",
    Verdict.GOOD: "nothing to do",
}
"""What each verdict means, the worst first."""

_FOOT = (
    "Levels and delays are those of the line-up tones. A file proves no fluxivity, and a line-up"
    " tone no speed: both stand only where they were declared. The deck's manual and the people"
    " who look after it decide."
)


@dataclass(frozen=True, slots=True)
class _Line:
    name: str
    verdict: Verdict
    said: tuple[str, ...]
    kinds: tuple[str, ...]
    facts: str
    number: int = 0
    """Its place on the page, from 1."""


@dataclass
class Page:
    """Takes the entries, then gives the page."""

    _reels: dict[str, list[_Line]] = field(default_factory=dict)

    def add(self, entry: Entry) -> None:
        """Take one capture."""
        judgement = entry.judgement
        faults = judgement.faults if judgement else ()
        said = [_told(fault) for fault in faults] or [entry.remedy]
        if entry.same_as:
            said.append(f"the same content as {entry.same_as}")
        if entry.corrected:
            said.append(f"corrected copy: {entry.corrected}")
        self._reels.setdefault(entry.reel, []).append(
            _Line(
                shown(entry.path),
                entry.verdict,
                tuple(shown(text) for text in said),
                tuple(dict.fromkeys(fault.kind.value for fault in faults)),
                _facts(entry),
            )
        )

    def text(self) -> str:
        """The whole page."""
        numbers = count(1)
        reels = {
            name: [replace(line, number=next(numbers)) for line in _worst_first(lines)]
            for name, lines in sorted(self._reels.items())
        }
        lines = [line for reel in reels.values() for line in reel]
        counts = Counter(line.verdict for line in lines)
        style = files(__package__).joinpath("page.css").read_text("utf-8")
        parts = [
            '<!doctype html><html lang="en"><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>Catalogue of captures</title><style>{style}</style>",
            "<header><h1>Catalogue of captures</h1>",
            f"<p>{_counted(len(lines), 'capture')} of {_counted(len(self._reels), 'reel')}</p>",
            '<ul class="sum">',
            *(
                f'<li class="{_class(verdict)}"><b>{counts[verdict]}</b> {_summed(verdict)}</li>'
                for verdict in _SAID
                if counts[verdict]
            ),
            "</ul></header>",
            '<section><h2>By remedy</h2><table class="kinds">',
            *_by_kind(lines),
            "</table></section><section><h2>By reel</h2>",
            *(_reel(name, reel) for name, reel in reels.items()),
            f"</section><footer><p>{_FOOT}</p></footer></html>",
        ]
        return "\n".join(parts) + "\n"


def _told(fault: Fault) -> str:
    return f"{fault.found}: {fault.remedy}"


def _summed(verdict: Verdict) -> str:
    """The word that stands with the captures, and what it means where it does not say so."""
    said = _SAID[verdict]
    return (
        said if said.startswith(("no ", "nothing", verdict.value)) else f"{verdict.value}: {said}"
    )


def _worst_first(lines: Iterable[_Line]) -> list[_Line]:
    worst_first = list(_SAID)
    return sorted(lines, key=lambda line: (worst_first.index(line.verdict), line.name))


def _by_kind(lines: Iterable[_Line]) -> Iterable[str]:
    """Every kind of fault, how many captures have it, and which."""
    having: dict[str, list[_Line]] = {}
    for line in lines:
        for kind in line.kinds:
            having.setdefault(kind, []).append(line)
    if not having:
        yield "<tr><td>nothing was found wrong</td></tr>"
        return
    yield "<tr><th>fault</th><th>captures</th><th>their numbers below</th></tr>"
    for kind, those in sorted(having.items(), key=lambda each: (-len(each[1]), each[0])):
        links = " ".join(f'<a href="#c{line.number}">{line.number}</a>' for line in those)
        yield f"<tr><th>{escape(kind)}</th><td>{len(those)}</td><td>{links}</td></tr>"


def _reel(name: str, lines: list[_Line]) -> str:
    rows = "".join(
        f'<tr id="c{line.number}" class="{_class(line.verdict)}"><td>{line.number}</td>'
        f"<td>{escape(line.name)}<small>{escape(line.facts)}</small></td>"
        f"<td>{line.verdict.value}</td>"
        f"<td>{'<br>'.join(escape(text) for text in line.said)}</td></tr>"
        for line in lines
    )
    return f"<h3>{escape(shown(name))}</h3><table>{rows}</table>"


def _facts(entry: Entry) -> str:
    """One line of figures."""
    row = row_of(entry)
    told = [
        (row["reference_dbfs"], "{:.1f} dBFS"),
        (row["at_10_khz_db"], "10 kHz {:+.1f} dB"),
        (row["at_100_hz_db"], "100 Hz {:+.1f} dB"),
        (row["delay_us"], "{:.1f} µs apart"),
        (row["flutter_2sigma_percent"], "flutter {:.3f} %"),
        (row["noise_a_db"], "noise {:.1f} dB(A)"),
    ]
    parts = [form.format(value) for value, form in told if value is not None]
    parts = [
        part.replace("-0.0 ", "0.0 ").replace("-", "−").replace(" ", "\N{NO-BREAK SPACE}")
        for part in parts
    ]
    if row["recorded"] not in (None, "", "cannot tell"):
        parts.append(f"recorded {row['recorded']}")
    return ", ".join(parts)


def _class(verdict: Verdict) -> str:
    return verdict.name.lower().replace("_", "-")


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'s' * (count != 1)}"
