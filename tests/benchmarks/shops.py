"""How long several shops' books take to answer: `python -m tests.benchmarks.shops FOLDER`.

FOLDER holds books, as `python -m tests.benchmarks.books FOLDER --shops 100 --events 1000000` writes
them. Each question is asked in a new process: once as it is found (what is kept is made then, if it
is not there), then five times. Printed are medians of wall and processor seconds, and the most
memory of one. The answers of the five are held equal to the first.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

REPEATS = 5


@dataclass(frozen=True, slots=True)
class Run:
    """One question in a process of its own."""

    wall_s: float
    cpu_s: float
    out: bytes


def ask(arguments: Sequence[str]) -> Run:
    """Run one command; raises CalledProcessError where it fails."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", "from ledger.cli import main; main()", *arguments],
        capture_output=True,
        check=True,
    )
    wall = time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(wall, cpu, done.stdout)


def questions(folder: Path, tag: str, as_at: str) -> dict[str, list[str]]:
    """Give what is asked; `tag` is a bike as `SHOP/TAG`."""
    book = ["--book", str(folder), "--json"]
    return {
        "shops": ["shops", *book],
        "one bike": ["state", tag, "--as-at", as_at, *book],
        "a batch, now": ["fitted-where", "--batch", "B2026-04", "--as-at", "2030-01-01", *book],
        "a batch, then": ["fitted-where", "--batch", "B2025-04", "--as-at", as_at, *book],
        "tiers side by side": ["compare", "--by", "tier", *book],
    }


def main() -> None:
    """Measure and print."""
    folder = Path(sys.argv[1])
    from ledger.shops import open_shops

    shops = open_shops([folder])
    shop, book = next(iter(shops.books.items()))
    tag = f"{shop}/{book.bikes()[0]}"
    count = sum(one.head.size for one in shops.books.values())
    print(f"{len(shops.books)} books, {count:,} events, {os.cpu_count()} cores, "
          f"load {os.getloadavg()[0]:.1f}")  # fmt: skip
    for name, arguments in questions(folder, tag, "2025-06-01").items():
        first = ask(arguments)
        runs = [ask(arguments) for _ in range(REPEATS)]
        assert all(run.out == first.out for run in runs), name
        wall = statistics.median(run.wall_s for run in runs)
        cpu = statistics.median(run.cpu_s for run in runs)
        print(f"{name} (answered in {len(first.out):,} bytes): first {first.wall_s:.2f} s "
              f"({first.cpu_s:.2f} s of work), then {wall:.2f} s ({cpu:.2f} s of work)",
              flush=True)  # fmt: skip
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"most memory of one process: {most:,.0f} MB")


if __name__ == "__main__":
    main()
