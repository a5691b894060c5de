"""What a stream that has ended still holds: a capture of an hour has hundreds of them."""

import tracemalloc

import numpy as np

from fluxbench.measure import NoiseStream, TonePart, ToneStream

RATE_HZ, TRACKS, SECONDS, STREAMS = 48_000, 4, 2, 3
SOUND = (1e-3 * np.random.default_rng(1).standard_normal((RATE_HZ, TRACKS))).astype(np.float32)
LEAST_BYTES = SOUND.nbytes
"""A second of the samples."""


def held_bytes(measured: list[object]) -> float:
    """Of one, by what the interpreter counts; the first may fill caches."""
    tracemalloc.start()
    try:
        for _ in range(STREAMS):
            measured.append(ended_noise())
            measured.append(ended_tone())
        return tracemalloc.get_traced_memory()[0] / STREAMS
    finally:
        tracemalloc.stop()


def ended_noise() -> NoiseStream:
    stream = NoiseStream(RATE_HZ, TRACKS)
    for _ in range(SECONDS):
        stream.add(SOUND)
    stream.end()
    return stream


def ended_tone() -> TonePart:
    stream = ToneStream(RATE_HZ, TRACKS, 1000.0)
    for _ in range(SECONDS):
        stream.add(SOUND)
    return stream.part()


def test_a_stream_that_has_ended_holds_little() -> None:
    measured: list[object] = [ended_noise(), ended_tone()]
    assert held_bytes(measured) < 0.25 * LEAST_BYTES
