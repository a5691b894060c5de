"""What can be begun, and what a check is made against."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fluxbench.book import Book
from fluxbench.lineup import (
    CHECK_HZ,
    READINGS,
    FirstTurns,
    FiveMinuteCheck,
    Kept,
    LineUp,
    PartOfLineUp,
    Plan,
    PrintTones,
    ReelFromElsewhere,
    Verification,
    WhoseFault,
    WorkingCopy,
    label_from_told,
)
from fluxbench.session._commands import NotNowError
from fluxbench.session._from_book import ids_of

Shown = Mapping[str, Any]
Make = Callable[[Shown, Plan, Sequence[Kept] | None, float], LineUp]

PROCEDURES: dict[str, Make] = {
    "line-up": lambda shown, plan, past, time_s: LineUp(plan, past, time_s),
    "check": lambda shown, plan, past, time_s: FiveMinuteCheck(
        plan, shown["as_left"]["level_db"], past, time_s
    ),
    "reel": lambda shown, plan, past, time_s: ReelFromElsewhere(
        plan, label_from_told(shown["reel"]), past, time_s
    ),
    "tones": lambda shown, plan, past, time_s: PrintTones(plan, shown.get("seconds"), past, time_s),
    "verification": lambda shown, plan, past, time_s: Verification(
        plan, shown.get("verify") or tuple(READINGS), past, time_s
    ),
    "part": lambda shown, plan, past, time_s: PartOfLineUp(
        plan, shown.get("stages") or (), past, time_s
    ),
    "first turns": lambda shown, plan, past, time_s: FirstTurns(plan, past, time_s),
    "whose fault": lambda shown, plan, past, time_s: WhoseFault(
        plan, shown.get("between") or (), past, time_s
    ),
    "working copy": lambda shown, plan, past, time_s: WorkingCopy(plan, past, time_s),
}
"""By kind, from what the deck showed, the plan, what was kept, and the time so far."""


def as_left(book: Book, plan: Plan, shown: Shown) -> dict[str, Any]:
    """The response that the last finished line-up of the deck left; NotNowError if none.

    A deck that is not named is any of this bench with as many tracks, at the same speed.
    """
    deck = ids_of(shown)["deck"]
    for row in book.lineups():
        if row.kind != "line-up" or not row.closed:
            continue
        stock = row.plan["stock"]
        if (int(stock["tracks"]), float(stock["speed_ips"])) != (plan.tracks, plan.speed_ips):
            continue
        if deck != row.deck if deck is not None else row.bench != book.bench:
            continue
        for entry in book.entries(limit=10_000, lineup=row.id):
            if entry.what == "response" and {f"{f:g}" for f in CHECK_HZ} <= set(
                entry.facts["level_db"]
            ):
                return {"lineup": row.id, "at": entry.at, "level_db": entry.facts["level_db"]}
    raise NotNowError("no finished line-up of this deck to check against; line it up first")
