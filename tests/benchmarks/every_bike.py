"""Every bike's state as at a date, each engine in a new process, beside peers on the same events.

Compared before it is timed: how many live events each bike has, and the part at every position of
every bike. Lockring's state has more (readings, settings, faults, advice, jobs), the peers' has
not. The bare scan decodes the columns that Lockring reads (`ledger.engines.every.COLUMNS`, 31 of
them) of every event, gives the greatest of each, and folds nothing.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.benchmarks.alone import TIMES, Taken, alone, files_of, median, seconds, tell, timed
from tests.benchmarks.asked import BikeAsked
from tests.benchmarks.measure import Row
from tests.benchmarks.one_bike import Opened, microseconds

Fitted = list[tuple[str, str, str]]
"""Bike, position and part."""
Used = list[tuple[str, int]]
"""Bike and its live events."""
Asked = Callable[[], Any]
Plain = Callable[[Any], tuple[Fitted, Used]]
BESIDE = {
    "kept": "Lockring, from what it keeps of a date that was asked before",
    "objects": "Lockring, an object a bike",
    "duckdb": "DuckDB, a bare scan of the same columns",
    "sqlite": "indexed SQLite, what is fitted and counts alone",
    "sqlite_fold": "indexed SQLite, the whole state: its rows and the fold in Python",
    "polars": "polars, what is fitted and counts alone",
    "eventsourcing_whole": "`eventsourcing`, the whole state: each bike's aggregate",
    "eventsourcing": "`eventsourcing`, what is fitted and counts alone",
}
FOLDS = ("lockring", "kept", "objects", "sqlite", "polars")
PEERS = ("sqlite", "sqlite_fold", "eventsourcing", "eventsourcing_whole")
SOME = ("sqlite_fold", "eventsourcing", "eventsourcing_whole")
"""Asked for some bikes, and counted up to all."""
_STRIKE = "event_struck"


MOST_COMPARED = 20_000_000
"""Above, answers are compared in a smaller book, and bikes are counted as they come."""


def columns_read() -> list[str]:
    """Give the hot columns that are read of every event for a bike's state: no others."""
    from ledger.engines.every import COLUMNS

    return list(COLUMNS)


