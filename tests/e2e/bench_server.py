"""A server that can be killed and started again at the same address, over a book for the bench."""

from __future__ import annotations

import os
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

from real_browser import _is_up, free_port

from dashboard import launch
from ledger.book import Book


@dataclass
class Server:
    """One server over one book."""

    book: Path
    folder: Path
    port: int = field(default_factory=free_port)
    running: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        with (self.folder / "server.log").open("a") as log:
            self.running = subprocess.Popen(
                launch.command(self.book, self.port, open_browser=False),
                cwd=self.folder,
                env={**os.environ, "LOCKRING_BOOK": str(self.book)},
                stdout=log,
                stderr=log,
            )
        deadline = time.monotonic() + 60
        while not _is_up(self.address):
            assert self.running.poll() is None, (self.folder / "server.log").read_text()
            assert time.monotonic() < deadline, "the server did not come up"
            time.sleep(0.2)

    def kill(self) -> None:
        """End it as a power cut would: nothing is told to it."""
        if self.running is not None:
            self.running.kill()
            self.running.wait(20)
            self.running = None

    def events(self, tag: str) -> list:
        """Give what the book holds of a bike, read afresh."""
        return list(Book.open(self.book).bike_events(tag))
