"""The arrays that give every bike at once against the plain Python oracle, and the relations."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import lives
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shelf
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import ledger.engines.every as engine
from ledger.engines.duckdb import Asked
from ledger.engines.every import COLUMNS, Source, laid, laid_of, starts_of, states_in, states_of
from ledger.engines.every import pieces as reading
from ledger.engines.every.folds import States
from ledger.engines.every.views import views_of
from ledger.engines.tables import position_effects
from ledger.engines.views import RELATIONS
from ledger.events import Event
from ledger.state import fold
from ledger.view import BikeView
from ledger.vocabulary import standard
from tests.long import times

FIRST, SECOND, THIRD = lives.BIKES
JOINED: tuple[dict[str, str], ...] = (
    {},
    {},
    {SECOND: FIRST, FIRST: FIRST},
    {THIRD: FIRST, FIRST: FIRST},
    dict.fromkeys(lives.BIKES, FIRST),
)
LATER = datetime.fromisoformat("2030-01-01T00:00:00+00:00")


def files_of(events: list[Event], chance: random.Random, folder: Path) -> list[str]:
    """Put events into a few files, as commits stand and as compacted segments do."""
    table, paths, start = shelf.columns_of(events), [], 0
    while start < len(table):
        part = table.slice(start, chance.choice((1, 3, 7, len(table))))
        start += len(part)
        if chance.random() < 0.5:
            order = [(name, "ascending") for name in ("bike", "occurred_at", "seq")]
            part = part.sort_by(order)
        paths.append(str(folder / f"{start:05}.parquet"))
        pq.write_table(part, paths[-1], row_group_size=chance.choice((2, 5, 100)))
    return paths


def source_of(paths: list[str], joined: dict[str, str]) -> Source:
    words = standard()
    return Source(
        paths=paths,
        size=sum(pq.read_metadata(path).num_rows for path in paths),
        joined=joined,
        effects=lambda named: position_effects(words, named.difference(words.positions)),
    )


def states(source: Source, asked: Asked) -> Iterator[States]:
    """Give them as `every_state` does: at once, or laid on the disk by ranges."""
    if source.size <= engine.MOST_AT_ONCE:
        yield states_of(source, asked)
        return
    with tempfile.TemporaryDirectory() as folder:
        yield from states_in(laid_of(source, asked, Path(folder)), source.effects)
        assert not list(Path(folder).iterdir())


def views_in(source: Source, asked: Asked) -> list[BikeView]:
    return [
        view
        for some in states(source, asked)
        if some
        for view in views_of(some, lives.SHOP, asked.as_at, asked.known_seq)
    ]


def folded(events: list[Event], joined: dict[str, str], asked: Asked) -> list[BikeView]:
    tags = {tag: joined.get(tag, tag) for tag in lives.bikes_of(events)}
    views = [
        fold(
            [event for event in events if event.bike and tags[event.bike] == bike],
            shop=lives.SHOP,
            bike=bike,
            as_at=asked.as_at,
            known_seq=asked.known_seq,
            vocabulary=standard(),
        )
        for bike in sorted(set(tags.values()))
    ]
    return [view for view in views if view.events_used]


def plain(row: Mapping[str, Any]) -> str:
    """Give a row as text, its instants by their number."""
    return repr({name: value.timestamp() if isinstance(value, datetime) else value
                 for name, value in row.items()})  # fmt: skip


def hold(events: list[Event], chance: random.Random, folder: Path, questions: int) -> int:
    """Hold both equal at dates and known seqs by chance; gives the most ranges there were."""
    joined = chance.choice(JOINED)
    source = source_of(files_of(events, chance, folder), joined)
    most = 0
    with pytest.MonkeyPatch.context() as patched:
        for _ in range(questions):
            few = chance.choice((2, 4, 1_000))
            patched.setattr(engine, "ROWS_AT_ONCE", few)
            patched.setattr(engine, "MOST_AT_ONCE", few)
            patched.setattr(reading, "GROUPS_AT_ONCE", chance.choice((1, 2, 32)))
            patched.setattr(laid, "ROWS_LAID_AT_ONCE", chance.choice((1, 9, 1_000)))
            dates = (*shelf.dates_of(events), LATER)
            asked = Asked(chance.choice(dates), chance.randint(0, len(events)))
            assert views_in(source, asked) == folded(events, joined, asked)
            most = max(most, 1 if source.size <= few else len(starts_of(source)))
    return most


def on_random_lives(examples: int, at_most: int, questions: int, folders: Any) -> list[int]:
    ranges: list[int] = []

    @settings(max_examples=examples, deadline=None, derandomize=True, database=None)
    @given(lives.lives(at_least=4, at_most=at_most), st.randoms(use_true_random=False))
    def run(events: list[Event], chance: random.Random) -> None:
        ranges.append(hold(events, chance, folders.mktemp("life"), questions))

    run()
    return ranges


def test_every_bike_is_what_the_oracle_says(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Whatever happened, however it lies in files and ranges, at every date and known seq."""
    ranges = on_random_lives(times(60, usual=30), 14, 5, tmp_path_factory)
    assert max(ranges) > 1


