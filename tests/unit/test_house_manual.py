"""The manual: it builds without a warning, reads alike everywhere, and tells what the code has."""

import re
import shutil
from collections import Counter
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from manual.calls import calls, sockets
from manual.made import DOCS, PARTS, parts_of
from manual.site import HERE, NotWholeError, build
from tests.unit.test_house_style import committed_files

SOURCES = sorted(
    file for file in committed_files() if file.suffix == ".md" and DOCS in file.parents
)
MADE = [(page, name) for page in SOURCES for name in parts_of(page.read_text())]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("manual"))


def test_the_site_has_every_page_and_needs_nothing_from_elsewhere(site: Path) -> None:
    for source in SOURCES:
        name = "index" if source.name == "README.md" else source.stem
        page = site / source.parent.relative_to(DOCS) / f"{name}.html"
        fetched = re.findall(r'(?:src|rel="stylesheet" href)="([^"]+)"', page.read_text())
        assert fetched
        for target in fetched:
            assert (page.parent / target).is_file(), f"{page} asks for {target}"


@pytest.mark.parametrize("page", SOURCES, ids=lambda page: page.relative_to(DOCS).as_posix())
def test_a_page_reads_the_same_where_it_is_kept_and_on_the_site(site: Path, page: Path) -> None:
    """Two kinds of Markdown: CommonMark, as its hosts read it, and that of the generator."""
    here = MarkdownIt("commonmark").enable("table").render(page.read_text())
    name = "index" if page.name == "README.md" else page.stem
    there = (site / page.parent.relative_to(DOCS) / f"{name}.html").read_text()
    there = there.partition('<main id="text">')[2].partition("<footer>")[0]
    shapes = [
        Counter(re.findall(r"<(h[1-6]|li|tr|pre|blockquote|img)\b", text)) for text in (here, there)
    ]
    assert shapes[0] == shapes[1]


@pytest.mark.parametrize(
    ("text", "amiss"),
    [
        ("[a](b.md)", "b.md"),
        ("[a](README.md#b)", "#b"),
        ("![a](b.png)", "b.png"),
        (None, "other.md"),
    ],
    ids=["dead link", "dead anchor", "no picture", "outside the navigation"],
)
def test_what_is_amiss_ends_the_building(tmp_path: Path, text: str | None, amiss: str) -> None:
    shutil.copytree(HERE / "theme", tmp_path / "theme")
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs" / "README.md").write_text(f"# Start\n\n{text or ''}\n")
    if text is None:
        (tmp_path / "docs" / "other.md").write_text("# Other\n")
    settings = (HERE / "properdocs.yml").read_text().replace("../docs", "docs")
    (tmp_path / "properdocs.yml").write_text(settings.partition("nav:\n  -")[0])
    with (tmp_path / "properdocs.yml").open("a") as file:
        file.write("nav:\n  - Start: README.md\n")
    with pytest.raises(NotWholeError, match=re.escape(amiss)):
        build(tmp_path / "site", tmp_path / "properdocs.yml")


def test_every_part_that_can_be_made_stands_in_one_page() -> None:
    assert sorted(name for _, name in MADE) == sorted(PARTS)


@pytest.mark.parametrize(("page", "name"), MADE, ids=lambda value: getattr(value, "stem", value))
def test_what_is_made_from_the_code_is_what_the_code_gives(page: Path, name: str) -> None:
    """`python -m manual.made` writes it anew."""
    assert parts_of(page.read_text())[name] == PARTS[name]().strip()


def test_the_pages_by_hand_and_the_made_ones_have_every_call_and_socket() -> None:
    made = (DOCS / "reference" / "all-calls.md").read_text()
    for method, path, _ in calls():
        assert f"`{method} {path}`" in made
    by_hand = (DOCS / "reference" / "http-api.md").read_text()
    for row in sockets():
        path = row.partition("`")[2].partition("`")[0]
        assert path in by_hand
    assert len(list(calls())) > 50
