"""A practice deck that is busy with becoming another one is waited for, not given up."""

import json
import subprocess
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from fluxbench.cli._practice import PracticeProcess

BUSY_S = 3.2
"""Longer than what is waited for other decks, see `HttpControls`."""


class Busy(BaseHTTPRequestHandler):
    """Answers when it comes to it."""

    def do_GET(self) -> None:
        time.sleep(BUSY_S if self.path == "/state" else 0.0)
        content = json.dumps({"told": self.path}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def test_a_busy_deck_answers_in_the_end(tmp_path: Path) -> None:
    server = ThreadingHTTPServer(("127.0.0.1", 0), Busy)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    deck = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    note = {"process": deck.pid, "samples_port": 1, "controls_port": server.server_port,
            "controls": f"http://127.0.0.1:{server.server_port}"}  # fmt: skip
    (tmp_path / "book.db.deck-runs").write_text(json.dumps(note))
    practice = PracticeProcess(tmp_path / "book.db", 2, 15.0, 1)
    try:
        assert practice.at.process == deck.pid, "the deck that runs is found"
        assert practice.hands.state() == {"told": "/state"}
    finally:
        practice.end()
        deck.communicate(timeout=60.0)
        server.shutdown()
        server.server_close()
