"""The front of a great book's faults: as kept, from its events, and by a plain definition."""

from __future__ import annotations

import json
from pathlib import Path

from tests.benchmarks.measure import Row, in_a_process

TIMES = 5
_FRONT = """
import json, resource, sys, time
import duckdb, numpy, scipy.special
import ledger.kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.cli import faults_forms
from ledger.figures.faults import faults_of
if sys.argv[2] == "from events":
    ledger.kept.FEWEST_EVENTS = 10**12
def front(book):
    found = faults_of(book, asker=OWNER)
    counts, told, jobs = found.counts, found.pareto(), found.newest_jobs(15)
    return [counts.count_put_right, counts.count_come_back, found.unpaid.minutes, found.front]
def timed(work):
    wall, cpu = time.perf_counter(), time.process_time()
    answer = work()
    return answer, time.perf_counter() - wall, time.process_time() - cpu
books = []
def opened():
    books.append(Book.open(sys.argv[1]))
    return front(books[0])
answer, *cold = timed(opened)
again, *warm = timed(lambda: front(books[0]))
assert answer == again
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps([answer, cold, warm, peak]))
"""
_PLAIN = """
import json, sys, time
import duckdb
duckdb.execute("set enable_progress_bar = false")
start = time.perf_counter()
asked = '''
with struck as (
    select target_id from read_parquet($files, union_by_name = true) where kind = 'event_struck'
)
select count(distinct (bike, fault_position, fault)), count(*)
from read_parquet($files, union_by_name = true)
where fault is not null and bike is not null and id not in (select target_id from struck)
'''
files = sys.argv[1] + "/events/*.parquet"
print(json.dumps([duckdb.execute(asked, {"files": files}).fetchone(), time.perf_counter() - start]))
"""


def _median(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def measured(path: Path) -> list[Row]:
    """Give the front of a book's faults, as kept and from its events."""
    in_a_process(_FRONT, str(path), "as kept")
    runs = [json.loads(in_a_process(_FRONT, str(path), "as kept")) for _ in range(TIMES)]
    direct = json.loads(in_a_process(_FRONT, str(path), "from events"))
    assert all(run[0] == direct[0] for run in runs), "kept and direct answers differ"
    _, plain = json.loads(in_a_process(_PLAIN, str(path)))
    rows = []
    for place, name in ((1, "cold: a new process, opening the book"), (2, "warm")):
        wall, cpu = (_median([run[place][at] for run in runs]) for at in (0, 1))
        rows.append(
            Row(
                f"front of the faults, {name} (peak {runs[0][3]:.0f} MB)",
                f"{wall:.2f} s, CPU {cpu:.2f} s",
                f"from the events: {direct[place][0]:.2f} s; a bare count of marks: {plain:.2f} s",
                f"{wall / direct[place][0]:.2f}×",
            )
        )
    return rows
