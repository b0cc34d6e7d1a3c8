"""How long each press of a whole service takes at the bench, from the touch to the settled page.

Run: `python tests/benchmarks/bench_page.py BOOK`: a copy of the book is served and written to.
Prints the median, the slowest tenth and every interaction, in milliseconds. The server is left to
make itself ready first, as a workshop's does before anybody presses; that is printed too.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent / "e2e"), str(HERE.parent / "dashboard")]

import bench_book  # noqa: E402  # found once the path is set
import signed_in  # noqa: E402  # after the path to them
from bench_hand import Hand, whole_service  # noqa: E402  # after the path to them
from bench_server import Server  # noqa: E402  # after the path to them
from playwright.sync_api import sync_playwright  # noqa: E402  # after the path to them
from real_browser import FLAGS  # noqa: E402  # after the path to them

from ledger.book import Book  # noqa: E402  # after the path to them


def main() -> None:
    """Serve a copy of a book with the tourer put into it, and walk its service."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        shutil.copytree(sys.argv[1], folder / "book")
        bench_book.put_in(Book.open(folder / "book"))
        server = Server(folder / "book", folder)
        server.start()
        try:
            print(f"the server was ready after {ready(server):.1f} s")
            report(walked(server))
        finally:
            server.kill()


def ready(server: Server) -> float:
    """Wait until a server that came up works no more, and give the seconds that took."""
    assert server.running is not None
    begun, before, count_still = time.monotonic(), -1, 0
    while count_still < 3:
        # user and system time of the process, in ticks (proc(5))
        fields = Path(f"/proc/{server.running.pid}/stat").read_text().rpartition(")")[2].split()
        now = int(fields[11]) + int(fields[12])
        count_still = count_still + 1 if now - before <= 2 else 0
        before = now
        time.sleep(0.5)
    return time.monotonic() - begun


def walked(server: Server) -> Hand:
    """Walk the whole service by touch, at a tablet's size."""
    path = shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        hand = Hand(signed_in.page_of(browser, size=(768, 1024), has_touch=True))
        hand.begin(f"{server.address}/bench?tag={bench_book.TAG}&who=ada")
        whole_service(hand)
        browser.close()
        return hand


def report(hand: Hand) -> None:
    """Print what each interaction took."""
    took = sorted(one.milliseconds for one in hand.did)
    most = took[int(len(took) * 0.9)]
    print(f"{len(took)} interactions, median {took[len(took) // 2]:.0f} ms")
    print(f"90 % within {most:.0f} ms, slowest {took[-1]:.0f} ms")
    for one in hand.did:
        print(f"{one.milliseconds:6.0f} ms  {one.what}")


if __name__ == "__main__":
    main()
