"""The documentation names every command and option, its links lead somewhere."""

import re
from pathlib import Path

import pytest

from fluxbench.cli._main import COMMANDS
from manual.options import commands_below
from tests.unit.test_house_style import ROOT, committed_files

PAGES = sorted(file for file in committed_files() if file.suffix == ".md")
MADE_FROM_COMMANDS = ROOT / "docs" / "reference" / "all-options.md"
REFERENCE = sorted(set((ROOT / "docs" / "reference").glob("*.md")) - {MADE_FROM_COMMANDS})


OPTION = re.compile(r"(?<![\w-])--[a-z][\w-]*")


def section_about(path: str) -> str:
    """From the heading that names the command to the next one of its rank; "" if there is none."""
    for page in REFERENCE:
        heading = rf"^(#+) `{re.escape(path)}`"
        if found := re.search(rf"{heading}.*?(?=^\1 |\Z)", page.read_text(), re.M | re.S):
            return found[0]
    return ""


def documented_options(path: str) -> set[str]:
    """Options in the command's section, or in its row and the prose of its group's."""
    if section := section_about(path):
        return set(OPTION.findall(section))
    group, _, name = path.rpartition(" ")
    lines = section_about(group).splitlines()
    rows = [line for line in lines if line.startswith(f"| `{name}")]
    prose = [line for line in lines if not line.startswith(("|", "$"))]
    return set(OPTION.findall("\n".join(rows + prose))) if rows else set()


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_in_the_reference(name: str) -> None:
    """And no option that is not there."""
    missing, unknown = [], []
    for path, command in commands_below(f"fluxbench {name}", COMMANDS[name].load(name)):
        assert section_about(path) or documented_options(path), f"{path} is not in the reference"
        options = {
            option
            for parameter in command.params
            for option in [*parameter.opts, *parameter.secondary_opts]
            if option.startswith("--")
        }
        missing += [f"{path} {option}" for option in options - documented_options(path)]
        unknown += [
            f"{path} {option}"
            for option in documented_options(path) - options - {"--help"}
            if re.search(rf"^\|[^|]*`{option}", section_about(path), re.M)
        ]
    assert (missing, unknown) == ([], [])


def anchors(page: Path) -> set[str]:
    """The names by which the headings of a page can be reached."""
    headings = re.findall(r"^#+ +(.+)$", page.read_text(), re.MULTILINE)
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-") for heading in headings
    }


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?```|`[^`\n]*`", "", page.read_text(), flags=re.DOTALL)
    dead = []
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"https?:|mailto:", target):
            continue
        name, _, anchor = target.partition("#")
        there = page.parent / name if name else page
        if not there.exists() or (anchor and anchor not in anchors(there)):
            dead.append(target)
    assert dead == []


def test_every_page_can_be_reached_from_the_readme() -> None:
    reached: set[Path] = set()
    waiting = [ROOT / "README.md"]
    while waiting:
        page = waiting.pop().resolve()
        if page in reached:
            continue
        reached.add(page)
        for target in re.findall(r"\]\(([^)#\s]+\.md)", page.read_text()):
            if (there := page.parent / target).exists():
                waiting.append(there)
    docs = {page for page in PAGES if ROOT / "docs" in page.parents}
    assert docs - reached == set()
