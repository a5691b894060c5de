"""The contract of the book: its commands, and its things over HTTP."""

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from starlette.testclient import TestClient

from fluxbench.book import Book, Entry, Page, Place
from fluxbench.cli import main
from fluxbench.lineup import plan_from_state
from fluxbench.session import Session
from fluxbench.session import _session as session_module
from fluxbench.session._made import things_made
from fluxbench.sheets import contents_of
from fluxbench.web import build_app
from tests.benches.counting import TenASecond
from tests.benches.inline_host import InlineHost
from tests.unit.book.kept import DECK, TAPE, fill, taken

OWN = "http://127.0.0.1:7355"
SMALL = {**DECK, "format": "1/4-inch 2-track US", "equalisation": "NAB", "speeds_ips": [15, 7.5]}
SECTIONS = [
    {"frequency_hz": 1000, "seconds": 30},
    {"frequency_hz": 10_000, "seconds": 30, "correction_db": 0.3},
]
STOCK = {
    "name": "S",
    "over_bias": [
        {"over_bias_db": 3.0, "speed_ips": 15, "over_bias_frequency_hz": 10_000},
        {"over_bias_db": 5.0, "speed_ips": 7.5, "over_bias_frequency_hz": 10_000},
    ],
}


@pytest.fixture
def book(book_place: Place) -> Iterator[Book]:
    opened = Book(book_place)
    yield opened
    opened.close()


