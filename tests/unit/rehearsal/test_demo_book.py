"""The demo book: the history finds what is planted in it and nothing else, over HTTP."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from fluxbench.base import MisuseError
from fluxbench.book import Book
from fluxbench.rehearsal import write_demo_book
from fluxbench.sheets import contents_of
from fluxbench.web import _history

pytestmark = pytest.mark.timeout(600)  # whoever comes first writes the book


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    path = tmp_path_factory.mktemp("demo") / "demo.book"
    assert write_demo_book(path) > 120
    with pytest.raises(MisuseError, match="there already"):
        write_demo_book(path)
    records = Book(path)
    yield records
    records.close()


@pytest.fixture(scope="module")
def client(book: Book) -> TestClient:
    app = FastAPI()
    app.state.session = SimpleNamespace(book=book)
    app.include_router(_history.router)
    return TestClient(app)


def ask(client: TestClient, path: str, deck: str, **more: Any) -> dict[str, Any]:
    answer = client.get(f"/api/history{path}", params={"deck": deck, **more})
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def suggested(client: TestClient, deck: str) -> list[tuple[str, tuple[str, ...], tuple[int, ...]]]:
    told = ask(client, "/suggestions", deck)["suggestions"]
    assert all(s["evidence"] and s["cautions"] for s in told)
    return sorted((s["what"], tuple(s["trimmers"]), tuple(s["tracks"])) for s in told)


def test_the_planted_wear_drift_dirt_and_relap_are_found_and_nothing_else(
    client: TestClient,
) -> None:
    high = ("reproduce_high",)
    assert suggested(client, "demo-deck-large") == [("renewed", high, ()), ("wear", high, ())]
    assert suggested(client, "demo-deck-small") == [
        ("card", ("reproduce_level",), (5,)), ("dirt", high, ()),
    ]  # fmt: skip
    assert suggested(client, "demo-deck-mixing") == []


def test_what_is_found_has_the_size_of_what_was_planted(client: TestClient) -> None:
    """Spacing loss at the high tone beyond that at the level tone, 54.6 dB x distance / wavelength.

    Wallace, 1951 (from memory): 0.9 um on the day of the relap, of which the last visit before it
    saw 438 of 451 days; 1.2 um of dirt; at 15 ips 10 kHz is 38.1 um long, 1 kHz 381 um.
    """

    def lost_db(away_um: float) -> float:
        return -54.6 * away_um * (1 / 38.1 - 1 / 381.0)

    large = {s["what"]: s for s in ask(client, "/suggestions", "demo-deck-large")["suggestions"]}
    wear, relap = large["wear"], large["renewed"]
    worn_db = lost_db(0.9 * 438 / 451)
    assert abs(wear["amount"] - worn_db) < 3.0 * wear["error"] < 0.2
    assert relap["amount"] == pytest.approx(-worn_db, abs=0.05)
    assert wear["until"] == relap["since"]
    assert "until the reproduce head was found renewed on 2025-04-07" in wear["words"]
    small = {s["what"]: s for s in ask(client, "/suggestions", "demo-deck-small")["suggestions"]}
    assert small["dirt"]["amount"] == pytest.approx(lost_db(1.2), abs=0.05)
    since = ask(client, "/trimmers/reproduce_high", "demo-deck-large")
    assert since["counted_from"] == relap["until"]
    together = since["together"]
    assert together["low_per_year"] < 0.0 < together["high_per_year"] < 0.2, "no wear since"
    outlooks = {t["forecast"]["outlook"] for t in since["tracks"]}
    assert outlooks <= {"stays", "not before"}


def test_evidence_names_the_service_notes(client: TestClient) -> None:
    told = {
        s["what"]: " ".join(s["evidence"])
        for deck in ("demo-deck-large", "demo-deck-small")
        for s in ask(client, "/suggestions", deck)["suggestions"]
    }
    assert "relapped" in told["renewed"]
    assert "cleaned" in told["dirt"]


def test_tapes_and_batches_stand_side_by_side(client: TestClient) -> None:
    """As planted: tape B has 0.12 dB more at the level tone; batch 2 is 0.3 dB more sensitive."""
    tapes = {t["trimmer"]: t["tapes"] for t in ask(client, "/tapes", "demo-deck-large")["trimmers"]}
    second = next(t for t in tapes["reproduce_level"] if t["id"] == "demo-tape-b")
    assert second["name"] == "Calibration tape B"
    assert abs(second["reads"] - 0.12) < 4.0 * second["error"]
    told = ask(client, "/batches", "demo-deck-large")["trimmers"]
    batches = {t["trimmer"]: t["batches"] for t in told}
    first = next(b for b in batches["record_level"] if b["id"] == "demo-batch-1")
    assert abs(first["reads"] + 0.3) < 0.1


def test_a_trimmer_over_time_of_every_track(client: TestClient) -> None:
    told = ask(client, "/trimmers/reproduce_level", "demo-deck-small")
    assert [t["track"] for t in told["tracks"]] == list(range(1, 9))
    card = told["tracks"][4]
    assert card["low_per_year"] < -0.0016 * 365.25 < card["high_per_year"]
    assert card["forecast"]["outlook"] == "expected"
    assert len(card["found"]) == len(told["at"]) == len(card["left"])
    assert ask(client, "", "demo-deck-small")["trimmers"]
    missing = client.get("/api/history/trimmers/none", params={"deck": "demo-deck-small"})
    assert missing.status_code == 404
    few = ask(client, "/trimmers/bias", "demo-deck-small", newest=3)
    assert {t["forecast"]["outlook"] for t in few["tracks"]} == {"cannot tell"}


def test_a_sheet_can_be_told_of_any_line_up(book: Book) -> None:
    contents = contents_of(book, "demo-deck-small-003")
    assert contents.closed
    assert {c.trimmer for c in contents.columns} >= {"reproduce_level", "bias", "record_high"}
