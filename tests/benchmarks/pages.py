"""Every page of a great book in a real browser: first paint and whole, cold and warm.

`python -m tests.benchmarks.pages FOLDER` times a book that is there. Cold is a server just
started, its book's kept tables made; warm is the same page opened again. The times are those of
the browser on this machine: the framework's own script is in them. Nobody signs in: the book may be
somebody's, and nobody is let in to it here.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from dashboard.launch import HERE
from ledger.book import Book
from tests.benchmarks.measure import Row, table

sys.path.extend(str(Path(__file__).parents[1] / name) for name in ("e2e", "dashboard"))
from real_browser import FLAGS, IS_DRAWN, served
from until import until

OWN = ".stApp :is(h1, h2, .lk-headline)"
"""What a page of ours has and the frame around it has not."""
LONGEST_MS = 600_000
TIMES = 3


def addresses(tag: str) -> dict[str, str]:
    """Give the pages by name; `tag` is of the bike whose own pages are opened."""
    return {
        "home": "/",
        "home, jobs past their time": "/?rows=late",
        "bikes": "/bikes",
        "bikes found": "/bikes?find=ko",
        "one bike": f"/bike?tag={tag}",
        "due": "/due",
        "wear": "/wear",
        "wear of a family": "/wear?family=chain%20elongation",
        "wear of a bike": f"/wear?tag={tag}",
        "chains": "/chains",
        "faults": "/faults",
        "faults of a bike": f"/faults?tag={tag}",
        "time": "/time",
        "earnings": "/earnings",
        "quote": "/quote",
    }


def opened(page: Page, address: str) -> tuple[float, float]:
    """Go to a page; gives the seconds until its own first words stand, and until all of it does."""
    start = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.wait_for_selector(OWN, timeout=LONGEST_MS)
    first = time.perf_counter() - start
    page.wait_for_selector("[data-test-script-state='notRunning']", timeout=LONGEST_MS)
    until(page, IS_DRAWN, seconds=LONGEST_MS / 1000)
    return first, time.perf_counter() - start


def _cold_and_warm(browser: Browser, book: Path, where: str) -> tuple[float, float, float]:
    """Give the seconds to first paint and to the whole, cold, and to the whole, warm."""
    with tempfile.TemporaryDirectory() as folder, served(book, Path(folder), HERE) as address:
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = context.new_page()
        page.goto(f"{address}/_stcore/health")
        first, whole = opened(page, address + where)
        warm = statistics.median(opened(page, address + where)[1] for _ in range(TIMES))
        context.close()
    return first, whole, warm


def _visit(browser: Browser, book: Path, wheres: list[str]) -> None:
    """Open every page once, so that what is kept beside the book is there."""
    with tempfile.TemporaryDirectory() as folder, served(book, Path(folder), HERE) as address:
        page = browser.new_page()
        for where in wheres:
            opened(page, address + where)
        page.close()


def measured(path: Path) -> list[Row]:
    """Give a row a page of a book."""
    pages = addresses(Book.open(path).bikes()[0])
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        _visit(browser, path, list(pages.values()))
        rows = []
        for name, where in pages.items():
            first, whole, warm = _cold_and_warm(browser, path, where)
            rows.append(
                Row(f"page {name}, cold", f"first words {first:.2f} s", f"all of it {whole:.2f} s")
            )
            rows.append(Row(f"page {name}, warm", f"all of it {warm:.2f} s", ""))
            print(f"{name}: {first:.2f} {whole:.2f} {warm:.2f}", file=sys.stderr, flush=True)
        browser.close()
    return rows


def main() -> None:
    """Measure the book named, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("book", type=Path)
    print(table(measured(parser.parse_args().book)))


if __name__ == "__main__":
    main()
