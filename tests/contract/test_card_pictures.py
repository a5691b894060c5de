"""The contract of card pictures: in, out as what they are, and with the book wherever it goes."""

from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from fluxbench.book import Book, export, import_archive
from tests.benches.made_pictures import as_text, hostile_pictures, made_picture
from tests.unit.book.kept import DECK, told

HOSTILE = hostile_pictures()
MARK = {"trimmer": "bias", "track": 3, "speed_ips": 15, "x": 0.25, "y": 0.5}


def post(client: TestClient, path: str, **body: Any) -> tuple[int, Any]:
    answer = client.post(f"/api/book/{path}", json=body)
    return answer.status_code, answer.json()


def test_a_card_with_its_picture_and_marks(client: TestClient, tmp_path: Path) -> None:
    """Kept, listed without what is large, shown as a file, exported and imported."""
    data = made_picture("png", 220, 200, compress_level=0)  # about the largest that there may be
    assert 150_000 < len(data) <= 184_320
    assert post(client, "decks", id="d1", facts=DECK)[0] == 200
    facts = {"name": "Card 3", "image": as_text(data)}
    first = post(client, "pictures", id="p1", facts=facts)
    assert first == post(client, "pictures", id="p1", facts=facts)
    assert first[0] == 200
    other = {**facts, "image": as_text(made_picture())}
    assert post(client, "pictures", id="p1", facts=other)[0] == 409
    card = {"name": "Bias card", "deck": "d1", "picture": "p1", "marks": [MARK]}
    assert post(client, "cards", id="c1", facts=card)[0] == 200
    moved = post(client, "cards/c1", id="e1", facts={"marks": [{**MARK, "x": 0.3, "track": None}]})
    assert moved[1]["facts"]["marks"] == [{**MARK, "x": 0.3, "track": None}]

    (listed,) = client.get("/api/book/pictures").json()["things"]
    assert listed["facts"] == {"name": "Card 3"}
    assert client.get("/api/book/pictures/p1").json()["thing"]["facts"] == facts
    shown = client.get("/api/book/pictures/p1/image")
    assert (shown.headers["content-type"], shown.content) == ("image/png", data)
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in shown.headers["content-security-policy"]
    again = {"if-none-match": shown.headers["etag"]}
    assert client.get("/api/book/pictures/p1/image", headers=again).status_code == 304
    assert client.get("/api/book/pictures/p9/image").status_code == 404

    place = tmp_path / "book.db"
    for rows in ("json", "csv"):
        export(place, tmp_path / f"{rows}.zip", rows, overwrite=False)
        import_archive(tmp_path / f"{rows}.zip", tmp_path / f"{rows}.db")
        assert told(tmp_path / f"{rows}.db", "things") == told(place, "things")
        book = Book(tmp_path / f"{rows}.db")
        assert book.things("pictures")[0].facts["image"] == as_text(data)
        book.close()
    # The picture stands in the book once: what makes a call the same is its hash.
    assert sum(as_text(data) in str(row) for row in told(place, "commands")) == 0


def test_no_hostile_picture_comes_in(client: TestClient) -> None:
    for what, (text, said) in HOSTILE.items():
        status, answer = post(client, "pictures", id="p", facts={"name": what, "image": text})
        assert (status, "\n" in answer["error"]) == (400, False)
        assert said in answer["error"]
    long = as_text(bytes(190_000))
    assert post(client, "pictures", id="p", facts={"name": "n", "image": long})[0] == 400
    longer = as_text(bytes(200_000))
    assert post(client, "pictures", id="p", facts={"name": "n", "image": longer})[0] == 413
    assert client.get("/api/book/pictures").json()["things"] == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"deck": "d9"}, "deck: the book has no deck 'd9'"),
        ({"picture": "p9"}, "picture: the book has no picture 'p9'"),
        ({"marks": [MARK, {**MARK, "x": 0.9}]}, "marks: one trimmer stands there twice"),
        ({"marks": [{**MARK, "x": 1.01}]}, "marks.0.x: "),
        ({"marks": [{**MARK, "y": -0.01}]}, "marks.0.y: "),
        ({"marks": [{**MARK, "track": 0}]}, "marks.0.track: "),
        ({"marks": [{**MARK, "colour": "red"}]}, "marks.0.colour: "),
        ({"marks": [{k: v for k, v in MARK.items() if k != "y"}]}, "marks.0.y: "),
    ],
)
def test_marks_that_cannot_be_are_refused(client: TestClient, change: Any, said: str) -> None:
    post(client, "decks", id="d1", facts=DECK)
    post(client, "pictures", id="p1", facts={"name": "P", "image": as_text(made_picture())})
    card = {"name": "C", "deck": "d1", "picture": "p1", "marks": [MARK], **change}
    status, answer = post(client, "cards", id="c1", facts=card)
    assert status == 400
    assert answer["error"].startswith(said)
