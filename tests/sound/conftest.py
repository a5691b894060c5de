"""Real sound servers for the tests marked `sound`: jackd with its dummy driver."""

from collections.abc import Iterator

import pytest

from tests.sound.server import SoundServer


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "sound: needs jackd and PortAudio")


@pytest.fixture(scope="module")
def server() -> Iterator[SoundServer]:
    """A running sound server, which PortAudio in this process finds as well."""
    started = SoundServer()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("JACK_DEFAULT_SERVER", started.name)
        yield started
    started.stop()


@pytest.fixture
def own_server() -> Iterator[SoundServer]:
    """A sound server that a test may kill."""
    started = SoundServer()
    yield started
    started.stop()
