"""What stands on the screen: a fold over the journal, live and again after a start."""

from collections.abc import Callable, Mapping
from typing import Any

from fluxbench.book import Entry, LineUpRow
from fluxbench.lineup import (
    COPY_STAGES,
    FIRST_TURNS_STAGES,
    READINGS,
    REEL_STAGES,
    FiveMinuteCheck,
    Plan,
    PrintTones,
    Verification,
    WhoseFault,
    response_with_bank,
    stages_after,
    stages_of,
    with_bank,
    with_first,
)
from fluxbench.session._cautions import OF_STAGES, of_ask
from fluxbench.session._pages import LIMITS

State = Mapping[str, Any]

EMPTY: State = {
    "seq": 0,
    "lineup": None,
    "stages": [],
    "ask": None,
    "notes": [],
    "taken": [],
    "tables": [],
    "responses": [],
    "check": None,
    "verification": None,
    "printed": None,
    "label": None,
    "fault": None,
}


def begun(state: State, row: LineUpRow, plan: Plan) -> State:
    """The state of a line-up that begins."""
    names = _OTHER_STAGES.get(row.kind) or stages_of(plan, row.plan.get("stages"))
    bands = plan.tolerances
    return {
        **EMPTY,
        "check": state["check"],
        "verification": _to_verify(row, plan)
        if row.kind == "verification"
        else state["verification"],
        "printed": state["printed"],
        "lineup": {
            "id": row.id,
            "kind": row.kind,
            "begun_at": row.begun_at,
            "tracks": plan.tracks,
            "speed_ips": plan.speed_ips,
            "operating_nwb_per_m": plan.operating_nwb_per_m,
            "calibration_nwb_per_m": plan.calibration_nwb_per_m,
            "over_bias_db": plan.over_bias_db,
            "over_bias_hz": plan.over_bias_hz,
            "equalisation": {"t1_us": plan.equalisation.t1_us, "t2_us": plan.equalisation.t2_us},
            "trimmers": sorted(plan.trimmers),
            "bands": {
                **{
                    name: {"hold": b.hold_db, "set": b.set_db, "accept": b.accept_db, "unit": "dB"}
                    for name, b in (
                        ("level", bands.level),
                        ("high_end", bands.high_end),
                        ("over_bias", bands.over_bias),
                    )
                },
                "azimuth": {
                    "hold": 0.3 * plan.azimuth_tolerance_arcmin,
                    "set": plan.azimuth_tolerance_arcmin,
                    "accept": 2.0 * plan.azimuth_tolerance_arcmin,
                    "unit": "arcmin",
                },
            },
            "closed": False,
            "stopped": None,
            "resumed": 0,
        },
        "stages": [
            {"name": n, "status": "due", "reason": None, "caution": OF_STAGES.get(n)} for n in names
        ],
    }


_OTHER_STAGES = {
    "check": [FiveMinuteCheck.NAME],
    "verification": [Verification.NAME],
    "tones": [PrintTones.NAME],
    "reel": list(REEL_STAGES),
    "working copy": list(COPY_STAGES),
    "first turns": list(FIRST_TURNS_STAGES),
    "whose fault": [WhoseFault.NAME],
}


def _to_verify(row: LineUpRow, plan: Plan) -> dict[str, Any]:
    return {
        "lineup": row.id,
        "at": row.begun_at,
        "chosen": list(row.plan.get("verify") or READINGS),
        "limits": {name: getattr(plan.tolerances, name) for name in LIMITS},
        "rows": [],
        "words": None,
        "tracks": [],
    }


def fold(state: State, entry: Entry, plan: Plan) -> State:
    """The state after an entry; keys that did not change hold the same objects."""
    change = _CHANGES.get(entry.what)
    changed = {} if change is None else change(state, entry, plan)
    return {**state, **changed, "seq": entry.seq}


def stage_now(state: State) -> str:
    """The stage that runs."""
    return next((s["name"] for s in state["stages"] if s["status"] == "now"), "plan")


def calibration_response(facts: Mapping[str, Any], plan: Plan) -> dict[str, Any]:
    """How far each section of the calibration tape reads off its target."""
    frequencies, rows = [], []
    for section in plan.sections:
        read = facts["level_db"].get(str(section.number))
        if read is None:
            continue
        target = plan.calibration_target_db(section)
        frequencies.append(section.frequency_hz)
        rows.append(
            [
                None if r is None else round(r - float(t), 3)
                for r, t in zip(read, target, strict=True)
            ]
        )
    return {
        "of": "calibration pass",
        "monitor": facts["monitor"],
        "frequencies_hz": frequencies,
        "level_db": rows,
    }


def _responses(state: State, new: dict[str, Any]) -> list[Any]:
    same = (new["of"], new["monitor"])
    return [*(r for r in state["responses"] if (r["of"], r["monitor"]) != same), new]


def _moved_on(state: State, entry: Entry) -> State:
    return {"stages": stages_after(state["stages"], entry.what, entry.facts), "ask": None}


