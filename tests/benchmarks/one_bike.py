"""One bike's state as at a date, each asked in a new process, beside peers on the same events.

What everybody answers of every bike is compared before any time counts.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import UUID

from ledger.storage.envelope import AROUND, whole
from tests.benchmarks.alone import alone, files_of, percentile, seconds, tell, timed
from tests.benchmarks.asked import BikeAsked, bikes_asked, kept_asked, read_asked
from tests.benchmarks.measure import Row

Answer = list[Any]
Ask = Callable[[BikeAsked], Any]
Opened = tuple[Ask, Callable[[Any], Answer]]
"""What asks, and what tells an answer in plain types."""
Ready = Callable[[Path], Opened]
"""Opens what is asked, once everything is imported."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
WHOLE = ("lockring", "sqlite", "eventsourcing_whole")
"""Who folds the whole state: every field of it is compared."""
FOLDS = (*WHOLE, "eventsourcing")
READS = ("duckdb", "polars")
BESIDE = {
    "duckdb": "DuckDB, a bare read_parquet of its rows",
    "polars": "polars, scan_parquet of its rows",
    "sqlite": "indexed SQLite, its rows and the fold in Python",
    "eventsourcing_whole": "`eventsourcing`, its aggregate replayed",
    "eventsourcing": "`eventsourcing`, an aggregate of what is fitted and counts alone",
}


def microseconds(at: datetime) -> int:
    """Give an instant as Parquet has it."""
    return (at - _EPOCH) // timedelta(microseconds=1)


def _of_view(view: Any) -> Answer:
    fitted = sorted([one.position, one.part] for one in view.fitted)
    told = repr(replace(view, shop="", as_known=0))
    return [fitted, view.events_used, sha256(told.encode()).hexdigest()]


def lockring() -> Ready:
    """Ask as the command line does."""
    from ledger.book import Book
    from ledger.queries import bike_view

    def opened(path: Path) -> Opened:
        book = Book.open(path)
        assert book.head.size
        return lambda one: bike_view(book, one.tag, one.as_at), _of_view

    return opened


def sqlite() -> Ready:
    """Read the bike's texts by the index, and fold them in plain Python."""
    from ledger.events.stored import stored_event
    from ledger.state import fold
    from ledger.vocabulary import standard
    from tests.benchmarks.peer_sqlite import opened as connected

    def opened(path: Path) -> Opened:
        connection, words = connected(path), standard()
        asked = "select canonical from events where bike = ? order by occurred_at, seq"

        def ask(one: BikeAsked) -> Any:
            rows = connection.execute(asked, (one.tag,))
            events = [stored_event(json.loads(text)) for (text,) in rows]
            of = {"shop": "", "bike": one.tag, "as_at": one.as_at, "known_seq": 1 << 62}
            return fold(events, **of, vocabulary=words)

        return ask, _of_view

    return opened


def eventsourcing() -> Ready:
    """Replay the aggregate of what is fitted up to the version it had then."""
    from tests.benchmarks.peer_eventsourcing import Bike

    ask = _replayed(Bike.create_id, lambda bike, _: bike)
    return partial(ask, lambda bike: [sorted(map(list, bike.fitted.items())), bike.count])


def eventsourcing_whole() -> Ready:
    """Replay the aggregate of everything up to the version it had then."""
    from ledger.state import view_of
    from tests.benchmarks.peer_eventsourcing import WholeBike

    ask = _replayed(WholeBike.create_id, lambda bike, as_at: view_of(bike.state, as_at, 0))
    return partial(ask, _of_view)


def _replayed(
    id_of: Callable[[str], UUID], made: Callable[[Any, datetime], Any]
) -> Callable[[Callable[[Any], Answer], Path], Opened]:
    """Replay an aggregate up to its version at an instant; the versions are found beforehand."""
    from tests.benchmarks.peer_eventsourcing import opened as kept

    def opened(plain: Callable[[Any], Answer], path: Path) -> Opened:
        bikes = kept(path)
        versions = json.loads(path.with_suffix(".json").read_text("utf-8"))

        def ask(one: BikeAsked) -> Any:
            at = microseconds(one.as_at)
            version = 1 + sum(when <= at for when in versions[one.tag])
            return made(bikes.repository.get(id_of(one.tag), version=version), one.as_at)

        return ask, plain

    return opened


def duckdb() -> Ready:
    """Read the bike's rows, no more."""
    import duckdb as duck

    from ledger.engines.duckdb import COLUMNS

    def opened(path: Path) -> Opened:
        connection = duck.connect()
        connection.execute("set enable_progress_bar = false")
        files = files_of(path)
        columns = ", ".join(f'"{name}"' for name in COLUMNS)
        asked = f"select {columns} from read_parquet($files) where bike = $bike"

        def ask(one: BikeAsked) -> Any:
            return connection.execute(asked, {"files": files, "bike": one.tag}).fetchall()

        return ask, _of_rows

    return opened


def _of_rows(rows: list[tuple[Any, ...]]) -> Answer:
    return [len(rows), max(row[0] for row in rows)]


