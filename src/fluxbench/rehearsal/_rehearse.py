"""A rehearsed line-up: bench, technician and deck in lockstep, and the residuals at the end."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from fluxbench.base import DeckError
from fluxbench.engine import Engine
from fluxbench.lineup import (
    Channels,
    FirstTurns,
    LineUp,
    PartOfLineUp,
    Plan,
    View,
    plan_from_state,
)
from fluxbench.links import DeckControls, Link
from fluxbench.measure import measured
from fluxbench.rehearsal._patch_bay import PatchBay
from fluxbench.rehearsal._technician import Technician


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """What came of a rehearsal: the line of `contracts/rehearse.schema.json` and the journal."""

    line: Mapping[str, Any]
    journal: tuple[Mapping[str, Any], ...]
    notes: tuple[str, ...]
    stopped: str | None


def rehearse_guided(
    link: Link,
    deck: DeckControls,
    seed: int,
    watch: Callable[[View], None] | None = None,
    record: Callable[[Mapping[str, Any]], None] | None = None,
    channels: tuple[int, int] | None = None,
    begin: Mapping[str, Any] | None = None,
) -> Rehearsed:
    """Line a deck up from plan to close, reading only what the bench shows.

    `begin` are the fields of the command that begins something else than a whole line-up.
    `watch` gets every view, `record` every entry of the journal as it is written. `channels` are
    the inputs and outputs of an interface that has fewer than the deck has tracks.
    """
    begun = time.perf_counter()
    plan = plan_from_state(deck.load("calibration"), deck.load("stock"))
    plug = None
    if channels is not None:
        plan = replace(plan, channels=Channels(*(tuple(range(count)) for count in channels)))
        link = bay = PatchBay(link, *channels)
        plug = bay.plug
    lineup = lineup_of(plan, begin or {})
    plan = lineup.plan
    technician = Technician(deck, seed, plug)
    engine = Engine(link, plan.tracks, cables=lineup.cables)
    tape_s, running, recorded = 0.0, False, 0
    try:
        while not lineup.view.closed:
            engine.send(lineup.signal)
            engine.listen(lineup.tones)
            engine.keep(lineup.wanted_stretch)
            engine.cable(lineup.cables)
            before = engine.time_s
            for hop in engine.step():
                lineup.see(hop)
            _measure_stretches(engine, lineup)
            tape_s += (engine.time_s - before) if running else 0.0
            asked = lineup.view.ask
            answered = technician.look(lineup.view, engine.time_s)
            if answered is not None:
                if asked is not None and asked.kind == "transport":
                    running = asked.values.get("state") in ("play", "record")
                elif asked is not None and asked.kind == "load":
                    running = False
                lineup.acknowledge(answered)
            _say_no(lineup, technician)
            if record is not None:
                for entry in lineup.journal[recorded:]:
                    record(entry)
                recorded = len(lineup.journal)
            if watch is not None:
                watch(lineup.view)
    finally:
        engine.close()
    visits = count_visits(lineup.journal, technician.turned, plan.tracks, plan.trimmers)
    line = result_line(plan, seed, "guided", tape_s, begun, visits, deck)
    return Rehearsed(line, tuple(lineup.journal), lineup.view.notes, lineup.view.stopped)


def lineup_of(plan: Plan, fields: Mapping[str, Any]) -> LineUp:
    """A line-up, a part of one, or the first turns, by the fields of the command `begin`."""
    unused = frozenset(track - 1 for track in fields.get("unused", ()))
    trimmers = plan.trimmers & frozenset(fields.get("trimmers", plan.trimmers))
    plan = replace(plan, unused=unused, trimmers=trimmers)
    kind = fields.get("kind", "line-up")
    if kind == "part":
        return PartOfLineUp(plan, fields["stages"])
    return FirstTurns(plan) if kind == "first turns" else LineUp(plan)


def _measure_stretches(engine: Engine, lineup: LineUp) -> None:
    for one in engine.stretches():
        lineup.hear(measured(one.wanted, one.samples, engine.rate_hz, lost=one.lost))


def _say_no(lineup: LineUp, technician: Technician) -> None:
    """Hand on what the technician will not do."""
    if technician.declines is not None:
        lineup.decline(technician.declines)
    if technician.passes_over:
        lineup.pass_over()


def result_line(
    plan: Plan,
    seed: int,
    method: str,
    tape_time_s: float,
    begun: float,
    visits: Mapping[str, Any],
    deck: DeckControls,
) -> dict[str, Any]:
    """The line of `contracts/rehearse.schema.json`; `begun` is when the wall clock started."""
    return {
        "seed": seed,
        "tracks": plan.tracks,
        "speed_ips": plan.speed_ips,
        "method": method,
        "tape_time_s": round(tape_time_s, 2),
        "wall_s": round(time.perf_counter() - begun, 2),
        "visits": visits,
        "residual": _residual(deck),
    }


def _residual(deck: DeckControls) -> Mapping[str, Any]:
    residual = deck.truth().get("residual")
    if not isinstance(residual, Mapping):
        raise DeckError("the deck does not tell its residuals for a judge")
    return residual


def count_visits(
    journal: list[dict[str, Any]],
    turned: list[tuple[float, str, int | None]],
    tracks: int,
    trimmers: frozenset[str],
) -> dict[str, list[int]]:
    """Visits of each trimmer: focus gained, at least one turn, focus lost.

    A stack trimmer counts one visit each time its stage is entered and it is turned.
    """
    visits: dict[str, list[int]] = {}
    for kind in sorted(trimmers):
        focus = [e for e in journal if e["what"] == "focus" and e["trimmer"] == kind]
        if kind.endswith("azimuth"):
            stages = [e["t"] for e in journal if e["what"] == "stage"] + [float("inf")]
            turns = [t for t, k, _ in turned if k == kind]
            visits[kind] = [sum(any(a <= t < b for t in turns) for a, b in pairwise(stages))]
            continue
        count = [0] * tracks
        changes = [e["t"] for e in journal if e["what"] in ("focus", "stage")] + [float("inf")]
        for begin, track in ((e["t"], e["track"]) for e in focus):
            end = min(t for t in changes if t > begin)
            if any(k == kind and who == track and begin - 0.5 <= t < end for t, k, who in turned):
                count[track - 1] += 1
        visits[kind] = count
    return visits
