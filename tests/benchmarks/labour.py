"""What a great book's Time and Earnings pages show: as kept, from its events, plainly summed."""

from __future__ import annotations

import json
from pathlib import Path

from tests.benchmarks.measure import Row, in_a_process

TIMES = 5
PAGES = ("Time", "Earnings")
_PAGES = """
import json, resource, sys, time
from datetime import timedelta
import duckdb, numpy, scipy.special
import ledger.kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.cli import labour, margin
from ledger.figures.labour import labour_of
from ledger.figures.margin import margin_of
from ledger.figures.period import year_before
if sys.argv[2] == "from events":
    ledger.kept.FEWEST_EVENTS = 10**12
def year(book):
    at = book.head.recorded_at + timedelta(days=1)
    last = book.settings.local(at).date()
    return year_before(last), last, at
def of_time(book):
    found = labour_of(book, *year(book), asker=OWNER)
    rows = [found.by(by) for by in ("tier", "task", "month", "kind")]
    return [repr(one) for one in (found.total, rows, found.found_later, found.front)]
def of_earnings(book):
    found = margin_of(book, *year(book), asker=OWNER)
    more = [found.months, found.not_carried, found.break_even, found.capacity, found.held,
            found.dearer]
    nets = [found.total.net_labour_minor, found.total.net_minor]
    return [*nets, *(repr(one) for one in (found.tiers, *more, found.front))]
def timed(work):
    wall, cpu = time.perf_counter(), time.process_time()
    answer = work()
    return answer, time.perf_counter() - wall, time.process_time() - cpu
page = {"Time": of_time, "Earnings": of_earnings}[sys.argv[3]]
books = []
def opened():
    books.append(Book.open(sys.argv[1]))
    return page(books[0])
answer, *cold = timed(opened)
again, *warm = timed(lambda: page(books[0]))
assert answer == again
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps([answer, cold, warm, peak]))
"""
_PLAIN = """
import json, sys, time
from datetime import datetime, time as at, timedelta
import duckdb
from ledger.book import Book
from ledger.figures.period import year_before
book = Book.open(sys.argv[1])
as_at = book.head.recorded_at + timedelta(days=1)
zone, last = book.settings.zone, book.settings.local(as_at).date()
since, until = (datetime.combine(day, at(), zone)
                for day in (year_before(last), last + timedelta(days=1)))
files = [str(path) for path in book.files()]
duckdb.execute("set enable_progress_bar = false")
asked = '''
with struck as (
    select target_id from read_parquet($files, union_by_name = true) where kind = 'event_struck'
), told as (
    select bike, job, kind, occurred_at, lines
    from read_parquet($files, union_by_name = true)
    where kind in ('job_opened', 'job_closed') and job is not null
        and occurred_at <= $as_at and id not in (select target_id from struck)
), jobs as (
    select bike, job from told group by bike, job
    having bool_or(kind = 'job_opened')
        and max(occurred_at) filter (where kind = 'job_closed') >= $since
        and max(occurred_at) filter (where kind = 'job_closed') < $until
), lines as (
    select unnest(lines) as line from told
    where kind = 'job_closed' and (bike, job) in (select (bike, job) from jobs)
)
select sum(line.net) filter (where line.line_type = 'labour'), sum(line.net) from lines
'''
start = time.perf_counter()
given = {"files": files, "as_at": as_at, "since": since, "until": until}
found = duckdb.execute(asked, given).fetchone()
print(json.dumps([[int(one) for one in found], time.perf_counter() - start]))
"""


def _median(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def measured(path: Path) -> list[Row]:
    """Give the pages of a book's time and earnings, as kept and from its events."""
    plain, seconds = json.loads(in_a_process(_PLAIN, str(path)))
    return [row for page in PAGES for row in _page(path, page, plain, seconds)]


def _page(path: Path, page: str, plain: list[int], plain_seconds: float) -> list[Row]:
    """Give the rows of one page; the sums of what was charged must be the plain ones."""
    direct = json.loads(in_a_process(_PAGES, str(path), "from events", page))
    in_a_process(_PAGES, str(path), "as kept", page)
    runs = [json.loads(in_a_process(_PAGES, str(path), "as kept", page)) for _ in range(TIMES)]
    assert all(run[0] == direct[0] for run in runs), "kept and direct answers differ"
    assert page != "Earnings" or direct[0][:2] == plain, "what was charged is not its lines' sum"
    rows = []
    for place, name in ((1, "cold: a new process, opening the book"), (2, "warm")):
        wall, cpu = (_median([run[place][at] for run in runs]) for at in (0, 1))
        beside = f"from the events: {direct[place][0]:.2f} s"
        if page == "Earnings":
            beside += f"; a plain sum of what was charged: {plain_seconds:.2f} s"
        rows.append(
            Row(
                f"figures of {page}, {name} (peak {runs[0][3]:.0f} MB)",
                f"{wall:.2f} s, CPU {cpu:.2f} s",
                beside,
                f"{wall / direct[place][0]:.2f}×",
            )
        )
    return rows
