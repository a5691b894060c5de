"""Interfaces from the bench: checked, calibrated, kept, and never beside a line-up."""

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from fluxbench.deck import PracticeDeck
from fluxbench.session import Session, Trials
from fluxbench.web import build_app
from tests.benches.made_interface import (
    DELAY,
    DESK,
    DRIFT_PPM,
    GAINS_DB,
    OUT_DBU,
    listed,
    opened,
)

OWN = "http://127.0.0.1:7355"
WAIT_S = 240.0
"""For a machine that is busy with other things."""
WHICH = {"name": DESK.name, "host_api": DESK.host_api, "agreed": True}


@pytest.fixture
def client(session: Session) -> Iterator[TestClient]:
    app = build_app(session, Path("nowhere"), trials=Trials(session, listed, opened))
    with TestClient(app, base_url=OWN) as made:
        engine(made, "running")
        yield made


def post(client: TestClient, path: str, **body: Any) -> tuple[int, Any]:
    answer = client.post(f"/api/{path}", json=body)
    return answer.status_code, answer.json()


def refused(client: TestClient, path: str, **body: Any) -> str:
    """The one line of a refusal."""
    status, told = post(client, path, **body)
    assert status in (400, 409), told
    assert "\n" not in told["error"]
    return str(told["error"])


def engine(client: TestClient, wanted: str) -> None:
    until(lambda: client.get("/api/state").json()["bench"]["engine"] == wanted)


def until(is_so: Any) -> None:
    end_s = time.monotonic() + WAIT_S
    while not is_so():
        assert time.monotonic() < end_s
        time.sleep(0.02)


def trial(client: TestClient) -> dict[str, Any]:
    return dict(client.get("/api/interfaces/trial").json()["trial"])


def over(client: TestClient) -> dict[str, Any]:
    until(lambda: not trial(client)["running"])
    return trial(client)


def begin(client: TestClient, key: str) -> dict[str, Any]:
    deck = PracticeDeck(tracks=2, rate_hz=8000)
    shown = {"calibration": deck.load("calibration"), "stock": deck.load("stock")}
    return {"id": key, "command": "begin", "plan": json.loads(json.dumps(shown))}


def desk(client: TestClient) -> dict[str, Any]:
    return dict(client.get("/api/interfaces").json()["interfaces"][0])


def calibrated(client: TestClient) -> dict[tuple[str, int], float]:
    return {(c["side"], c["channel"]): c["full_scale_dbu"] for c in desk(client)["channels"]}