def _ended(state: State, what: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    stopped = facts.get("reason") if what == "stopped" else None
    return {
        "lineup": {**state["lineup"], "closed": True, "stopped": stopped},
        "stages": stages_after(state["stages"], what, facts),
        "ask": None,
    }


def _tables(state: State, what: str, facts: Mapping[str, Any]) -> list[Any]:
    trimmer = facts["trimmer"]
    tables = list(state["tables"])
    at = next((i for i, t in enumerate(tables) if t["trimmer"] == trimmer), None)
    if at is None:
        azimuth = "arcmin" in facts
        tables.append({
            "stage": stage_now(state),
            "trimmer": trimmer,
            "unit": "arcmin" if azimuth else "dB",
            "target": None,
            "as_found": None,
            "as_left": None,
        })  # fmt: skip
        at = -1
    table = dict(tables[at])
    if isinstance(facts.get("target_db"), list):
        table["target"] = with_bank(table["target"], facts["target_db"], facts)
    if what == "as found" and trimmer != "bias":
        table["as_found"] = _found(table["as_found"], facts)
    if what == "as left":
        left = _left(table, facts)
        in_rows = isinstance(left, list)
        table["as_left"] = with_bank(table["as_left"], left, facts) if in_rows else left
    if trimmer == "bias":
        table["target"] = state["lineup"]["over_bias_db"]
    tables[at] = table
    return tables


def _found(before: Any, facts: Mapping[str, Any]) -> Any:
    if "reading_db" in facts:
        return with_first(before, facts["reading_db"], facts)
    return facts.get("arcmin") if before is None else before


def _left(table: Mapping[str, Any], facts: Mapping[str, Any]) -> Any:
    for name in ("reading_db", "over_bias_db", "arcmin"):
        if name in facts:
            return facts[name]
    off, target = facts["deviation_db"], table["target"]
    if target is None:
        return table["as_left"]
    return [
        None if o is None or t is None else round(t + o, 4)
        for o, t in zip(off, target, strict=True)
    ]


def _taken(state: State, entry: Entry) -> list[Any]:
    facts = entry.facts
    bias = facts["trimmer"] == "bias"
    target: Any = state["lineup"]["over_bias_db"] if bias else None
    if not bias:
        table = next((t for t in state["tables"] if t["trimmer"] == facts["trimmer"]), None)
        if table is not None and table["target"] is not None:
            target = table["target"][facts["track"] - 1]
    new = {
        "seq": entry.seq,
        "stage": stage_now(state),
        "trimmer": facts["trimmer"],
        "track": facts["track"],
        "reading": facts["over_bias_db" if bias else "reading_db"],
        "error": facts["error_db"],
        "unit": "dB",
        "target": target,
    }
    same = (new["trimmer"], new["track"])
    return [*(t for t in state["taken"] if (t["trimmer"], t["track"]) != same), new]


def _noted(state: State, entry: Entry, _plan: Plan) -> State:
    text = entry.facts["text"]
    return {} if text in state["notes"] else {"notes": [*state["notes"], text]}


def _asked(_state: State, entry: Entry, _plan: Plan) -> State:
    facts = entry.facts
    return {"ask": {**facts, "caution": of_ask(facts["kind"], facts["values"])}}


def _verified(state: State, entry: Entry, _plan: Plan) -> State:
    nothing: dict[str, list[Any]] = {"frequencies_hz": [], "level_db": []}
    shown = next((r for r in state["responses"] if r["of"] == "verify"), nothing)
    rows = response_with_bank(shown["frequencies_hz"], shown["level_db"], entry.facts)
    response = {
        "of": "verify",
        "monitor": "reproduce",
        "frequencies_hz": list(rows),
        "level_db": list(rows.values()),
    }
    return {"responses": _responses(state, response)}


Change = Callable[[State, Entry, Plan], State]

_CHANGES: Mapping[str, Change] = {
    "stage": lambda s, e, _: _moved_on(s, e),
    "ask": _asked,
    "answered": lambda _s, _e, _p: {"ask": None},
    "note": _noted,
    "skipped": lambda s, e, _: _moved_on(s, e),
    "repeated": lambda s, e, _: _moved_on(s, e),
    "resumed": lambda s, _e, _p: {"lineup": {**s["lineup"], "resumed": s["lineup"]["resumed"] + 1}},
    "closed": lambda s, e, _: _ended(s, e.what, e.facts),
    "stopped": lambda s, e, _: _ended(s, e.what, e.facts),
    "as found": lambda s, e, _: {"tables": _tables(s, e.what, e.facts)},
    "as left": lambda s, e, _: {"tables": _tables(s, e.what, e.facts)},
    "taken": lambda s, e, _: {"taken": _taken(s, e)},
    "calibration pass": lambda s, e, plan: {
        "responses": _responses(s, calibration_response(e.facts, plan))
    },
    "response": _verified,
    "check": lambda _s, e, _p: {"check": dict(e.facts)},
    "label": lambda _s, e, _p: {"label": dict(e.facts)},
    "whose fault": lambda _s, e, _p: {"fault": dict(e.facts)},
    "verified": lambda s, e, _: {
        "verification": {
            **s["verification"],
            "rows": [
                *(r for r in s["verification"]["rows"] if r["of"] != e.facts["of"]),
                *({"of": e.facts["of"], **row} for row in e.facts["rows"]),
            ],
        }
    },
    "printed": lambda _s, e, _p: {"printed": {"lineup": e.lineup, "at": e.at, **e.facts}},
    "verification": lambda s, e, _: {"verification": {**s["verification"], **e.facts}},
}
"""What an entry of each kind changes; all others change nothing."""
