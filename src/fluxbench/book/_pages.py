"""How a page is written, in the transaction of whoever asks for it."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, insert, select, update

from fluxbench.book._packs import pack
from fluxbench.book._rows import Entry, Page, Reading
from fluxbench.book._tables import COMMANDS, JOURNAL, LINEUPS, READINGS, STEPS
from fluxbench.book._things import write as write_thing
from fluxbench.lineup import Kept


def write(connection: Connection, page: Page, bench: str | None) -> list[Entry]:
    """Write a page of a bench; its entries with their numbers."""
    if page.begun is not None:
        new = page.begun
        connection.execute(
            insert(LINEUPS).values(
                id=new.id,
                kind=new.kind,
                begun_at=new.begun_at,
                plan=new.plan,
                closed=False,
                deck=new.deck,
                tape=new.tape,
                batch=new.batch,
                speed_ips=new.speed_ips,
                bench=bench,
            )
        )
    entries: list[Entry] = []
    for entry in page.entries:
        row = {
            "lineup": entry.lineup,
            "at": entry.at,
            "t_s": entry.t_s,
            "what": entry.what,
            "facts": entry.facts,
        }
        key = connection.execute(insert(JOURNAL).values(**row, bench=bench)).inserted_primary_key
        seq = int(key[0]) if key is not None else 0
        entries.append(Entry(seq=seq, **row))  # type: ignore[arg-type]
    _write_all(connection, STEPS, [_step(page.lineup, kept) for kept in page.steps])
    if page.readings:
        of = select(LINEUPS.c.deck, LINEUPS.c.speed_ips).where(LINEUPS.c.id == page.lineup)
        deck = dict(connection.execute(of).mappings().one())
        rows = [_reading(page.lineup, entries, taken) | deck for taken in page.readings]
        _write_all(connection, READINGS, rows)
        pack(connection, str(page.lineup), min(entries[r.of].seq for r in page.readings))
    _write_all(
        connection,
        COMMANDS,
        [{"id": key, "at": page.at, "answer": dict(told)} for key, told in page.answers.items()],
    )
    for writing in page.things:
        write_thing(connection, writing)
    if page.closed:
        row_of = LINEUPS.c.id == page.lineup
        ended = update(LINEUPS).where(row_of).values(closed=True, stopped=page.stopped)
        connection.execute(ended)
    return entries


def _write_all(connection: Connection, table: Any, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), rows)


def _step(lineup: str | None, kept: Kept) -> dict[str, Any]:
    return {
        "lineup": lineup,
        "number": kept.number,
        "name": kept.name,
        "is_part": kept.is_part,
        "value": kept.value,
        "state": dict(kept.state),
    }


def _reading(lineup: str | None, entries: Sequence[Entry], taken: Reading) -> dict[str, Any]:
    return {
        "lineup": lineup,
        "seq": entries[taken.of].seq,
        "at": entries[taken.of].at,
        "stage": taken.stage,
        "trimmer": taken.trimmer,
        "track": taken.track,
        "kind": taken.kind,
        "reading": taken.reading,
        "error": taken.error,
        "unit": taken.unit,
    }