@pytest.fixture
def client(book: Book, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.setattr(session_module, "EngineHost", InlineHost)
    monkeypatch.setitem(session_module.PROCEDURES, "line-up", lambda _, *given: TenASecond(*given))
    session = Session(book, lambda silence: pytest.fail("no link here"), "wires", "1.2.3")
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as made:
        yield made


def post(client: TestClient, path: str, **body: Any) -> tuple[int, Any]:
    answer = client.post(f"/api{path}", json=body)
    return answer.status_code, answer.json()


def studio(client: TestClient) -> None:
    """A deck, a tape, a stock and a batch of it, an interface with its calibration."""
    for kind, key, facts in (
        ("decks", "d1", SMALL),
        ("tapes", "t1", {**TAPE, "sections": SECTIONS}),
        ("stocks", "s1", STOCK),
        ("batches", "b1", {"name": "B77", "stock": "s1"}),
        ("interfaces", "i1", {"name": "Desk", "host_api": "JACK"}),
        ("calibrations", "k1", {
            "name": "k", "interface": "i1", "on": "2026-01-02", "how": "by meter",
            "uncertainty_db": 0.1, "channels": [
                {"channel": 1, "side": "in", "full_scale_dbu": 18.0},
                {"channel": 2, "side": "in", "full_scale_dbu": 18.4},
                {"channel": 2, "side": "out", "full_scale_dbu": 24.0},
            ],
        }),
    ):  # fmt: skip
        assert post(client, f"/book/{kind}", id=key, facts=facts)[0] == 200


ALL = {"deck": "d1", "tape": "t1", "batch": "b1", "interface": "i1", "speed_ips": 15}


def test_every_kind_comes_with_a_schema_that_its_things_fit(client: TestClient) -> None:
    studio(client)
    kinds = client.get("/api/book").json()["kinds"]
    assert {"decks", "tapes", "heads", "notes", "captures"} <= {kind["kind"] for kind in kinds}
    for kind in kinds:
        jsonschema.Draft202012Validator.check_schema(kind["facts"])
        for thing in client.get(f"/api/book/{kind['kind']}").json()["things"]:
            jsonschema.validate(thing["facts"], kind["facts"])


def test_things_are_added_edited_retired_and_told_with_all_they_were(client: TestClient) -> None:
    first = post(client, "/book/decks", id="d1", facts=SMALL, who="me")
    assert first == post(client, "/book/decks", id="d1", facts=SMALL, who="me")
    row = first[1]["row"]
    status, second = post(client, "/book/decks/d1", id="e1", facts={"serial": "7"}, after=row)
    assert (status, second["facts"]["serial"]) == (200, "7")
    assert post(client, "/book/decks/d1", id="e2", facts={"serial": "8"}, after=row)[0] == 409
    assert post(client, "/book/decks", id="e1", facts=SMALL)[0] == 409
    assert post(client, "/book/decks/d1/retire", id="r1", why="sold")[1]["retired"] is True
    assert client.get("/api/book/decks").json()["things"] == []
    assert len(client.get("/api/book/decks?retired=true").json()["things"]) == 1
    whole = client.get("/api/book/decks/d1").json()
    assert [v["why"] for v in whole["versions"]] == ["sold", None, None]
    assert whole["thing"] == whole["versions"][0]
    assert whole["versions"][2] == first[1]


@pytest.mark.parametrize(
    ("path", "body", "status", "said"),
    [
        ("/book/songs", {"id": "x", "facts": {}}, 404, "no kind is called 'songs'"),
        ("/book/decks/d9", {"id": "x", "facts": {}}, 404, "no deck 'd9'"),
        ("/book/decks/d9/retire", {"id": "x"}, 404, "no deck 'd9'"),
        ("/book/decks", {"id": "x", "facts": {**SMALL, "colour": 1}}, 400, "colour: "),
        ("/book/decks", {"id": "x y", "facts": SMALL}, 400, "id: "),
        ("/book/decks", {"id": "x", "facts": SMALL, "colour": 1}, 400, "colour: "),
        ("/readings/7/correct", {"id": "x", "reading": 1.0, "why": "y"}, 404, "no reading 7"),
        ("/readings/7/correct", {"id": "x", "reading": 1.0}, 400, "why: "),
        ("/commands", {"id": "x", "command": "begin", "deck": "d9"}, 400, "no deck 'd9'"),
        ("/commands", {"id": "x", "command": "begin"}, 400, "cannot be asked"),
    ],
)
def test_what_cannot_be_is_one_line(
    client: TestClient, path: str, body: Any, status: int, said: str
) -> None:
    answer = post(client, path, **body)
    assert answer[0] == status
    assert said in answer[1]["error"]
    assert "\n" not in answer[1]["error"]


def test_a_deck_that_cannot_be_asked_is_lined_up_from_the_book(
    client: TestClient, book: Book
) -> None:
    studio(client)
    status, _ = post(client, "/commands", id="c1", command="begin", **ALL)
    assert status == 200
    (row,) = book.lineups()
    assert (row.deck, row.tape, row.batch, row.speed_ips) == ("d1", "t1", "b1", 15.0)
    plan = plan_from_state(row.plan["calibration"], row.plan["stock"])
    # NAB at 15 in/s is 3180 + 50 us, IASA-TC 04 clause 5.4.10 Table 1; the tape is 35 us alone.
    assert (plan.equalisation.t1_us, plan.equalisation.t2_us) == (3180, 50)
    high = next(s for s in plan.sections if s.frequency_hz == 10_000)
    assert high.level_db == pytest.approx(0.3 + _by_hand(35e-6, None) - _by_hand(50e-6, 3180e-6))
    assert plan.over_bias_db == 3.0
    assert plan.zero_dbfs == pytest.approx(4.0 - 18.0)  # +4 dBu, the lowest of both inputs
    told = row.plan["stock"]["electrical"]
    assert [(c["side"], c["channel"], c["on"], c["uncertainty_db"]) for c in told["channels"]] == [
        ("in", 1, "2026-01-02", 0.1), ("in", 2, "2026-01-02", 0.1), ("out", 2, "2026-01-02", 0.1),
    ]  # fmt: skip
    said = [remark for remark in plan.remarks if "calibrated" in remark]
    assert said == ["output 1 is not calibrated: what it sends is not known in dBu"]
    assert client.get("/api/book/tapes/t1").json()["thing"]["uses"] == 1


def test_a_working_copy_becomes_a_tape_with_corrections_of_its_own(
    client: TestClient, book: Book
) -> None:
    studio(client)
    asked = {"command": "begin", "kind": "working copy", **ALL}
    status, answer = post(client, "/commands", id="c0", **asked)
    assert (status, "copy_name" in answer["error"]) == (400, True)
    status, answer = post(client, "/commands", id="c1", copy_name="Copy A", **asked)
    assert status == 200, answer
    (row,) = book.lineups()
    section = {"number": 0, "frequency_hz": 1000.0, "level_db": 0.0, "seconds": 8.0,
               "start_s": 0.0, "correction_db": 0.25, "track_db": [0.1, -0.1],
               "uncertainty_db": 0.05}  # fmt: skip
    facts = {"sections": [section, {**section, "number": 1, "frequency_hz": 10_000.0}],
             "again_db": 0.04}  # fmt: skip
    (made,) = things_made(row, "working copy", facts, "2026-02-03T04:05:06.000Z")
    book.write(Page(lineup=row.id, things=[made]))
    post(client, "/commands", id="c2", command="stop", reason="made")
    tape = next(t for t in client.get("/api/book/tapes").json()["things"] if t["id"] != "t1")
    known = tape["facts"]
    assert (known["name"], known["working_copy_of"], known["made_on"]) == ("Copy A", "t1", "d1")
    assert (known["width"], known["bought"]) == ("tracks", "2026-02-03")
    # It was recorded in the equalisation of the deck, and reads as it was read there.
    asked = {"command": "begin", **ALL, "tape": tape["id"]}
    status, answer = post(client, "/commands", id="c3", **asked)
    assert status == 200, answer
    row = book.lineups()[0]
    plan = plan_from_state(row.plan["calibration"], row.plan["stock"])
    ratio_db = 20.0 * math.log10(plan.calibration_nwb_per_m / plan.operating_nwb_per_m)
    target_db = plan.calibration_target_db(plan.level_section)
    assert target_db == pytest.approx([ratio_db + 0.35, ratio_db + 0.15])


def _by_hand(t2_s: float, t1_s: float | None) -> float:
    """Flux at 10 kHz re 1 kHz, IEC 60094-1 clause 15."""

    def flux(hz: float) -> float:
        w = 2 * math.pi * hz
        level = 1 / math.hypot(1, w * t2_s)
        return level if t1_s is None else level * math.hypot(1, 1 / (w * t1_s))

    return 20 * math.log10(flux(10_000) / flux(1000))


def test_no_later_edit_changes_a_line_up(client: TestClient, book: Book) -> None:
    studio(client)
    post(client, "/commands", id="c1", command="begin", **ALL)
    before = book.lineups()[0]
    sheet = contents_of(book, before.id)
    for kind, key, facts in (
        ("decks", "d1", {"name": "Other", "operating_fluxivity_nwb_per_m": 510}),
        ("tapes", "t1", {"name": "Other", "fluxivity_nwb_per_m": 320}),
        ("stocks", "s1", {"name": "Other", "over_bias": []}),
    ):
        assert post(client, f"/book/{kind}/{key}", id=f"e-{key}", facts=facts)[0] == 200
    assert book.lineups()[0] == before
    later = contents_of(book, before.id)
    for name in ("plan", "deck", "stock", "deck_name", "stock_name", "tape_name", "uncertainty"):
        assert getattr(later, name) == getattr(sheet, name)
    assert (sheet.deck_name, sheet.stock_name, sheet.tape_name) == ("Room 1", "S", "Two fifty")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"speed_ips": None}, "15 or 7.5; say which"),
        ({"speed_ips": 7.5}, "is for 15 in/s, not 7.5"),
        ({"tape": None}, "tape is missing"),
        ({"batch": None}, "stock is missing"),
        ({"stock": "s2"}, "of another stock"),
    ],
)
def test_what_does_not_fit_together_is_said(
    client: TestClient, changes: dict[str, Any], said: str
) -> None:
    studio(client)
    post(client, "/book/stocks", id="s2", facts={"name": "T"})
    status, answer = post(client, "/commands", id="c1", command="begin", **{**ALL, **changes})
    assert status == 400
    assert said in answer["error"]


