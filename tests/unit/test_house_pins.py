"""The pins: plain, complete, and what the package asks for."""

import re
import tomllib
from importlib.metadata import requires, version
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]


def pins(name: str) -> dict[str, str]:
    lines = (ROOT / "requirements" / name).read_text().splitlines()
    return {canonicalize_name(line.partition("==")[0]): line.partition("==")[2] for line in lines}


RUN = pins("run.txt")
TEST = RUN | pins("test.txt")


@pytest.mark.parametrize("name", ["run.txt", "test.txt"])
def test_pins_are_names_and_versions_alone(name: str) -> None:
    lines = (ROOT / "requirements" / name).read_text().splitlines()
    assert all(re.fullmatch(r"[A-Za-z][\w.-]*==\d[\w.]*", line) for line in lines)
    names = [line.partition("==")[0].lower() for line in lines]
    assert names == sorted(names)


def asked_for(name: str) -> list[Requirement]:
    """What a package needs here, without its extras."""
    found = [Requirement(line) for line in requires(name) or []]
    return [need for need in found if not need.marker or need.marker.evaluate({"extra": ""})]


@pytest.mark.parametrize("pinned", [RUN, TEST], ids=["run", "test"])
def test_nothing_that_a_pinned_package_needs_is_left_open(pinned: dict[str, str]) -> None:
    missing = {
        f"{name} needs {need}"
        for name in pinned
        for need in asked_for(name)
        if canonicalize_name(need.name) not in pinned
        or not need.specifier.contains(pinned[canonicalize_name(need.name)])
    }
    assert missing == set()


def test_what_the_package_asks_for_is_pinned() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    extras = project["project"]["optional-dependencies"]
    needed = [
        *project["build-system"]["requires"],
        *project["project"]["dependencies"],
        *extras["jack"],
    ]
    for wanted, pinned in ((needed, RUN), (chain(*extras.values()), TEST)):
        for need in map(Requirement, wanted):
            assert need.specifier.contains(pinned[canonicalize_name(need.name)]), need


def test_the_pinned_versions_are_installed() -> None:
    assert {name: version(name) for name in TEST} == TEST
