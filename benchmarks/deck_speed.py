"""How many times faster than the tape the practice deck runs, on one core.

Run: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python benchmarks/deck_speed.py
Beside it stands a yardstick in the same run, the FFT of one block, so that runs on busy or slow
machines can be compared.
"""

import time
from collections.abc import Callable

import numpy as np
import scipy.fft

from fluxbench.deck import PracticeDeck

BLOCK = 1920
RATE_HZ = 48_000


def best_s(run: Callable[[], object], repeats: int = 5, count: int = 40) -> float:
    """Shortest mean time of a call over a few series."""
    found = []
    for _ in range(repeats):
        begin = time.perf_counter()
        for _ in range(count):
            run()
        found.append((time.perf_counter() - begin) / count)
    return min(found)


def deck_in(state: str, monitor: str, turning: bool) -> tuple[float, str]:
    deck = PracticeDeck(tracks=24)
    silence = np.zeros((BLOCK, 24), np.float32)
    deck.load("stock")
    while deck.state()["winding"]:
        deck.process(silence)
    deck.transport(state=state, ready=list(range(1, 25)), monitor=monitor)
    rng = np.random.default_rng(1)
    send = (0.02 * rng.standard_normal((BLOCK, 24))).astype(np.float32)
    for _ in range(20):
        deck.process(send)
    if turning:
        deck.turn("bias", 100.0, 12)
    name = f"{state}, {monitor}" + (", bias turning" if turning else "")
    return best_s(lambda: deck.process(send)), name


def main() -> None:
    block = np.random.default_rng(1).standard_normal((2048, 24)).astype(np.float32)
    yardstick_s = best_s(lambda: scipy.fft.rfft(block, axis=0))
    print(f"yardstick, rfft of (2048, 24): {1e3 * yardstick_s:.3f} ms")
    for state, monitor, turning in (
        ("record", "reproduce", False),
        ("record", "reproduce", True),
        ("play", "reproduce", False),
        ("stop", "reproduce", False),
    ):
        taken_s, name = deck_in(state, monitor, turning)
        ratio = BLOCK / RATE_HZ / taken_s
        print(f"{name}: {ratio:.0f} x real time, {taken_s / yardstick_s:.0f} yardsticks a block")


if __name__ == "__main__":
    main()
