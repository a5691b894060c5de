"""Exchanges blocks with an interface until it is lost, in a process of its own.

``python exchanging.py NAME``: prints "running" after some blocks, then what ended it and how many
seconds after the last block, the seconds that closing took, and whether PortAudio can be used on.
"""

import sys
import time

import numpy as np

from fluxbench.base import DeviceLostError, LinkError
from fluxbench.links import PortAudioLink


def main() -> None:
    link = PortAudioLink(sys.argv[1])
    send = np.full((1920, link.outputs), 0.25, np.float32)
    for _ in range(20):
        link.exchange(send)
    print("running", flush=True)
    given_up_at = time.monotonic() + 20.0
    last = time.monotonic()
    try:
        while time.monotonic() < given_up_at:
            link.exchange(send)
            last = time.monotonic()
    except DeviceLostError as error:
        print(f"{time.monotonic() - last:.3f} {error}", flush=True)
    start = time.monotonic()
    link.close()
    print(f"{time.monotonic() - start:.3f}", flush=True)
    try:
        PortAudioLink(sys.argv[1])
    except LinkError as error:
        print(error, flush=True)


if __name__ == "__main__":
    main()
