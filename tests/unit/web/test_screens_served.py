"""The files of the screens as a browser gets them."""

import gzip
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.applications import Starlette
from starlette.routing import Mount

from fluxbench.web._screens import Screens


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    (tmp_path / "assets").mkdir()
    (tmp_path / "index.html").write_text("<p>bench</p>" * 100)
    (tmp_path / "assets" / "page-1.js").write_text("let a = 1;" * 100)
    (tmp_path / "assets" / "font-2.woff2").write_bytes(b"woff" * 100)
    return TestClient(Starlette(routes=[Mount("/", Screens(tmp_path))]))


def test_a_script_goes_compressed_and_may_be_kept(client: TestClient) -> None:
    answer = client.get("/assets/page-1.js")
    assert answer.headers["content-encoding"] == "gzip"
    assert int(answer.headers["content-length"]) < 100
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.text == "let a = 1;" * 100


@pytest.mark.parametrize("accepted", ["identity", "br", "gzip;q=0"])
def test_a_client_without_gzip_gets_it_plain(client: TestClient, accepted: str) -> None:
    answer = client.get("/assets/page-1.js", headers={"Accept-Encoding": accepted})
    assert "content-encoding" not in answer.headers
    assert answer.content == b"let a = 1;" * 100


def test_the_page_itself_is_always_asked_for_again(client: TestClient) -> None:
    answer = client.get("/")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.text.startswith("<p>bench")


def test_a_font_is_not_compressed_twice(client: TestClient) -> None:
    answer = client.get("/assets/font-2.woff2")
    assert "content-encoding" not in answer.headers
    assert answer.content == b"woff" * 100


@pytest.mark.parametrize("path", ["/nothing", "/../pyproject.toml", "/assets", "/assets/"])
def test_nothing_else_is_given_out(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_it_can_only_be_read(client: TestClient) -> None:
    assert client.post("/").status_code == 405
    assert client.head("/").status_code == 200


def test_what_is_packed_is_the_file(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("x" * 1000)
    packed = Screens(tmp_path)._files["index.html"].packed
    assert packed is not None
    assert gzip.decompress(packed) == b"x" * 1000
