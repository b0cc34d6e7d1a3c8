"""Print the comparison table: `python -m tests.benchmarks --scale small`.

Every figure stands beside what it is compared with, measured in the same run on the same disk.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import tempfile
from pathlib import Path

from tests.benchmarks import commits, faults, imports, labour, pages, proofs, states, wear
from tests.benchmarks.measure import Row, table

SCALES = {
    "tiny": {"events": 20_000, "rows": 2_000, "parts": 5_000},
    "small": {"events": 1_000_000, "rows": 100_000, "parts": 100_000},
}


def measure(folder: Path, events: int, rows: int, parts: int) -> list[Row]:
    """Give every row of the table, measured in a folder that is thrown away afterwards."""
    return [
        *commits.measure(folder / "commits"),
        *imports.measure(folder / "imports", rows),
        *states.measure(folder / "states", events),
        *faults.measure(folder / "faults", max(events, 200_000)),
        *labour.measure(folder / "labour", max(events, 200_000)),
        *wear.measure(folder / "wear", parts, min(events, 66_000)),
        *proofs.measure(folder / "proofs", events),
        *pages.measure(folder / "pages", events),
    ]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", choices=SCALES, default="small")
    parser.add_argument("--folder", type=Path, default=None, help="where to write (a real disk)")
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="lockring-bench-", dir=asked.folder or Path.cwd()))
    try:
        rows = measure(folder, **SCALES[asked.scale])
    finally:
        shutil.rmtree(folder)
    cores = os.cpu_count()
    print(f"\n{cores} cores, Python {platform.python_version()}, scale {asked.scale}\n")
    print(table(rows))


if __name__ == "__main__":
    main()
