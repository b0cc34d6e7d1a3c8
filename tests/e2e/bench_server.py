"""A server as `lockring dashboard --sign-in` starts it, that can be killed and started again."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import signed_in

from dashboard import launch
from ledger.book import Book

SIGN_IN = launch.Reach(is_sign_in=True)


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _is_up(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1) as reply:
            return bool(reply.status == 200)
    except (urllib.error.URLError, OSError):
        return False


@dataclass
class Server:
    """One server over one book, from a folder that is not the project's."""

    book: Path
    folder: Path
    reach: launch.Reach = SIGN_IN
    port: int = field(default_factory=free_port)
    running: subprocess.Popen[bytes] | None = None
    tag: str = ""
    """The bike a test writes to, where it has one of its own."""

    @property
    def address(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, and wait until it answers; whoever opens a page of it is signed in first."""
        self.begin()
        self.wait()

    def begin(self) -> None:
        """Start it, and do not wait."""
        if self.reach.is_sign_in:
            signed_in.enter(self.book)
            signed_in.note(self.address)
        with (self.folder / "server.log").open("a") as log:
            self.running = subprocess.Popen(
                launch.command(self.book, self.port, open_browser=False, reach=self.reach),
                cwd=self.folder,
                env={**os.environ, "LOCKRING_BOOK": str(self.book)},
                stdout=log,
                stderr=log,
            )

    def wait(self) -> None:
        """Wait until it answers."""
        deadline = time.monotonic() + 60
        while not _is_up(self.address):
            assert self.running is not None, "the server was not started"
            assert self.running.poll() is None, (self.folder / "server.log").read_text()
            assert time.monotonic() < deadline, "the server did not come up"
            time.sleep(0.05)

    def kill(self) -> None:
        """End it as a power cut would: nothing is told to it."""
        if self.running is not None:
            self.running.kill()
            self.running.wait(20)
            self.running = None

    def stop(self) -> None:
        """End it for good; asked to, it would wait for every page that is still open."""
        self.kill()
        signed_in.forget(self.address)

    def events(self, tag: str) -> list:
        """Give what the book holds of a bike, read afresh."""
        return list(Book.open(self.book).bike_events(tag))
