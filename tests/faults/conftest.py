"""The shim is compiled once a worker; limits by the wall's clock allow for a busy machine."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.benches.lateness import Lateness
from tests.faults.shim import build


@pytest.fixture(scope="session")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("shim"))


@pytest.fixture
def lateness() -> Iterator[Lateness]:
    """How late this machine is during a test."""
    with Lateness() as measured:
        yield measured