@pytest.mark.slow
def test_every_bike_of_long_lives(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Long lives have more to void, to strike and to put right again."""
    assert max(on_random_lives(times(100, usual=30), 16, 6, tmp_path_factory)) > 1


@settings(max_examples=8, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(lives.lives(at_least=10, at_most=30))
def test_the_states_are_the_rows_of_the_relations(
    tmp_path_factory: pytest.TempPathFactory, events: list[Event]
) -> None:
    """Every relation of a view has the same rows, in any order, value for value."""
    folder = tmp_path_factory.mktemp("life")
    source = source_of(files_of(events, random.Random(1), folder), {})
    found = list(states(source, shelf.EVERYTHING))
    for relation in RELATIONS:
        rows = [row for some in found if some for row in some[relation].to_pylist()]
        names = list(rows[0]) if rows else []
        expected = [{name: row[name] for name in names} for row in shelf.rows_of(relation, events)]
        assert sorted(map(plain, rows)) == sorted(map(plain, expected))


TIE = (
    (1, "distance_read", {"odometer": lives.amount(5, "km")}),
    (1, "part_fitted", {"position": "chain", "part": "p1"}),
    (1, "measured", {"position": "chain", "quantity": "thickness",
                     "value": lives.amount(3, "mm"), "verdict": "due"}),
    (1, "inspected", {"position": "chain", "verdict": "due"}),
    (1, "inspected", {"position": "chain", "verdict": "due", "fault": "squeal"}),
    (1, "adjusted", {"position": "crank", "quantity": "torque", "after": lives.amount(9, "N·m")}),
    (1, "part_removed", {"position": "chain", "part": "p1", "puts_right": {"fault": "squeal"}}),
    (1, "adjusted", {"position": "crank", "quantity": "pressure", "after": lives.amount(2, "bar")}),
    (1, "part_fitted", {"position": "chain", "part": "p2"}),
    (1, "distance_read", {"odometer": lives.amount(7, "km")}),
)  # fmt: skip


@pytest.mark.parametrize("turned", [False, True])
def test_what_happens_at_one_time_goes_by_seq(tmp_path: Path, turned: bool) -> None:
    """Whichever way round it was recorded, at every known seq."""
    events = lives.literal(*(reversed(TIE) if turned else TIE))
    paths = files_of(events, random.Random(4), tmp_path)
    for known in range(len(events) + 1):
        asked = Asked(LATER, known)
        assert views_in(source_of(paths, {}), asked) == folded(events, {}, asked)


def test_ranges_hold_every_tag_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They stand one behind the other, the first of them from before all tags."""
    monkeypatch.setattr(engine, "ROWS_AT_ONCE", 3)
    monkeypatch.setattr(engine, "MOST_AT_ONCE", 3)
    table = pa.table({"bike": ["A", "A", "B", "C", "C", "D", "E", "E", "F"]})
    pq.write_table(table, tmp_path / "one.parquet", row_group_size=2)
    starts = starts_of(source_of([str(tmp_path / "one.parquet")], {}))
    assert len(starts) > 1
    assert starts[0] == ""
    assert starts == sorted(set(starts))


def test_a_file_without_newer_columns_is_read(tmp_path: Path) -> None:
    """What an earlier release did not write is null."""
    events = lives.literal((1, "part_fitted", {"position": "chain", "part": "p1"}))
    table = shelf.columns_of(events).drop_columns(["is_found", "make", "outcome", "verdict"])
    source = source_of([str(shelf.file_of(table, tmp_path))], {})
    (view,) = views_in(source, shelf.EVERYTHING)
    assert [(part.part, part.make) for part in view.fitted] == [("p1", None)]


def test_a_book_without_bikes_has_no_states(tmp_path: Path) -> None:
    """No files, or nothing known yet: nothing, and no fault."""
    assert views_in(source_of([], {}), shelf.EVERYTHING) == []
    events = lives.literal((1, "distance_read", {"odometer": lives.amount(3, "km")}))
    source = source_of([str(shelf.file_of(shelf.columns_of(events), tmp_path))], {})
    assert views_in(source, Asked(LATER, 0)) == []
    assert len(views_in(source, Asked(LATER, 1))) == 1


def test_what_is_read_is_what_is_folded() -> None:
    """The columns a bare scan is held to are all of the declared schema, each once."""
    assert len(set(COLUMNS)) == len(COLUMNS)
    assert "canonical" not in COLUMNS
    assert "lines" not in COLUMNS
