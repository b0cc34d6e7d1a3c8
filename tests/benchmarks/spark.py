"""Where Spark starts to pay: `python -m tests.benchmarks.spark SMALL_BOOK LARGE_BOOK`.

Each engine reads every bike's state and all wear of both books, each in a new process. From the
processor seconds of the two follow its fixed cost and its cost a million events; from those, by
arithmetic, the size from which so many cores of a cluster are faster than this machine alone.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

from ledger.book import Book
from ledger.engines.duckdb import DuckEngine
from ledger.engines.spark import SparkEngine, spark_session
from ledger.engines.tables import position_effects
from ledger.engines.views import RELATIONS
from ledger.queries import asked_of

ASKED = (*RELATIONS, "wear_marks")
CORES_HERE = 2
CLUSTERS = (8, 16, 32, 64)


def _cpu_seconds(pid: int | None = None) -> float:
    """Give the processor seconds of this process, or of another that still runs."""
    if pid is None:
        used = resource.getrusage(resource.RUSAGE_SELF)
        return used.ru_utime + used.ru_stime
    told = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def once(engine: str, path: str) -> dict[str, float]:
    """Ask everything of one book in this process; give its events and its seconds."""
    book = Book.open(path)
    asked = asked_of(book, None, None)
    tables = {"position_effects": position_effects(book.vocabulary)}
    began, before = time.perf_counter(), _cpu_seconds()
    java = 0.0
    if engine == "spark":
        session = spark_session(f"local[{CORES_HERE}]", spark_ui_enabled="false")
        asks = SparkEngine(session, book.files)
    else:
        asks = DuckEngine(book.files)
    rows = sum(len(asks.asking(relation, asked, tables)()) for relation in ASKED)
    seconds = time.perf_counter() - began
    if engine == "spark":
        # The driver's Java process, in which the tasks of local[2] run too.
        java = _cpu_seconds(session.sparkContext._gateway.proc.pid)
    cpu = _cpu_seconds() - before + java
    return {"events": asked.known_seq, "rows": rows, "seconds": seconds, "cpu_seconds": cpu}


def _apart(engine: str, path: str) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.spark", path, "--engine", engine],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def line_of(small: dict[str, float], large: dict[str, float]) -> tuple[float, float]:
    """Give the fixed processor seconds, and those a million events, from two sizes."""
    slope = (large["cpu_seconds"] - small["cpu_seconds"]) / (large["events"] - small["events"])
    return max(small["cpu_seconds"] - slope * small["events"], 0.0), slope * 1e6


def break_even(duck: tuple[float, float], spark: tuple[float, float], cores: int) -> float | None:
    """Give from how many million events so many cores of a cluster beat DuckDB here; None: never.

    What is fixed runs on the driver's cores, as many as here; the rest is shared out evenly.
    """
    saved = duck[1] / CORES_HERE - spark[1] / cores
    return (spark[0] - duck[0]) / CORES_HERE / saved if saved > 0 else None


def main() -> None:
    """Print what was measured, and what follows."""
    options = argparse.ArgumentParser()
    options.add_argument("books", nargs="+")
    options.add_argument("--engine")
    given = options.parse_args()
    if given.engine:
        print(json.dumps(once(given.engine, given.books[0])))
        return
    lines = {}
    for engine in ("duckdb", "spark"):
        small, large = (_apart(engine, path) for path in given.books)
        lines[engine] = line_of(small, large)
        print(engine, "measured:", small, large)
        print(engine, "fixed and a million events, processor seconds:", lines[engine])
    for cores in CLUSTERS:
        print(cores, "cores pay from (million events):", break_even(*lines.values(), cores))


if __name__ == "__main__":
    main()