def lockring(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Ask for every relation of every bike's state, as tables, straight from the events."""
    from ledger.book import Book
    from ledger.queries import every_bike

    book = Book.open(path)
    return lambda: list(every_bike(book, as_at)), _of_states


def counted(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Ask as `lockring` does, and hold no more than a range of it at a time."""
    from ledger.book import Book
    from ledger.queries import every_bike

    book = Book.open(path)
    return lambda: sum(len(some["bike_summary"]) for some in every_bike(book, as_at)), _nothing


def kept(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Ask for the same of what was kept when it was asked before."""
    from ledger.book import Book
    from ledger.kept.states import kept_states

    book = Book.open(path)
    return lambda: list(kept_states(book, as_at)), _of_states


def _of_states(states: list[dict[str, Any]]) -> tuple[Fitted, Used]:
    fitted, used = [], []
    for one in states:
        parts = (one["fitted_parts"][name].to_pylist() for name in ("bike", "position", "part"))
        bikes = (one["bike_summary"][name].to_pylist() for name in ("bike", "events_used"))
        fitted += zip(*parts, strict=True)
        used += zip(*bikes, strict=True)
    return fitted, used


def objects(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Make a view of every bike, one at a time."""
    from ledger.book import Book
    from ledger.queries import bike_views

    book = Book.open(path)

    def plain(_: Any) -> tuple[Fitted, Used]:
        views = list(bike_views(book, as_at))
        fitted = [(one.bike, part.position, part.part) for one in views for part in one.fitted]
        return fitted, [(one.bike, one.events_used) for one in views]

    return lambda: sum(1 for _ in bike_views(book, as_at)), plain


def duckdb(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Decode every column that is read, and give the greatest of each."""
    import duckdb as duck

    connection = duck.connect()
    connection.execute("set enable_progress_bar = false")
    files = files_of(path)
    greatest = ", ".join(f"max({name})" for name in columns_read())
    asked = f"select count(*), {greatest} from read_parquet($files)"
    return lambda: connection.execute(asked, {"files": files}).fetchone(), _nothing


def _nothing(_: Any) -> tuple[Fitted, Used]:
    return [], []


def sqlite(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Ask for the last move at every position of every bike, and count events."""
    from tests.benchmarks.peer_sqlite import EVERY, USED, opened

    connection, given = opened(path), {"as_at": microseconds(as_at)}

    def ask() -> tuple[Fitted, Used]:
        fitted, used = (connection.execute(asked, given).fetchall() for asked in (EVERY, USED))
        return fitted, used

    return ask, lambda found: found


def sqlite_fold(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Fold some bikes in plain Python, each from its rows by the index."""
    from tests.benchmarks.one_bike import sqlite as of_one

    return _one_by_one(of_one()(path), path, as_at), _of_views


def polars(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Ask for the same of the same files, in polars' streaming engine."""
    import polars as pl

    files = files_of(path)
    events = pl.scan_parquet(files)
    strikes = events.filter(pl.col("kind") == _STRIKE).select(pl.col("target_id").alias("id"))
    live = events.filter(
        pl.col("bike").is_not_null(), pl.col("kind") != _STRIKE, pl.col("occurred_at") <= as_at
    ).join(strikes, on="id", how="anti")
    moves = live.filter(pl.col("kind").is_in(["part_fitted", "part_removed"]))
    fitted = (
        moves.group_by("bike", "position")
        .agg(pl.col("kind", "part").sort_by("occurred_at", "seq").last())
        .filter(pl.col("kind") == "part_fitted")
        .select("bike", "position", "part")
    )
    used = live.group_by("bike").agg(pl.len())

    def ask() -> tuple[Any, Any]:
        return tuple(pl.collect_all([fitted, used], engine="streaming"))

    return ask, lambda found: (found[0].rows(), found[1].rows())


def eventsourcing(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Replay every aggregate of what is fitted up to its version then."""
    from tests.benchmarks.one_bike import eventsourcing as of_one

    def plain(found: list[Any]) -> tuple[Fitted, Used]:
        fitted = [(one.tag, *pair) for one in found for pair in one.fitted.items()]
        return fitted, [(one.tag, one.count) for one in found if one.count]

    return _one_by_one(of_one()(path), path, as_at), plain


def eventsourcing_whole(path: Path, as_at: datetime) -> tuple[Asked, Plain]:
    """Replay every aggregate of everything up to its version then."""
    from tests.benchmarks.one_bike import eventsourcing_whole as of_one

    return _one_by_one(of_one()(path), path, as_at), _of_views


def _one_by_one(of_one: Opened, kept: Path, as_at: datetime) -> Asked:
    tags = json.loads(kept.with_name("eventsourcing.json").read_text("utf-8"))
    return lambda: [of_one[0](BikeAsked(tag, as_at)) for tag in tags]


def _of_views(found: list[Any]) -> tuple[Fitted, Used]:
    fitted = [(one.bike, part.position, part.part) for one in found for part in one.fitted]
    return fitted, [(one.bike, one.events_used) for one in found if one.events_used]


def digest(fitted: Fitted, used: Used, left_out: set[str]) -> list[Any]:
    """Give how many rows there are, and a hash over them in order; without joined bikes."""
    rows = sorted(tuple(row) for row in fitted if row[0] not in left_out)
    counts = sorted(tuple(row) for row in used if row[0] not in left_out)
    return [len(rows), len(counts), sha256(repr((rows, counts)).encode()).hexdigest()]


def main() -> None:
    """Ask as often as is asked for, and tell how long each took; compared on the first answer."""
    who, path, book, at, count = sys.argv[1:]
    as_at = datetime.fromisoformat(at).astimezone(UTC)
    taken: list[Taken] = []
    (ask, plain), _ = timed(lambda: globals()[who](Path(path), as_at))
    answer, first = timed(ask)
    taken = [timed(ask)[1] for _ in range(int(count))]
    figures = {"wall": [one.wall for one in taken], "cpu": [one.cpu for one in taken]}
    from tests.benchmarks.measure import peak_mb

    peak = peak_mb()
    if who in FOLDS:
        from ledger.book import Book

        joined = {tag for tags in Book.open(book).aliases().values() for tag in tags}
        figures["digest"] = digest(*plain(answer), joined)
    elif who == "counted":
        figures["digest"] = [None, answer]
    elif who in SOME:
        figures["bikes"] = len(answer)
        fitted, used = plain(answer)
        figures["rows"] = [sorted(map(list, fitted)), sorted(map(list, used))]
    tell(**figures, first=first.wall, peak=peak)


def measure(book: Path, peers: dict[str, Path], folder: Path) -> list[Row]:
    """Give the rows of a book; a peer without a file is left out, and in a very great one most."""
    from ledger.book import Book

    first, last = _span(book)
    at = first + (last - first) / 2
    told: dict[str, dict[str, Any]] = {}
    is_compared = Book.open(book).head.size <= MOST_COMPARED
    mine = "lockring" if is_compared else "counted"
    for who in (mine, *(BESIDE if is_compared else ("duckdb",))):
        where = peers.get(who.partition("_")[0]) if who in PEERS else book
        if where is not None:
            told[who] = alone("every_bike", who, where, book, at.isoformat(), TIMES)
    digests = {who: one["digest"] for who, one in told.items() if "digest" in one}
    assert len({json.dumps(one) for one in digests.values()}) == 1, f"answers differ: {digests}"
    ours = told[mine]
    count_bikes = ours["digest"][1]
    assert_some(told)
    rows = [_row("every bike as at a date, as tables", ours, ours, f"{count_bikes:,} bikes, ")]
    for who, one in told.items():
        if who not in BESIDE:
            continue
        name, said = BESIDE[who], ""
        if who in SOME:
            scale = count_bikes / one["bikes"]
            name += f" ({one['bikes']} replayed, times {scale:,.0f})"
            one = {**one, **{key: [t * scale for t in one[key]] for key in ("wall", "cpu")}}
        rows.append(_row(f"– {name}", one, ours, said))
    return rows + _at_the_end(book, last, count_bikes)


def _at_the_end(book: Path, last: datetime, count_bikes: int) -> list[Row]:
    """Give the rows of the newest state of all, when nothing that ever happened is left out."""
    ours, scan = (
        alone("every_bike", who, book, book, last.isoformat(), TIMES)
        for who in ("counted", "duckdb")
    )
    assert ours["digest"][1] >= count_bikes, "fewer bikes at the end than half way"
    name = "every bike as at the end of the book, as tables"
    return [
        _row(name, ours, ours, f"{ours['digest'][1]:,} bikes, "),
        _row(f"– {BESIDE['duckdb']}", scan, ours, ""),
    ]


def assert_some(told: dict[str, dict[str, Any]]) -> None:
    """Hold those that were asked for some bikes to each other."""
    rows = {who: one["rows"] for who, one in told.items() if who in SOME}
    assert len({json.dumps(one) for one in rows.values()}) <= 1, "answers differ for some bikes"


def _row(name: str, told: dict[str, Any], mine: dict[str, Any], said: str) -> Row:
    theirs, ours = median(told["wall"]), median(mine["wall"])
    beside = f"{said}CPU {seconds(median(told['cpu']))}, peak {told['peak']:,.0f} MB"
    return Row(name, seconds(theirs), beside, "" if told is mine else f"{ours / theirs:.2f}×")


def _span(book: Path) -> tuple[datetime, datetime]:
    """Give the first and the last instant of what happened."""
    import duckdb as duck

    ends = "epoch_us(min(occurred_at)), epoch_us(max(occurred_at))"
    asked = f"select {ends} from read_parquet($files)"
    found = duck.execute(asked, {"files": files_of(book)}).fetchone() or (0, 0)
    first, last = (datetime.fromtimestamp(one / 1e6, UTC) for one in found)
    return first, last


if __name__ == "__main__":
    main()
