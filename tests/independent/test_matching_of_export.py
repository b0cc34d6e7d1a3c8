"""What the book says was found again, against loops over its export that share no code with it."""

from __future__ import annotations

import math
import random
from collections import Counter
from datetime import datetime
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.events import Event, parse_event, plain
from ledger.exchange.export import export_book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.matching import Matching, matched
from ledger.queries import whole_table
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.independent.fold_of_export import Export
from tests.independent.matching_of_export import Matched
from tests.long import times
from tests.strategies import BIKES, SHOP, Life, event_id, fault_lives, lives

Row = dict[str, Any]
KEYS = {"episodes": ("bike", "position", "fault", "found_seq"), "repeats": ("found_seq",),
        "jobs": ("job",)}  # fmt: skip
SHOPS_OWN = (
    ("bike_linked", {"first": {"bike": BIKES[0]}, "second": {"bike": BIKES[1]}}),
    ("terms_set", {"from_on": "2024-01-01",
                   "windows": [{"fault": "play", "days": 20, "distance_km": 150}]}),
    ("terms_set", {"from_on": "2024-06-01",
                   "windows": [{"fault": "play", "days": 400, "distance_km": 1},
                               {"fault": "squeal", "days": 0, "distance_km": 0}]}),
)  # fmt: skip


def with_the_shops_own(life: Life, chance: random.Random) -> list[Event]:
    """Give a life with terms and a link recorded somewhere in it, some of them struck again."""
    raws = [plain(event) for event in life.events]
    for number, (kind, data) in enumerate(SHOPS_OWN):
        if chance.random() < 0.6:
            own = {"id": event_id(10**6 + number), "kind": kind, "data": data}
            place = chance.randrange(2, len(raws) + 1)
            raws.insert(place, _beside(raws[place - 1], own))
            if chance.random() < 0.3:
                strike = {"id": event_id(2 * 10**6 + number), "kind": "event_struck"}
                strike["data"] = {"target": own["id"], "reason": "no"}
                last = chance.randrange(place + 1, len(raws) + 1)
                raws.insert(last, _beside(raws[last - 1], strike))
    return [parse_event({**raw, "seq": seq}) for seq, raw in enumerate(raws, 1)]


def _beside(other: Row, own: Row) -> Row:
    times = {name: other[name] for name in ("occurred_at", "recorded_at")}
    return {"shop": SHOP, "actor": "mia", **times, **own}


def kept(events: list[Event], folder: Path) -> Book:
    """Put stored events into a real book, as one commit."""
    book = Book.init(folder / "book", shop=SHOP, time_zone="Europe/Amsterdam")
    Log(LocalStore(book.path / "events")).commit(lambda head: events)
    return Book.open(book.path)


def exported(book: Book) -> Export:
    out = BytesIO()
    export_book(book, out, "cloudevents", clear=True)
    return Export.read(out.getvalue().decode().splitlines())


def rows_of(table: pa.Table, like: list[Row]) -> list[Row]:
    names = like[0].keys() if like else table.column_names
    return [{name: row[name] for name in names} for row in table.to_pylist()]


def is_same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-6)
    return bool(one == other)


def differences(book: Matching, export: Matched) -> list[str]:
    """Give every row in which the two answers differ."""
    wrong = []
    for name, keys in KEYS.items():
        own = {tuple(row[key] for key in keys): row for row in getattr(export, name)}
        table = getattr(book, name)
        said = {tuple(row[k] for k in keys): row for row in rows_of(table, getattr(export, name))}
        assert len(said) == len(table) and len(own) == len(getattr(export, name))
        for key in own.keys() | said.keys():
            left, right = own.get(key, {}), said.get(key, {})
            cells = [
                c for c in left.keys() | right.keys() if not is_same(left.get(c), right.get(c))
            ]
            wrong += [f"{name} {key} {cell}: export {left.get(cell)}, book {right.get(cell)}"
                      for cell in cells]  # fmt: skip
    return wrong


def sql_differences(book: Book, as_at: datetime, known: int, export: Matched) -> list[str]:
    """Give every row of the relations that differs from what the export gives."""
    wrong = []
    for relation, own in (("fault_episodes", export.episodes), ("fault_repeats", export.repeats)):
        table = whole_table(book, relation, as_at, known)
        names = sorted(set(table.column_names) & set(own[0] if own else ()))
        said = sorted((tuple(row.values()) for row in table.select(names).to_pylist()), key=repr)
        rows = sorted((tuple(row[name] for name in names) for row in own), key=repr)
        wrong += [] if said == rows else [f"{relation} {names}: export {rows}, book {said}"]
    return wrong


