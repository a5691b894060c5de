"""The practice deck that still runs is found again, also by a bench on a busy machine."""

import json
import os
import socket
import threading
import time
from pathlib import Path

from fluxbench.cli._practice import PracticeProcess

SLOW_S = 2.2


def test_a_deck_that_is_slow_to_answer_is_not_doubled(tmp_path: Path) -> None:
    note = tmp_path / "book.db.deck-runs"
    with socket.create_server(("127.0.0.1", 0)) as deck:
        port = deck.getsockname()[1]

        def answer() -> None:
            asks, _ = deck.accept()
            with asks:
                asks.recv(1000)
                time.sleep(SLOW_S)
                asks.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}")

        slow = threading.Thread(target=answer)
        slow.start()
        running = {"process": os.getpid(), "samples_port": 1, "controls_port": port,
                   "controls": f"http://127.0.0.1:{port}"}  # fmt: skip
        note.write_text(json.dumps(running))
        process = object.__new__(PracticeProcess)
        process._note = note
        found = process._found()
        slow.join()
    assert found is not None
    assert found.process == os.getpid()
