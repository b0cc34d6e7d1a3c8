"""What each page of the dashboard asks of a book, without its drawing and its browser.

Cold is a new process, imports apart: the book opened and every question of the page answered, what
is kept beside the book being there. Warm is the same questions again in that process, with nothing
remembered of the answers themselves, once in each of five processes. The first time of all, when
nothing is kept yet, is told too.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.benchmarks.alone import TIMES, alone, median, percentile, seconds, tell, timed
from tests.benchmarks.measure import Row, peak_mb

MOST_EVENTS_DIRECT = 2_000_000
"""Above, an answer with nothing kept is not waited for: it is compared in a smaller book."""


def questions() -> dict[str, Callable[[Any, str], Any]]:
    """Give the pages by name, each with what asks all its questions of a book and a bike's tag."""
    from ledger.asking import OWNER
    from ledger.figures import home_bench, home_decisions, home_month
    from ledger.figures.ahead import BookTables
    from ledger.figures.chain_keep import book_chains
    from ledger.figures.due import due_list
    from ledger.figures.fault_bike import bike_faults
    from ledger.figures.faults import faults_of
    from ledger.figures.foresee import foresee
    from ledger.figures.home_bikes import bikes_like
    from ledger.figures.labour import labour_of
    from ledger.figures.margin import margin_of
    from ledger.figures.wear import wear_of
    from ledger.queries import bike_view, timeline

    def due(book: Any, days: int) -> Any:
        found = due_list(book, within_days=days)
        assert len(found.calls[:25].made()) <= 25, "what the page shows first"
        return found

    def home(book: Any, tag: str) -> Any:
        jobs = home_bench.bench_today(book, asker=OWNER), home_bench.count_open(book)
        month = home_month.month_of(book, home_month.month_span(book), asker=OWNER)
        waiting = home_decisions.decisions(book, asker=OWNER)
        last = bikes_like(book, "", 6)
        return len(book.bikes()), jobs[1], month, len(waiting), last, due(book, 7).count_calls

    def one(book: Any, tag: str) -> Any:
        assert tag in book.bikes()
        entries = timeline(book, tag, asker=OWNER)
        return len(entries), bike_view(book, tag).fitted, bike_faults(book, tag, asker=OWNER).bike

    def faults(book: Any, tag: str) -> Any:
        found = faults_of(book, asker=OWNER)
        return found.counts, found.pareto(), found.newest_jobs(15), found.unpaid, found.front

    def time(book: Any, tag: str) -> Any:
        found = labour_of(book, asker=OWNER)
        rows = [found.by(by) for by in ("tier", "task", "month", "kind")]
        return found.total, rows, found.found_later, found.front

    def earnings(book: Any, tag: str) -> Any:
        found = margin_of(book, asker=OWNER)
        # How long what is held still was held moves with the clock; what it is does not.
        held = [(row.waiting_for, row.count_holds, row.count_now) for row in found.held.rows]
        return found.total, found.tiers, found.months, found.break_even, held, found.front

    def chains(book: Any, tag: str) -> Any:
        found = book_chains(book, BookTables(book)).report
        return found.shop, found.curves, found.riders[:12], found.gears[:10]

    return {
        "home": home,
        "bikes": lambda book, tag: (bikes_like(book), bikes_like(book, "ko")),
        "one bike": one,
        "due": lambda book, tag: due(book, 14).count_calls,
        "wear": lambda book, tag: sum(len(one.family.series) for one in wear_of(book).fit.families),
        "chains": chains,
        "faults": faults,
        "time": time,
        "earnings": earnings,
        "quote": lambda book, tag: foresee(book, tier="full_service", asker=OWNER).front,
    }


def main() -> None:
    """Ask a page's questions, and tell how long they took and what they came to."""
    how, page, path, tag, count = sys.argv[1:]
    import duckdb
    import numpy
    import scipy.special

    import ledger.kept
    from ledger.book import Book

    assert all((duckdb, numpy, scipy.special)), "imported before anything is timed"
    if how == "from events":
        ledger.kept.FEWEST_EVENTS = 1 << 62
    ask, books = questions()[page], []

    def opened() -> Any:
        books.append(Book.open(path))
        return ask(books[0], tag)

    answer, cold = timed(opened)
    taken = [timed(lambda: ask(books[0], tag))[1] for _ in range(int(count))]
    tell(
        said=sha256(repr(answer).encode()).hexdigest(),
        cold=cold.wall,
        cold_cpu=cold.cpu,
        wall=[one.wall for one in taken],
        cpu=[one.cpu for one in taken],
        peak=peak_mb(),
    )


def measure(path: Path, folder: Path) -> list[Row]:
    """Give a row a page; what is kept beside the book is made by a first visit, which is told."""
    from ledger.book import Book

    book = Book.open(path)
    size, tag = book.head.size, book.bikes()[0]
    rows = []
    for page in questions():
        first = alone("page_queries", "as kept", page, path, tag, 0)
        runs = [alone("page_queries", "as kept", page, path, tag, 1) for _ in range(TIMES)]
        said = {one["said"] for one in runs}
        if size <= MOST_EVENTS_DIRECT:
            said.add(alone("page_queries", "from events", page, path, tag, 0)["said"])
        assert len(said) == 1, f"{page}: what is kept and the events answer differently"
        cold, cpu = ([one[key] for one in runs] for key in ("cold", "cold_cpu"))
        warm = [each for one in runs for each in one["wall"]]
        rows += [
            Row(
                f"page {page}, its queries, cold",
                seconds(median(cold)),
                f"CPU {seconds(median(cpu))}, nothing kept before: {seconds(first['cold'])} "
                f"(peak {first['peak']:,.0f} MB)",
            ),
            Row(
                f"page {page}, its queries, warm",
                seconds(median(warm)),
                f"p95 {seconds(percentile(warm, 0.95))}, peak {runs[0]['peak']:,.0f} MB",
            ),
        ]
    return rows


if __name__ == "__main__":
    main()
