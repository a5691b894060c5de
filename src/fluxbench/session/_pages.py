"""From a running line-up to pages of the book."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fluxbench.base import DeckError, MisuseError
from fluxbench.book import Entry, LineUpRow, Page, Reading
from fluxbench.lineup import LineUp, Plan, label_from_told, plan_for_reel, plan_from_state
from fluxbench.session._channels import channels_of
from fluxbench.session._commands import NotNowError, Waiting
from fluxbench.session._from_book import ids_of
from fluxbench.session._full_scales import trims_of
from fluxbench.session._made import things_made

CHOICES = (
    "verify",
    "limits",
    "seconds",
    "reel",
    "copy_name",
    "channels",
    "unused",
    "between",
    "stages",
    "trimmers",
)
"""Fields of `begin` that belong to one kind of procedure; see `web`."""
LIMITS = {
    "response_db": (0.1, 12.0),
    "noise_db": (-100.0, 0.0),
    "third_harmonic_percent": (0.01, 20.0),
    "crosstalk_db": (-100.0, 0.0),
    "erasure_db": (-120.0, 0.0),
    "return_flutter_percent": (0.001, 5.0),
    "maximum_output_db": (-20.0, 30.0),
}
"""What may be said of the limits of a verification, see `trade.Tolerances`."""


def now_utc() -> str:
    """The time of day, for people; order and durations never come from it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def new_row(kind: str, shown: Mapping[str, Any]) -> LineUpRow:
    """A line-up that begins; `shown` is what the deck shows with either tape."""
    at = datetime.now(UTC)
    name = f"{at:%Y%m%d-%H%M%S}-{uuid.uuid4().hex[:4]}"
    ids, speed_ips = ids_of(shown), float(shown["stock"]["speed_ips"])
    return LineUpRow(
        name, kind, now_utc(), shown,
        deck=ids["deck"], tape=ids["tape"], batch=ids["batch"], speed_ips=speed_ips,
    )  # fmt: skip


def plan_of(shown: Mapping[str, Any]) -> Plan:
    """The plan; MisuseError if a field is missing or cannot be."""
    try:
        plan = plan_from_state(shown["calibration"], shown["stock"])
    except DeckError as error:  # it was not asked: somebody said what it shows
        raise MisuseError(str(error)) from None
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        reason = " ".join(f"{type(error).__name__} {error}".split())
        raise MisuseError(
            f"what the deck shows does not make a plan ({reason}); it needs what GET /state of "
            "the deck controls gives, once with each tape"
        ) from None
    if shown.get("reel") is not None:
        plan = plan_for_reel(plan, label_from_told(shown["reel"]))
    if shown.get("trimmers") is not None:
        plan = replace(plan, trimmers=plan.trimmers & frozenset(shown["trimmers"]))
    limits: dict[str, Any] = _limits(shown.get("limits") or {})
    tolerances = replace(plan.tolerances, **limits)
    return replace(
        plan,
        tolerances=tolerances,
        channels=channels_of(shown),
        **_unused(shown.get("unused") or (), plan),
    )


def _unused(tracks: Sequence[int], plan: Plan) -> dict[str, Any]:
    """Tracks (from 1) that are left alone, and what is said of them; MisuseError if all are."""
    if not tracks:
        return {}
    unused = frozenset(track - 1 for track in tracks)
    if max(tracks) > plan.tracks or len(unused) == plan.tracks:
        raise MisuseError(
            f"unused: the deck has tracks 1 to {plan.tracks}, and one at least is to be lined up"
        )
    told = ", ".join(str(track + 1) for track in sorted(unused))
    remark = f"not used, and left as they are: tracks {told}"
    return {"unused": unused, "remarks": (*plan.remarks, remark)}


def _limits(given: Mapping[str, float]) -> dict[str, float]:
    """Limits of a verification that can be; MisuseError says which cannot."""
    for name, value in given.items():
        if name not in LIMITS:
            raise MisuseError(f"no limit is called {name!r}; there are {', '.join(LIMITS)}")
        low, high = LIMITS[name]
        if not low <= value <= high:
            raise MisuseError(f"{name} goes from {low:g} to {high:g}, not {value:g}")
    return dict(given)


def with_choice(fields: Mapping[str, Any]) -> Mapping[str, Any]:
    """What the deck shows, with what was chosen for this procedure."""
    choice = {name: fields[name] for name in CHOICES if fields.get(name) is not None}
    if fields["kind"] != "reel":
        choice.pop("reel", None)
    shown: Mapping[str, Any] = fields["plan"]
    return {**shown, **choice}