def test_a_retired_thing_is_not_lined_up_with(client: TestClient) -> None:
    studio(client)
    post(client, "/book/tapes/t1/retire", id="r1")
    status, answer = post(client, "/commands", id="c1", command="begin", **ALL)
    assert (status, "is retired" in answer["error"]) == (400, True)


def test_a_correction_stands_beside_its_reading(client: TestClient, book: Book) -> None:
    studio(client)
    assert post(client, "/commands", id="c1", command="begin", **ALL)[0] == 200
    lineup = client.get("/api/lineups?deck=d1").json()["lineups"][0]["id"]
    entry = Entry(0, lineup, "2026-01-01T00:00:00.000Z", 1.5, "note", {"text": "x"})
    book.write(Page(lineup=lineup, entries=[entry], readings=[taken(2.9)]))
    (before,) = client.get(f"/api/lineups/{lineup}/readings").json()["readings"]
    assert (before["reading"], before["corrected"]) == (2.9, None)
    path = f"/readings/{before['row']}/correct"
    asked = {"id": "k9", "reading": 2.7, "why": "read aloud wrongly", "who": "me"}
    status, told = post(client, path, **asked)
    assert (status, told) == post(client, path, **asked)
    assert (told["reading"], told["corrected"]["was"]) == (2.7, 2.9)
    assert client.get(f"/api/lineups/{lineup}/readings").json()["readings"] == [told]
    (said,) = [n for n in contents_of(book, lineup).notes if n.startswith("corrected")]
    assert said.startswith("corrected: bias of track 2, taken, was read as 2.90 dB over-bias, is ")
    assert "2.70 dB over-bias (read aloud wrongly, me, 2026-" in said
    assert client.get("/api/lineups/nobody/readings").status_code == 404


# Commands.


def test_out_in_copied_and_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fill(tmp_path / "book.db")

    def run(*words: str) -> Any:
        assert main(["book", *words, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    book, archive, copy = (str(tmp_path / n) for n in ("book.db", "a.zip", "copy.db"))
    told = run("export", archive, "--book", book, "--as", "csv")
    assert told["rows"]["lineups"] == 2
    again = str(tmp_path / "again.db")
    assert run("import", archive, "--book", again)["rows"] == told["rows"]
    assert run("backup", copy, "--book", again)["lineups"] == 2
    assert run("restore", copy, "--book", again, "--overwrite")["lineups"] == 2
    assert run("upgrade", "--book", again)["copy"] is None
    assert main(["book", "export", archive, "--book", book]) == 2
    assert main(["book", "backup", copy, "--book", str(tmp_path / "none.db")]) in (1, 2)
    error = capsys.readouterr().err
    assert error.count("\n") == 2
    assert "is there already" in error
