"""The kinds of things that the book knows."""

import pytest

from fluxbench.book import KINDS, schema_of


@pytest.mark.parametrize("name", KINDS)
def test_what_a_kind_belongs_to_is_one_of_its_facts(name: str) -> None:
    assert KINDS[name].belongs.keys() <= schema_of(name)["properties"].keys()