def polars() -> Ready:
    """Read the bike's rows, no more."""
    import polars as pl

    from ledger.engines.duckdb import COLUMNS

    def opened(path: Path) -> Opened:
        files = files_of(path)
        rows = pl.scan_parquet(files).select(COLUMNS)

        def ask(one: BikeAsked) -> Any:
            return rows.filter(pl.col("bike") == one.tag).collect()

        return ask, lambda found: [len(found), found["seq"].max()]

    return opened


def main() -> None:
    """Ask for every bike, each once, and tell what was answered and how long each took."""
    who, path, asked, most = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
    ready, imported = timed(globals()[who])
    (ask, plain), opening = timed(lambda: ready(path))
    answers, taken = [], []
    for one in read_asked(asked)[:most]:
        answer, time = timed(lambda one=one: ask(one))
        answers.append(plain(answer))
        taken.append(time)
    tell(
        answers=answers,
        wall=[one.wall for one in taken],
        cpu=[one.cpu for one in taken],
        imports=imported.wall,
        opening=opening.wall,
    )


def measure(book: Path, peers: dict[str, Path], folder: Path) -> list[Row]:
    """Give the rows of a book; `peers` are files by name, of those that keep the same bikes.

    A peer that takes too long a bike is asked for fewer of them, which is said.
    """
    asked = bikes_asked(book)
    file = kept_asked(asked, folder / "asked.json")
    told = {}
    for who in (*FOLDS, *READS):
        peer = who.partition("_")[0]
        where = peers.get(peer) if peer in ("sqlite", "eventsourcing") else book
        if where is not None:
            told[who] = alone("one_bike", who, where, file, _most(who, book, len(asked)))
    for group in (WHOLE, READS):
        _compared({who: told[who]["answers"] for who in group if who in told})
    _compared({who: [one[:2] for one in told[who]["answers"]] for who in FOLDS if who in told})
    mine = told["lockring"]
    rows = [
        Row(
            "one bike as at a date, warm page cache, p50",
            _shown(mine, 0.5),
            f"CPU {seconds(percentile(mine['cpu'], 0.5))}, {len(asked)} bikes, "
            f"peak {mine['peak_mb']:,.0f} MB",
        ),
        Row("one bike as at a date, p95", _shown(mine, 0.95), ""),
        Row("one bike: the first question of a process", seconds(mine["wall"][0]), ""),
        Row("one bike: opening the book", seconds(mine["opening"]), ""),
        Row("one bike: imports", seconds(mine["imports"]), ""),
    ]
    return rows + [_beside(who, one, mine) for who, one in told.items() if who in BESIDE]


def _most(who: str, book: Path, count: int) -> int:
    """Give how many bikes are asked for: a bare read opens every file."""
    return min(count, 40) if who in READS and len(files_of(book)) > 300 else count


def _shown(told: dict[str, Any], share: float) -> str:
    return seconds(percentile(told["wall"], share))


def _beside(who: str, told: dict[str, Any], mine: dict[str, Any]) -> Row:
    ours, theirs = (percentile(one["wall"], 0.5) for one in (mine, told))
    beside = (
        f"p95 {_shown(told, 0.95)}, CPU {seconds(percentile(told['cpu'], 0.5))}, "
        f"{len(told['wall'])} bikes, peak {told['peak_mb']:,.0f} MB"
    )
    return Row(f"– {BESIDE[who]}, p50", seconds(theirs), beside, f"{ours / theirs:.2f}×")


def _compared(answers: dict[str, list[Answer]]) -> None:
    """Raise AssertionError where two answer differently of a bike."""
    first, *others = answers.items()
    for who, found in others:
        for place, (one, other) in enumerate(zip(first[1], found, strict=False)):
            assert one == other, f"bike {place}: {first[0]} says {one}, {who} says {other}"


def events_by_bike(book: Path, asked: list[BikeAsked]) -> dict[str, list[dict[str, Any]]]:
    """Give the live events of bikes in the order they occurred, as a peer may keep them."""
    import duckdb as duck

    connection = duck.connect()
    connection.execute("set enable_progress_bar = false")
    rows = connection.sql(
        f"""
        select {", ".join(AROUND)}, position, part, distance_km, canonical,
            epoch_us(occurred_at) as occurred_us
        from read_parquet($files)
        where list_contains($tags, bike) and kind <> 'event_struck' and id not in (
            select target_id from read_parquet($files) where kind = 'event_struck'
        )
        order by bike, occurred_at, seq
        """,
        params={
            "files": files_of(book),
            "tags": [one.tag for one in asked],
        },
    ).to_arrow_table()
    found: dict[str, list[dict[str, Any]]] = {}
    for row in whole(rows).to_pylist():
        found.setdefault(row["bike"], []).append(row)
    return found


def keep_versions(events: dict[str, list[dict[str, Any]]], file: Path) -> None:
    """Write when each event of each bike occurred, in µs: what a version is told from."""
    whens = {tag: [one["occurred_us"] for one in some] for tag, some in events.items()}
    file.with_suffix(".json").write_text(json.dumps(whens), "utf-8")


if __name__ == "__main__":
    main()
