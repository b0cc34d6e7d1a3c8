"""Importing a workshop's log, beside merely reading and parsing the same file."""

from __future__ import annotations

import csv
import random
import time
from datetime import datetime, timedelta
from pathlib import Path

from tests.benchmarks.measure import Row, in_a_process

MAPPING = """
[when]
column = "Date"
[bike]
key = ["Bike"]
[actor]
value = "m1"
[[event]]
kind = "distance_read"
needs = ["Km"]
[event.fields]
odometer = { column = "Km", unit = "km" }
[[event]]
kind = "measured"
needs = ["Chain wear"]
[event.fields]
position = { value = "chain" }
quantity = { value = "elongation" }
value = { column = "Chain wear", unit = "%" }
note = "Note"
"""

_IMPORT = """
import sys, time, resource
from pathlib import Path
from ledger.book import Book
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import read_mapping
folder = Path(sys.argv[1])
book = Book.init(folder / "book", shop="bench")
start = time.perf_counter()
done = import_log(book, folder / "log.csv", read_mapping(folder / "log.toml"))
assert done.count_rejected == 0, done.rejected[:3]
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(time.perf_counter() - start, book.head.size, peak)
"""


def write_log(path: Path, count_rows: int) -> None:
    """Write an invented log: a bike for every ten rows, in order of time."""
    choose = random.Random(5)
    bikes = max(1, count_rows // 10)
    km = [choose.randint(0, 3000) for _ in range(bikes)]
    wear = [choose.uniform(0.0, 0.3) for _ in range(bikes)]
    when = datetime(2021, 1, 4, 8, 0)
    step = timedelta(days=1500) / count_rows
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["Date", "Bike", "Km", "Chain wear", "Note"])
        for row in range(count_rows):
            bike = choose.randrange(bikes)
            km[bike] += choose.randint(20, 400)
            wear[bike] = min(2.5, wear[bike] + choose.uniform(0.0, 0.1))
            moment = f"{when + row * step:%Y-%m-%d %H:%M}"
            out.writerow([moment, f"bike {bike}", km[bike], f"{wear[bike]:.2f}", "wiped down"])


def _bare(path: Path) -> float:
    start = time.perf_counter()
    with path.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            datetime.strptime(row["Date"], "%Y-%m-%d %H:%M")
            float(row["Km"])
            float(row["Chain wear"])
    return time.perf_counter() - start


def measure(folder: Path, count_rows: int) -> list[Row]:
    """Give time, rate and peak memory of one import in a process of its own."""
    folder.mkdir(parents=True)
    write_log(folder / "log.csv", count_rows)
    (folder / "log.toml").write_text(MAPPING, encoding="utf-8")
    taken, events, peak = in_a_process(_IMPORT, str(folder)).split()
    bare = _bare(folder / "log.csv")
    seconds = float(taken)
    return [
        Row(
            f"import of {count_rows:,} rows ({int(events):,} events), peak {float(peak):.0f} MB",
            f"{seconds:.1f} s, {count_rows / seconds:,.0f} rows a second",
            f"csv.DictReader and parsing alone: {bare:.2f} s",
            f"{seconds / bare:.0f}×",
        )
    ]