def test_nothing_is_checked_beside_a_line_up_nor_lined_up_beside_a_check(
    client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert client.get("/api/interfaces/trial").json() == {"trial": None}
    assert "caution" in refused(client, "interfaces/check", **{**WHICH, "agreed": False})
    assert "no interface 'desc'" in refused(client, "interfaces/check", **{**WHICH, "name": "desc"})
    assert post(client, "commands", **begin(client, "b1"))[0] == 200
    assert "a line-up runs" in refused(client, "interfaces/check", **WHICH)
    assert "a line-up runs" in refused(client, "interfaces/calibrate", **WHICH)
    assert client.get("/api/state").json()["bench"]["engine"] == "running"
    assert post(client, "commands", id="s1", command="stop", reason="enough")[0] == 200

    held = tmp_path / "held"
    held.touch()
    monkeypatch.setenv("FLUXBENCH_TEST_HELD", f"{held}")  # until all that follows was refused
    assert post(client, "interfaces/check", **WHICH, seconds=1.0)[0] == 200
    assert "desk is being checked" in refused(client, "commands", **begin(client, "b2"))
    assert "being tried" in refused(client, "interfaces/calibrate", **WHICH)
    held.unlink()
    ended = over(client)
    assert client.get("/api/state").json()["bench"]["engine"] != "resting"  # the next may begin
    assert ended["line"] is None
    found = ended["found"]
    assert found["faults"] == []
    assert found["round_trip_frames"] == DELAY
    assert [cable["gain_db"] for cable in found["cables"]] == pytest.approx(GAINS_DB, abs=0.003)
    assert "no input is cabled to a calibrated output" in refused(client, "interfaces/keep", id="k")
    engine(client, "running")
    assert post(client, "commands", **begin(client, "b3"))[0] == 200


def test_outputs_by_a_meter_inputs_by_typing_or_by_cables_and_all_is_kept(
    client: TestClient,
) -> None:
    assert "begin one" in refused(client, "interfaces/tone", output=1)
    assert post(client, "interfaces/calibrate", **WHICH)[0] == 200
    reading = {"side": "out", "channel": 2, "reads": f"{OUT_DBU[1] - 14.0} dBu"}
    assert "no tone stands on output 2" in refused(client, "interfaces/reading", **reading)
    assert "outputs 1 to 2, not 3" in refused(client, "interfaces/tone", output=3)
    for n in (1, 2):
        assert post(client, "interfaces/tone", output=n)[1]["trial"]["standing"] == n
        reads = f"{0.774597 * 10 ** ((OUT_DBU[n - 1] - 14.0) / 20)} V"  # 0 dBu, from memory
        assert post(client, "interfaces/reading", side="out", channel=n, reads=reads)[0] == 200
    # The tone of output 2 is the source at input 2: 18.3 - 14 dBu arrive there.
    typed = {"side": "in", "channel": 2, "reads": f"{OUT_DBU[1] - 14.0}"}
    until(lambda: post(client, "interfaces/reading", **typed)[0] == 200)
    assert "hears nothing" in refused(client, "interfaces/reading", **{**typed, "channel": 1})
    assert "is no level" in refused(client, "interfaces/reading", **{**typed, "reads": "loud"})
    kept = {"id": "k1", "meter": "M 1", "uncertainty_db": 0.05}
    assert post(client, "interfaces/keep", **kept)[1]["trial"]["kept"] is True
    assert post(client, "interfaces/keep", **kept)[0] == 200
    assert post(client, "interfaces/end")[1]["trial"]["running"] is False
    wanted = {("out", 1): OUT_DBU[0], ("out", 2): OUT_DBU[1], ("in", 2): OUT_DBU[1] - GAINS_DB[1]}
    assert calibrated(client) == pytest.approx(wanted, abs=0.01)

    assert post(client, "interfaces/check", **WHICH, seconds=1.0)[0] == 200
    assert over(client)["line"] is None
    assert post(client, "interfaces/keep", id="k2") == (200, {"trial": trial(client)})
    assert calibrated(client) == pytest.approx(wanted | {("in", 1): 17.6}, abs=0.01)
    assert {c["uncertainty_db"] for c in desk(client)["channels"]} == {0.05}
    (one,) = client.get("/api/book/interfaces").json()["things"]
    assert (one["facts"]["name"], one["facts"]["inputs"]) == ("desk", 2)
    assert len(client.get("/api/book/calibrations").json()["things"]) == 2


def test_clocks_that_drift_apart_are_refused_and_the_silence_key_ends_a_check(
    client: TestClient,
) -> None:
    assert post(client, "interfaces/check", **WHICH, send_to="apart", seconds=1.0)[0] == 200
    ended = over(client)
    assert ended["line"] is None
    found = ended["found"]
    assert found["refused"] is True
    assert found["drift_ppm"] == pytest.approx(DRIFT_PPM, abs=2.0)
    assert any("do not share a clock" in fault for fault in found["faults"])
    engine(client, "running")

    assert post(client, "interfaces/calibrate", **WHICH)[0] == 200
    assert post(client, "commands", id="q1", command="silence", on=True)[0] == 200
    assert over(client)["line"] == "the silence key was pressed; nothing is sent"
    engine(client, "running")
    assert "silence key is pressed" in refused(client, "interfaces/check", **WHICH)
