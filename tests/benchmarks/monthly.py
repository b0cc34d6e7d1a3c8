"""What jobs closed in the last year brought in, by month of closing: the Earnings page's figure.

Each engine is asked in a new process. Compared before it is timed: net and net labour of each of
the months, to the cent. Lockring's rows have wages, margin and hours as well.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from datetime import time as at
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.benchmarks.alone import TIMES, alone, files_of, median, seconds, tell, timed
from tests.benchmarks.measure import Row, peak_mb
from tests.benchmarks.one_bike import microseconds

MOST_AT_ONCE = 20_000_000
"""Of more events only what is kept is asked, beside DuckDB: all others take minutes a question."""
Months = list[tuple[datetime, datetime]]
"""Where each month of the period starts and ends, in UTC."""
Net = list[list[int]]
"""Net labour and net of each month, in the currency's smallest unit."""
Ask = Callable[[], Any]
Plain = Callable[[Any], Net]
BESIDE = {
    "from_events": "Lockring, from the events, nothing kept",
    "sqlite": "indexed SQLite, the same sums",
    "duckdb": "DuckDB, the same sums over the files",
    "polars": "polars, the same sums over the files",
}
_SUMS = """
with jobs as (
    select bike, job, max(case when kind = 'job_closed' then occurred_at end) as closed_at
    from {events}
    where kind in ('job_opened', 'job_closed') and job is not null and {live}
    group by bike, job
    having max(case when kind = 'job_opened' then 1 else 0 end) = 1
), charged as ({charged})
select months.place, sum(case when line_type = 'labour' then net end), sum(net)
from jobs
join months on closed_at >= months.start and closed_at < months.until
join charged on charged.bike = jobs.bike and charged.job = jobs.job
group by months.place order by months.place
"""
_LIVE = "id not in (select target_id from {events} where kind = 'event_struck')"


def months_of(book: Any) -> Months:
    """Give the months of the year up to a day after the last entry, cut to it at both ends."""
    from ledger.figures.period import year_before

    zone, last = book.settings.zone, _last(book)
    since = year_before(last)
    firsts = [since]
    while (following := (firsts[-1].replace(day=1) + timedelta(days=32)).replace(day=1)) <= last:
        firsts.append(following)
    days = (*firsts, last + timedelta(days=1))
    return list(pairwise(datetime.combine(day, at(), zone).astimezone(UTC) for day in days))


def _size(path: Path) -> int:
    from ledger.book import Book

    return Book.open(path).head.size


def _last(book: Any) -> date:
    day: date = book.settings.local(book.head.recorded_at + timedelta(days=1)).date()
    return day


def lockring(path: Path) -> tuple[Ask, Plain]:
    """Ask as the Earnings page does."""
    from ledger.asking import OWNER
    from ledger.book import Book
    from ledger.figures.margin import margin_of
    from ledger.figures.period import year_before

    book = Book.open(path)
    last, as_at = _last(book), book.head.recorded_at + timedelta(days=1)

    def ask() -> Any:
        return margin_of(book, year_before(last), last, as_at, asker=OWNER).months

    return ask, lambda months: [
        [one.earning.net_labour_minor, one.earning.net_minor] for one in months
    ]


def from_events(path: Path) -> tuple[Ask, Plain]:
    """Ask the same with no tables kept."""
    import ledger.kept

    ledger.kept.FEWEST_EVENTS = 1 << 62
    return lockring(path)


def _of_months(path: Path) -> Months:
    from ledger.book import Book

    return months_of(Book.open(path))


def _plain(count: int) -> Plain:
    def plain(rows: Any) -> Net:
        found = {place: [int(labour or 0), int(net)] for place, labour, net in rows}
        return [found.get(place, [0, 0]) for place in range(count)]

    return plain


def sqlite(path: Path, book: Path) -> tuple[Ask, Plain]:
    """Ask over the indexes of jobs and lines."""
    from tests.benchmarks.peer_sqlite import opened

    months, live = _of_months(book), _LIVE.format(events="events")
    rows = [f"({n}, {microseconds(a)}, {microseconds(b)})" for n, (a, b) in enumerate(months)]
    lines = f"select * from lines where seq not in (select seq from events where not {live})"
    struck = "select s.seq from events as s join events as t on t.target_id = s.id"
    lines = f"select * from lines where seq not in ({struck} where t.kind = 'event_struck')"
    asked = _SUMS.format(events="events", live=live, charged=lines).replace(
        "with jobs", f"with months (place, start, until) as (values {', '.join(rows)}), jobs"
    )
    connection = opened(path)
    return lambda: connection.execute(asked).fetchall(), _plain(len(months))


