"""What the engine costs over a real sound server: 24 + 24 channels at 96 kHz, start-up apart.

Starts a sound server of its own without a card and a client that gives back what it gets, sends a
tone on all tracks, measures it on all, and for the last part keeps the return for the pictures.
Prints one JSON line: processor time as a part of one core, by the system's account of this process
(all its threads, PortAudio's included), and the blocks that were flagged.
Run: ``python -m benchmarks.engine_over_jack [--seconds 60] [--tracks 24] [--priority 10]``
"""

import argparse
import json
import os
import resource
import time

from fluxbench.engine import Engine
from fluxbench.links import PortAudioLink
from fluxbench.signals import Tone
from tests.sound.server import RATE_HZ, SoundServer

SETTLE_S = 2.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--tracks", type=int, default=24)
    parser.add_argument("--priority", type=int, default=0, help="real-time priority, 0: none")
    asked = parser.parse_args()
    server = SoundServer()
    try:
        os.environ |= server.environment
        server.loopback("deck", asked.tracks)
        print(json.dumps(measured(asked.tracks, asked.seconds, asked.priority)))
    finally:
        server.stop()


def measured(tracks: int, seconds: float, priority: int) -> dict[str, object]:
    """The engine's part of a core and what was flagged, over `seconds` after it has settled."""
    if priority:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(priority))
    link = PortAudioLink("deck", host_api="jack", inputs=tracks, outputs=tracks)
    engine = Engine(link, tracks)
    engine.listen((10_000.0,))
    engine.send(Tone(10_000.0, -20.0))
    _run(engine, SETTLE_S)
    before, began_s = _processor_s(), time.monotonic()
    hops, lost = _run(engine, seconds)
    processor_s, wall_s = _processor_s() - before, time.monotonic() - began_s
    engine.close()
    return {
        "tracks": tracks,
        "rate_hz": RATE_HZ,
        "seconds": round(wall_s, 2),
        "part_of_a_core": round(processor_s / wall_s, 4),
        "hops": hops,
        "hops_flagged": lost,
    }


def _run(engine: Engine, seconds: float) -> tuple[int, int]:
    hops = lost = 0
    end_s = engine.time_s + seconds
    while engine.time_s < end_s:
        for hop in engine.step():
            hops += 1
            lost += hop.lost
    return hops, lost


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
