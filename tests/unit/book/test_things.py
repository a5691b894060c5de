"""Things by version: nothing overwritten, everything once, one line for what cannot be."""

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from fluxbench.base import ConflictError, MisuseError
from fluxbench.book import KINDS, Book, LineUpRow, Page, Place, schema_of
from fluxbench.trade import format_named
from tests.unit.book.kept import AT, DECK, TAPE, keep, line_up, told


@pytest.fixture
def book(book_place: Place) -> Iterator[Book]:
    opened = Book(book_place)
    yield opened
    opened.close()


def rows(book: Book) -> list[dict[str, Any]]:
    return told(book.place, "things")


def test_an_edit_is_a_new_row_and_the_old_one_stays(book: Book) -> None:
    first = keep(book, "d1", "decks", DECK, who="me")
    before = rows(book)
    second = keep(book, "e1", "decks", {"serial": "77"}, thing="d1", why="found the plate")
    assert rows(book)[:1] == before
    assert book.versions("decks", "d1") == [first, second]
    assert book.things("decks") == [second]
    assert second.facts == {**first.facts, "serial": "77"}
    assert keep(book, "e2", "decks", {"serial": None}, thing="d1").facts == first.facts


def test_retired_things_stay_readable_and_come_back(book: Book) -> None:
    keep(book, "d1", "decks", DECK)
    gone = keep(book, "r1", "decks", {}, thing="d1", retired=True, why="sold")
    assert book.things("decks") == []
    assert book.things("decks", retired=True) == [gone]
    assert keep(book, "e1", "decks", {"serial": "1"}, thing="d1").retired
    assert not keep(book, "r2", "decks", {}, thing="d1", retired=False).retired


def test_a_writing_is_done_once(book: Book) -> None:
    first = keep(book, "d1", "decks", DECK)
    assert keep(book, "d1", "decks", DECK) == first
    edit = keep(book, "e1", "decks", {"serial": "1"}, thing="d1")
    keep(book, "e2", "decks", {"serial": "2"}, thing="d1")
    assert keep(book, "e1", "decks", {"serial": "1"}, thing="d1") == edit
    assert len(rows(book)) == 3
    with pytest.raises(ConflictError, match="used for something else"):
        keep(book, "e1", "decks", {"serial": "3"}, thing="d1")


def test_two_people_on_one_thing(book: Book) -> None:
    first = keep(book, "d1", "decks", DECK)
    keep(book, "e1", "decks", {"serial": "1"}, thing="d1", after=first.row)
    with pytest.raises(ConflictError, match="changed meanwhile"):
        keep(book, "e2", "decks", {"serial": "2"}, thing="d1", after=first.row)
    assert book.things("decks")[0].facts["serial"] == "1"


def test_five_answers_make_a_deck_and_the_rest_is_marked(book: Book) -> None:
    deck = keep(book, "d1", "decks", DECK)
    form = format_named("2-inch 24-track")
    assert deck.assumed["track_pitch_mm"] == form.pitch_mm
    assert deck.assumed["tracks"] == 24
    # 35 us is IEC1 at both speeds: IASA-TC 04 clause 5.4.10 Table 1
    assert [(s["speed_ips"], s["t2_us"]) for s in deck.assumed["speeds"]] == [(15, 35), (30, 35)]
    told = keep(book, "e1", "decks", {"head_spacing_mm": 52.5}, thing="d1")
    assert "head_spacing_mm" not in told.assumed
    assert told.known["head_spacing_mm"] == 52.5


@pytest.mark.parametrize("left_out", DECK)
def test_four_answers_are_not_enough(book: Book, left_out: str) -> None:
    with pytest.raises(MisuseError, match=left_out):
        keep(book, "d1", "decks", {k: v for k, v in DECK.items() if k != left_out})


@pytest.mark.parametrize(
    ("kind", "facts", "said"),
    [
        ("decks", {**DECK, "colour": "grey"}, "^colour: "),
        ("decks", {**DECK, "format": "9-track"}, "^format: no track format '9-track' is known"),
        ("decks", {**DECK, "speeds_ips": []}, "^speeds_ips: "),
        ("decks", {**DECK, "speeds_ips": [15, 15]}, "twice"),
        ("decks", {**DECK, "equalisation": "own"}, "^equalisation: .* time constants in speeds"),
        ("decks", {**DECK, "tracks": "24"}, "^tracks: "),
        ("decks", {**DECK, "zero_vu_dbu": float("nan")}, "finite"),
        ("decks", {**DECK, "trimmers": [{"name": "bias"}, {"name": "bias"}]}, "^trimmers: "),
        ("tapes", {**TAPE, "fringing_compensated": "for format"}, "^format: "),
        ("tapes", {**TAPE, "sections": [{"seconds": 1}]}, "^sections.0.frequency_hz: "),
        ("heads", {"name": "R", "deck": "d9", "function": "record"}, "^deck: .* no deck 'd9'"),
        ("batches", {"name": "B", "stock": "s9"}, "^stock: the book has no stock 's9'"),
        ("notes", {"name": "n", "deck": "d1", "on": "yesterday"}, "^on: "),
        ("calibrations", {"name": "c", "interface": "i", "on": "2026", "channels": [],
                          "uncertainty_db": 0.1, "how": ""}, "^channels: "),
        ("songs", {}, "no kind is called 'songs'"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_line_that_names_it(
    book: Book, kind: str, facts: Mapping[str, Any], said: str
) -> None:
    with pytest.raises(MisuseError, match=said) as refused:
        keep(book, "x", kind, facts)
    assert "\n" not in str(refused.value)
    assert rows(book) == []


def test_a_tape_counts_the_line_ups_that_name_it(book: Book) -> None:
    tape = keep(book, "t1", "tapes", {**TAPE, "uses_before": 40})
    assert book.uses([tape]) == {"t1": 40}
    for name in ("one", "two"):
        line_up(book, name, f"2026-01-0{len(name)}T00:00:00.000Z", [], tape="t1")
    assert book.uses([tape]) == {"t1": 42}
    for kind in ("working copy", "check"):  # a check plays what the deck recorded itself
        row = LineUpRow(kind.replace(" ", "-"), kind, AT, {"stock": {}}, tape="t1")
        book.write(Page(lineup=row.id, begun=row, entries=[], at=AT, closed=True))
    assert book.uses([tape]) == {"t1": 43}


def test_every_kind_has_a_name_and_its_fields_of_ids_are_there() -> None:
    for kind in KINDS.values():
        schema = schema_of(kind.name)
        assert "name" in schema["required"]
        assert kind.belongs.keys() <= schema["properties"].keys()
        assert set(kind.belongs.values()) <= KINDS.keys()