def duckdb(path: Path) -> tuple[Ask, Plain]:
    """Ask over the book's own files."""
    import duckdb as duck

    months, events = _of_months(path), "read_parquet($files)"
    live = _LIVE.format(events=events)
    lines = (
        "select bike, job, line.line_type as line_type, line.net as net from (select bike, job, "
        f"unnest(lines) as line from {events} where kind = 'job_closed' and {live})"
    )
    connection = duck.connect()
    connection.execute("set enable_progress_bar = false")
    connection.execute("create table months (place int, start timestamptz, until timestamptz)")
    connection.executemany(
        "insert into months values (?, ?, ?)", [(n, *ends) for n, ends in enumerate(months)]
    )
    asked = _SUMS.format(events=events, live=live, charged=lines)
    given = {"files": files_of(path)}
    return lambda: connection.execute(asked, given).fetchall(), _plain(len(months))


def polars(path: Path) -> tuple[Ask, Plain]:
    """Ask over the book's own files, in polars' streaming engine."""
    import polars as pl

    months = _of_months(path)
    starts = [start for start, _ in months]
    events = pl.scan_parquet(files_of(path))
    strikes = events.filter(pl.col("kind") == "event_struck").select(id=pl.col("target_id"))
    told = events.filter(
        pl.col("kind").is_in(["job_opened", "job_closed"]), pl.col("job").is_not_null()
    ).join(strikes, on="id", how="anti")
    is_closed, key = pl.col("kind") == "job_closed", ["bike", "job"]
    jobs = (
        told.group_by(key)
        .agg(
            pl.col("occurred_at").filter(is_closed).max().alias("closed_at"),
            (~is_closed).any().alias("is_opened"),
        )
        .filter("is_opened", pl.col("closed_at") >= starts[0], pl.col("closed_at") < months[-1][1])
    )
    places = pl.lit(0)
    for place, start in enumerate(starts):
        places = pl.when(pl.col("closed_at") >= start).then(pl.lit(place)).otherwise(places)
    lines = told.filter(is_closed).select(*key, "lines").explode("lines").unnest("lines")
    labour = pl.col("net").filter(pl.col("line_type") == "labour").sum()
    sums = (
        jobs.with_columns(places.alias("place"))
        .join(lines.select(*key, "line_type", "net"), on=key)
        .group_by("place")
        .agg(labour.alias("labour"), pl.col("net").sum())
    )
    return lambda: sums.collect(engine="streaming").rows(), _plain(len(months))


def main() -> None:
    """Ask as often as is asked for, and tell the sums and how long each took."""
    who, path, book, count = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
    import duckdb as duck
    import scipy.special

    from ledger.figures import margin

    assert all((duck, scipy.special, margin)), "imported before anything is timed"
    given = (path, book) if who == "sqlite" else (path,)
    opened, opening = timed(lambda: globals()[who](*given))
    answer, first = timed(opened[0])
    taken = [timed(opened[0])[1] for _ in range(count)]
    tell(
        net=opened[1](answer),
        cold=opening.wall + first.wall,
        wall=[one.wall for one in taken],
        cpu=[one.cpu for one in taken],
        peak=peak_mb(),
    )


def measure(book: Path, peers: dict[str, Path], folder: Path) -> list[Row]:
    """Give the rows of a book; a peer without a file is left out."""
    made = alone("monthly", "lockring", book, book, 0)
    told: dict[str, dict[str, Any]] = {}
    asked = ("lockring", *BESIDE) if _size(book) <= MOST_AT_ONCE else ("lockring", "duckdb")
    for who in asked:
        where = peers.get(who) if who == "sqlite" else book
        if where is not None:
            told[who] = alone("monthly", who, where, book, TIMES)
    sums = {who: one["net"] for who, one in told.items()}
    assert len({json.dumps(one) for one in sums.values()}) == 1, f"answers differ: {sums}"
    mine = told["lockring"]
    rows = [
        Row(
            "monthly earnings of a year, cold: a new process, opening, imports apart",
            seconds(mine["cold"]),
            f"{len(mine['net'])} months",
        ),
        Row(
            "– the first time, what they are read from being made and kept",
            seconds(made["cold"]),
            f"peak {made['peak']:,.0f} MB",
        ),
    ]
    for who, one in told.items():
        name = f"– {BESIDE[who]}" if who in BESIDE else "monthly earnings of a year, warm"
        beside = f"CPU {seconds(median(one['cpu']))}, peak {one['peak']:,.0f} MB"
        ratio = "" if one is mine else f"{median(mine['wall']) / median(one['wall']):.3f}×"
        rows.append(Row(name, seconds(median(one["wall"])), beside, ratio))
    return rows


if __name__ == "__main__":
    main()
