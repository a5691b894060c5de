"""A sound-server client that gives back what it gets, each channel its own; a process of its own.

``python loopback.py NAME CHANNELS``; prints "ready" and runs until it is terminated.
"""

import signal
import sys
import threading

import jack


def main() -> None:
    name, channels = sys.argv[1], int(sys.argv[2])
    client = jack.Client(name, use_exact_name=True, no_start_server=True)
    inputs = [client.inports.register(f"in_{channel + 1}") for channel in range(channels)]
    outputs = [client.outports.register(f"out_{channel + 1}") for channel in range(channels)]

    def process(frames: int) -> None:
        for source, sink in zip(inputs, outputs, strict=True):
            sink.get_buffer()[:] = source.get_buffer()

    client.set_process_callback(process)
    done = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: done.set())
    client.activate()
    print("ready", flush=True)
    done.wait()
    client.deactivate()
    client.close()


if __name__ == "__main__":
    main()