def hold(
    book: Book, export: Export, as_at: datetime, known: int, window: WindowAsked | None
) -> Matched:
    """Hold both answers equal at one date, as known at one seq."""
    asked = (None, None) if window is None else (window.days, window.distance_km)
    own = Matched(export, as_at, known, book.settings.zone, asked)
    assert differences(matched(book, as_at, known, window), own) == []
    if window is None:
        assert sql_differences(book, as_at, known, own) == []
    return own


def met(own: Matched) -> Counter[str]:
    """Count what a book of these episodes must have for the comparison to mean anything."""
    found: Counter[str] = Counter()
    for row in own.repeats:
        found["repeat"] += 1
        found["repeat with its cause told"] += row["is_cause_told"]
        found["repeat in its window"] += row["is_in_window"]
        found["repeat past its window"] += not row["is_in_window"]
        found["repeat by its km alone"] += row["is_in_window"] and row["days"] > row["window_days"]
        found["repeat of unknown km"] += row["km"] is None
        found["come-back judged to be none"] += row["is_in_window"] and not row["is_come_back"]
        found["come-back said or judged"] += row["source"] not in (None, "matched")
    for row in own.episodes:
        found["carried"] += row["count_jobs_carried"] > 0
        found["closed without work"] += row["cleared_at"] is not None
        found["open"] += row["ended_at"] is None
        found["found when put right"] += not row["is_found_recorded"]
        found["of no job"] += row["found_job"] is None
        found["of a part's model"] += row["put_right_model"] is not None
        found["a window of the shop's own"] += row["window_days"] not in (None, 90)
    found.update(f"job {row['source']} {row['is_come_back']}" for row in own.jobs)
    return found


MET = {
    *("repeat", "repeat with its cause told", "repeat in its window", "repeat past its window"),
    *("repeat by its km alone", "repeat of unknown km", "come-back judged to be none"),
    *("come-back said or judged", "carried", "closed without work", "open"),
    *("found when put right", "of no job", "of a part's model", "a window of the shop's own"),
    *("job matched True", "job said at booking-in True", "job judged True", "job judged False"),
    *("contradicting causes", "joined tags", "struck", "entered late"),
}


def met_in(events: list[Event], own: Matched) -> Counter[str]:
    found = met(own)
    kinds = Counter(event.kind for event in events)
    found["joined tags"] = kinds["bike_linked"]
    found["struck"] = kinds["event_struck"]
    found["entered late"] = sum(
        later.occurred_at < earlier.occurred_at for earlier, later in pairwise(events)
    )
    causes = {
        (e["bike"], e["position"], e["fault"], e["cause"]) for e in own.episodes if e["cause"]
    }
    found["contradicting causes"] = len(causes) - len({cause[:3] for cause in causes})
    return found


WINDOWS = (
    None, None, WindowAsked(30, 500), WindowAsked(0, 0), WindowAsked(10_000, 0),
    WindowAsked(0), WindowAsked(None, 0),
)  # fmt: skip


def hold_lives(life: st.SearchStrategy[Life], examples: int, folders: Any) -> Counter[str]:
    """Hold the answers equal on random books at random dates and seqs; give what was met."""
    found: Counter[str] = Counter()

    @settings(max_examples=examples, deadline=None, derandomize=True, database=None,
              phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(life=life, chance=st.randoms(use_true_random=False))
    def on_random_books(life: Life, chance: random.Random) -> None:
        events = with_the_shops_own(life, chance)
        book = kept(events, folders.mktemp("life"))
        export = exported(book)
        found.update(met_in(events, hold(book, export, life.instants()[-1], len(events), None)))
        for _ in range(3):
            known = chance.randrange(len(events) + 1)
            at, window = chance.choice(life.instants()), chance.choice(WINDOWS)
            found.update(met(hold(book, export, at, known, window)))

    on_random_books()
    return found


def test_random_books_match_as_their_export_does(tmp_path_factory: Any) -> None:
    """Episodes, repeats, come-backs and job links are the same at any date and known seq."""
    assert hold_lives(fault_lives(60), 8, tmp_path_factory)["repeat"] > 10


@pytest.mark.slow
def test_many_random_books_match_as_their_export_does(tmp_path_factory: Any) -> None:
    """The same on many books, in which everything that matters does occur."""
    found = hold_lives(fault_lives(80), times(70, usual=24), tmp_path_factory)
    found.update(hold_lives(lives(60), times(15, usual=6), tmp_path_factory))
    assert {name for name in MET if not found[name]} == set()
