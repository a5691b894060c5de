"""The shim is compiled once a worker."""

from pathlib import Path

import pytest

from tests.faults.shim import build


@pytest.fixture(scope="session")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("shim"))
