"""Print the comparison table: `python -m tests.benchmarks --scale small`.

Every figure stands beside what it is compared with, measured in the same run on the same disk.
With `--scales small,10m` the great book's rows of several scales stand side by side.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import tempfile
from pathlib import Path

from tests.benchmarks import commits, faults, great, imports, labour, pages, proofs, states, wear
from tests.benchmarks.growth import side_by_side
from tests.benchmarks.measure import Row, table

EVENTS = {"tiny": 20_000, "small": 1_000_000, "10m": 10_000_000, "100m": 100_000_000}
"""In the great book."""
SMALLER = {
    "tiny": {"rows": 2_000, "parts": 5_000, "events": 20_000},
    "small": {"rows": 100_000, "parts": 100_000, "events": 1_000_000},
}
"""What has rows of its own at these scales only: imports, replay, wear, pages in a browser."""
GROUPS = ("commits", "one bike", "every bike", "monthly", "pages", "opening", "proofs", "others")


def _others(folder: Path, book: Path, rows: int, parts: int, events: int) -> list[Row]:
    """Give the rows that no greater scale has."""
    demo = folder / "demo"
    great.write_book(demo, 1)
    return [
        *imports.measure(folder / "imports", rows),
        *states.measure(folder / "states", events),
        *faults.measured(book),
        *labour.measured(book),
        *wear.measure(folder / "wear", parts, min(events, 66_000)),
        proofs.files(book),
        proofs.rules(demo),
        *pages.measured(book),
    ]


def measure(
    folder: Path,
    scale: str,
    book_at: Path | None,
    only: frozenset[str],
    without: frozenset[str],
) -> tuple[list[Row], list[str]]:
    """Give every row of a scale, and what was left out, a sentence each.

    Measured in a folder that is thrown away afterwards, beside the book that is there already.
    """
    rows = [] if only and "commits" not in only else commits.measure(folder / "commits")
    made = great.great_book(folder / "great", EVENTS[scale], book_at, without)
    if isinstance(made, str):
        return rows, [f"Left out at scale {scale}: {made}"]
    rows += great.measure(made, only)
    if scale in SMALLER and (not only or "others" in only):
        rows += _others(folder, made.book, **SMALLER[scale])
    return rows, [f"Left out at scale {scale}: {one}" for one in made.left_out]


def _books(given: list[str], scales: list[str]) -> dict[str, Path]:
    """Give the books that are there by scale: `SCALE=FOLDER`, or a folder for the one scale."""
    named = (one.split("=", 1) if "=" in one else (scales[0], one) for one in given)
    books = {scale: Path(folder) for scale, folder in named}
    for scale, folder in books.items():
        if scale not in scales or not (folder / "book.toml").exists():
            raise SystemExit(f"--book-at: {folder} is no book of one of the scales measured")
    return books


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", choices=EVENTS, default="small")
    parser.add_argument("--scales", default=None, help="several, side by side: small,10m")
    parser.add_argument("--only", default="", help=f"some groups of rows: {', '.join(GROUPS)}")
    parser.add_argument("--without", default="", help="peers left out: sqlite, eventsourcing")
    parser.add_argument("--folder", type=Path, default=None, help="where to write (a real disk)")
    parser.add_argument(
        *("--book-at",), action="append", default=[], help="a book that is there: [SCALE=]FOLDER"
    )
    asked = parser.parse_args()
    scales = asked.scales.split(",") if asked.scales else [asked.scale]
    only, without = (
        frozenset(filter(None, some.split(","))) for some in (asked.only, asked.without)
    )
    if unknown := [*(set(scales) - EVENTS.keys()), *(only - set(GROUPS))]:
        parser.error(f"{', '.join(unknown)}: no such scale or group of rows")
    books, found, left_out = _books(asked.book_at, scales), {}, []
    for scale in scales:
        folder = Path(tempfile.mkdtemp(prefix="lockring-bench-", dir=asked.folder or Path.cwd()))
        try:
            found[scale], missed = measure(folder, scale, books.get(scale), only, without)
        finally:
            shutil.rmtree(folder)
        left_out += missed
    print(f"\n{_machine()}, Python {platform.python_version()}, scale {', '.join(scales)}\n")
    print(side_by_side(found) if len(scales) > 1 else table(found[scales[0]]))
    print("".join(f"\n{one}" for one in left_out))


def _machine() -> str:
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return f"{os.cpu_count()} cores, {memory:.0f} GB of memory, load {os.getloadavg()[0]:.1f}"


if __name__ == "__main__":
    main()
