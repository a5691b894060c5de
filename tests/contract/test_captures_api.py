"""Captures over HTTP: added by a path, measured apart from the bench, kept in the book."""

import json
import time
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from starlette.testclient import TestClient

from fluxbench.captures.catalogue import Declared
from fluxbench.deck import PracticeDeck
from fluxbench.session import Session
from fluxbench.web import _measuring, build_app
from tests.captures.made import tone, written

OWN = "http://127.0.0.1:7355"
RATE_HZ = 16_000
LEVELS_DBFS = (-18.0, -18.8)
DELAY_US = 20.0
PATIENCE_S = 240.0
SCHEMA = Path(__file__).parents[2] / "src/fluxbench/captures/catalogue/catalogue.schema.json"


@pytest.fixture
def transfer(tmp_path: Path) -> Path:
    """Two tones on two tracks: their levels, their delay and their frequencies are known."""
    silence = np.zeros((RATE_HZ // 2, 2))
    tones = [
        tone(3.0, RATE_HZ, hz, LEVELS_DBFS, delays_us=(0.0, DELAY_US)) for hz in (1000.0, 5000.0)
    ]
    path = tmp_path / "transfers" / "reel 12.wav"
    path.parent.mkdir()
    return written(path, np.concatenate([silence, tones[0], silence, tones[1], silence]), RATE_HZ)


def until(client: TestClient, wanted: Any) -> dict[str, Any]:
    end_s = time.monotonic() + PATIENCE_S
    while True:
        told = dict(client.get("/api/captures").json())
        if wanted(told):
            return told
        assert time.monotonic() < end_s, told
        time.sleep(0.05)


def add(client: TestClient, path: object, key: str = "c-1", **more: Any) -> Any:
    return client.post("/api/captures", json={"id": key, "path": str(path), **more})


def test_a_capture_is_measured_and_stays_in_the_book(
    client: TestClient, session: Session, transfer: Path
) -> None:
    reel = {"name": "Twelve", "speed_ips": 15.0, "format": "1/4-inch 2-track US"}
    client.post("/api/book/reels", json={"id": "reel-12", "facts": reel})
    added = add(client, f'"{transfer}"', reel="reel-12", level_dbfs=-18.0, played="IEC1")
    assert added.status_code == 200, added.text
    assert add(client, transfer, reel="reel-12").status_code == 200  # sent again: once
    until(client, lambda told: not told["jobs"])

    listed = client.get("/api/captures").json()["captures"]
    assert [one["facts"]["name"] for one in listed] == ["reel 12.wav"]
    assert "measured" not in listed[0]["facts"]
    assert client.get("/api/book/captures").json()["things"] == listed
    assert client.get("/api/book/captures/c-1").json()["thing"]["facts"]["measured"]
    facts = client.get("/api/captures/c-1").json()["facts"]
    assert (facts["path"], facts["channels"], facts["rate_hz"]) == (str(transfer), 2, RATE_HZ)
    assert facts["verdict"] == "repair"  # 0.8 dB apart
    found = facts["measured"]
    jsonschema.validate(found, json.loads(SCHEMA.read_text()))
    assert (found["reel"], found["declared"]["speed_ips"]) == ("Twelve", 15.0)
    tones = [one for one in found["measured"]["sections"] if one["kind"] == "tone"]
    assert [round(one["frequency_hz"]) for one in tones] == [1000, 5000]
    for one in tones:
        for row, level_dbfs in zip(one["tracks"], LEVELS_DBFS, strict=True):
            assert row["level_dbfs"] == pytest.approx(level_dbfs, abs=0.01)
            assert row["level_dbfs_uncertainty"] is not None
    assert found["measured"]["azimuth"]["delay_us"][1] == pytest.approx(DELAY_US, abs=0.2)
    assert [fault["kind"] for fault in found["faults"]][:2] == ["balance", "delay"]
    versions = session.book.versions("captures", "c-1")
    assert [one.why for one in versions] == [None, "measured"]

    refused = add(client, transfer, "c-2")
    assert refused.status_code == 409
    assert "measure that again" in refused.json()["error"]
    assert client.post("/api/captures/c-1/measure", json={"id": "m"}).json()["state"] == "waits"
    until(client, lambda told: not told["jobs"])
    assert len(session.book.versions("captures", "c-1")) == 3


def test_what_is_no_capture_is_one_line_and_not_in_the_book(
    client: TestClient, tmp_path: Path
) -> None:
    (tmp_path / "letter.wav").write_text("Dear studio")
    (tmp_path / "letter.wav").chmod(0o600)
    for path, line in (
        ("reel.wav", "give the whole path"),
        ("", "at least 1 character"),
        (tmp_path / "nobody.wav", "cannot be read: No such file"),
        (tmp_path, "is a folder"),
        ("/dev/zero", "is no file"),
        (tmp_path / "letter.wav", "is no capture"),
        (f"{tmp_path}/a\0b.wav", "give the whole path"),
    ):
        refused = add(client, path)
        assert refused.status_code == 400
        error = refused.json()["error"]
        assert line in error
        assert "\n" not in error
        assert "Dear" not in error
    assert add(client, "/x.wav", speed_ips=14.0).status_code == 400
    assert client.get("/api/captures").json() == {"captures": [], "jobs": []}
    assert client.get("/api/captures/none").status_code == 404


def test_a_damaged_file_is_set_aside_with_its_reason(client: TestClient, tmp_path: Path) -> None:
    (tmp_path / "bad.wav").write_bytes(b"RIFF" + bytes(range(200)))
    assert add(client, tmp_path / "bad.wav").status_code == 200
    told = until(client, lambda told: not told["jobs"])
    facts = told["captures"][0]["facts"]
    assert facts["verdict"] == "set aside"
    assert facts["remedy"]
    assert "\n" not in facts["remedy"]
    assert client.get("/api/captures/c-1").json()["facts"]["measured"] is None


class Slow:
    """Measures until it is told to stop; notes whether it is held."""

    made: list["Slow"]

    def __init__(self, _path: str, _reel: str, _declared: Declared) -> None:
        self.share, self.held, self.ended = 0.25, False, False
        Slow.made.append(self)

    def hold(self, held: bool) -> None:
        self.held = held

    def result(self, _wait_s: float) -> None:
        time.sleep(0.01)

    def end(self) -> None:
        self.ended = True


def test_nothing_is_measured_while_a_line_up_runs(
    session: Session, transfer: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Slow.made = []
    monkeypatch.setattr(_measuring, "_POLL_S", 0.02)
    monkeypatch.setattr("fluxbench.web._app.Measuring", lambda of: _measuring.Measuring(of, Slow))
    deck = PracticeDeck(tracks=2, rate_hz=8000)
    plan = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    plan = json.loads(json.dumps(plan))
    with TestClient(build_app(session, Path("nowhere")), base_url=OWN) as client:
        add(client, transfer)
        told = until(client, lambda told: told["jobs"] and told["jobs"][0]["state"] == "measures")
        begin = {"id": "b", "command": "begin", "plan": plan}
        assert client.post("/api/commands", json=begin).status_code == 200
        told = until(client, lambda told: told["jobs"][0]["state"] == "held")
        assert told["jobs"][0]["share"] == 0.25
        assert Slow.made[0].held
        assert client.post("/api/captures/c-1/stop", json={"id": "s"}).status_code == 200
        until(client, lambda _: Slow.made[0].ended)

        again = client.post("/api/captures/c-1/measure", json={"id": "m"})
        assert again.json()["state"] == "waits"
        time.sleep(0.2)
        assert client.get("/api/captures").json()["jobs"][0]["state"] == "waits"
        assert len(Slow.made) == 1
        assert (
            client.post(
                "/api/commands", json={"id": "x", "command": "stop", "reason": "enough"}
            ).status_code
            == 200
        )
        until(client, lambda told: told["jobs"][0]["state"] == "measures")
        assert len(Slow.made) == 2
    assert Slow.made[1].ended  # with the bench