class Desk:
    """Takes from a line-up what is new, and makes pages of it."""

    def __init__(self, row: LineUpRow, lineup: LineUp, asked: int | None, stage: str) -> None:
        self.row = row
        self.lineup = lineup
        self.trims = trims_of(row.plan)
        self._journalled = 0
        self._asked = asked
        self._acknowledging: list[tuple[int, Waiting]] = []
        self._stage = stage
        self._closed = False

    def acknowledge(self, waiting: Waiting) -> None:
        """The person has done what was asked, or will not; NotNowError if that is not open."""
        same = [n for n, w in self._acknowledging if w.command.id == waiting.command.id]
        if same:  # a double click: it is answered with the first
            self._acknowledging.append((same[0], waiting))
            return
        number, ask = int(waiting.command.fields["ask"]), self.lineup.view.ask
        if ask is None or ask.number != number:
            raise NotNowError("what was asked is done or over already")
        if waiting.command.name == "decline" and ask.kind != "doubt":
            raise NotNowError("only a doubt can be declined; leave the stage out, or stop")
        self._pass_on(number, waiting)

    def _pass_on(self, number: int, waiting: Waiting) -> None:
        self._acknowledging.append((number, waiting))
        if waiting.command.name == "decline":
            self.lineup.decline(number)
        else:
            self.lineup.acknowledge(number)

    def take_over(self, before: "Desk") -> None:
        """Acknowledge what was acknowledged before an interruption and had not gone on."""
        for number, waiting in before._acknowledging:
            self._pass_on(number, waiting)

    @property
    def waiting(self) -> list[Waiting]:
        """Who acknowledged an ask and waits for the line-up to go on."""
        return [waiting for _, waiting in self._acknowledging]

    def gone_on(self) -> list[Waiting]:
        """Who acknowledged an ask that is not open any more."""
        gone = [w for number, w in self._acknowledging if number != self._asked]
        self._acknowledging = [a for a in self._acknowledging if a[0] == self._asked]
        return gone

    def page(self) -> Page:
        """All that is new since the last page."""
        lineup = self.lineup
        page = Page(lineup=self.row.id)
        ask = lineup.view.ask
        shown = None if ask is None else ask.number
        if shown != self._asked and self._asked in [number for number, _ in self._acknowledging]:
            self._add(page, "answered", {"ask": self._asked})
        for fact in lineup.journal[self._journalled :]:
            facts = {key: value for key, value in fact.items() if key not in ("t", "what")}
            self._add(page, fact["what"], facts, fact["t"])
        self._journalled = len(lineup.journal)
        if ask is not None and shown != self._asked:
            values = dict(ask.values)
            facts = {"number": ask.number, "kind": ask.kind, "text": ask.text, "values": values}
            self._add(page, "ask", facts)
        self._asked = shown
        page.steps = lineup.steps.fresh[:]
        lineup.steps.fresh.clear()
        if lineup.view.closed and not self._closed:
            self._closed = True
            page.closed, page.stopped = True, lineup.view.stopped
        return page

    def _add(
        self, page: Page, what: str, facts: Mapping[str, Any], t_s: float | None = None
    ) -> None:
        if what == "stage":
            self._stage = str(facts["name"])
        at_s = self.lineup.time_s if t_s is None else t_s
        page.entries.append(Entry(0, self.row.id, now_utc(), round(at_s, 2), what, facts))
        page.readings += readings_of(len(page.entries) - 1, self._stage, what, facts)
        page.things += things_made(self.row, what, facts, page.entries[-1].at)


def readings_of(of: int, stage: str, what: str, facts: Mapping[str, Any]) -> list[Reading]:
    """The readings that an entry of the journal tells of."""
    kind = {"as found": "found", "as left": "left", "taken": "taken"}.get(what)
    if kind is None:
        return []
    bank = facts.get("bank")
    trimmer = facts["trimmer"]
    if "arcmin" in facts:
        error = facts.get("error_arcmin")
        return [Reading(of, stage, trimmer, None, kind, facts["arcmin"], error, "arcmin")]
    name = next((n for n in ("over_bias_db", "deviation_db", "reading_db") if n in facts), None)
    if name is None:
        return []
    if kind == "taken":
        unit = "dB over-bias" if name == "over_bias_db" else "dB re 0 VU"
        value, error = facts[name], facts["error_db"]
        return [Reading(of, stage, trimmer, facts["track"], kind, value, error, unit)]
    target = facts.get("target_db")
    is_off = name == "deviation_db" or target is not None
    unit = "dB off target" if is_off else "dB re 0 VU"
    values = facts[name] if name == "deviation_db" else _off(facts[name], target)
    errors = facts.get("error_db") or facts.get("peak_error_db") or [None] * len(facts[name])
    tables = [(kind, values, errors)]
    if "found_over_bias_db" in facts:
        tables.insert(0, ("found", _off(facts["found_over_bias_db"], target), errors))
    return [
        Reading(of, stage, trimmer, track + 1, which, value, error, unit)
        for which, readings, spreads in tables
        for track, (value, error) in enumerate(zip(readings, spreads, strict=True))
        if bank is None or track + 1 in bank
    ]


def _off(readings: Sequence[float | None], target: Any) -> list[float | None]:
    """Readings less their target, one for all or one each; as they are where there is none."""
    targets = target if isinstance(target, Sequence) else [target] * len(readings)
    return [
        r if t is None or r is None else round(r - t, 4)
        for r, t in zip(readings, targets, strict=True)
    ]
