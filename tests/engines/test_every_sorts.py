"""The sorts that every bike is folded by, against numpy's own by several keys."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.engines.every.columns import by_key, in_time, latest, place_of
from ledger.engines.every.laid import Numbered
from ledger.engines.every.pieces import Struck
from ledger.queries import every_bike

FEW_INSTANTS = st.lists(st.integers(-3, 3), max_size=40)
WIDE = st.integers(0, (1 << 62) - 1)
IDS = st.lists(st.binary(min_size=16, max_size=16), max_size=30, unique=True)


@given(FEW_INSTANTS, st.randoms(use_true_random=False))
def test_rows_of_one_instant_go_by_seq(instants: list[int], chance) -> None:
    at = np.array(instants, np.int64) * 10**15
    seq = np.array(chance.sample(range(1 << 40), len(instants)), np.int64)
    order = in_time(at, seq)
    assert order.tolist() == np.lexsort((seq, at)).tolist()
    assert place_of(order)[order].tolist() == list(range(len(order)))


@given(st.lists(st.integers(0, 4) | WIDE, max_size=40), st.randoms(use_true_random=False))
def test_rows_go_by_key_however_great_it_is(keys: list[int], chance) -> None:
    key = np.array(keys, np.int64)
    place = np.array(chance.sample(range(1 << 20), len(keys)), np.int64)
    found, places = by_key(key, place)
    order = np.lexsort((place, key))
    assert places.tolist() == place[order].tolist()
    same = key[order][1:] == key[order][:-1]
    assert (found[1:] == found[:-1]).tolist() == same.tolist()


ROWS = st.tuples(st.integers(0, 3) | WIDE, st.integers(-2, 2), st.integers(-2, 2))


@settings(max_examples=300)
@given(st.lists(ROWS, max_size=30))
def test_the_latest_of_each_key_is_what_putting_all_in_order_gives(rows: list) -> None:
    """By time, then seq, negative ones too; of rows told twice it is one of them."""
    key, at, seq = np.array(rows, np.int64).reshape(-1, 3).T
    last = {row[0]: row for row in sorted(rows)}
    assert [rows[place] for place in latest(key, at, seq)] == [last[one] for one in sorted(last)]


@settings(max_examples=200)
@given(IDS, IDS, st.integers(0, 3))
def test_what_is_struck_is_told_by_the_whole_id(struck: list, others: list, offset: int) -> None:
    """Ids that look alike at the end, where it is looked first, are not taken for one another."""
    alike = [bytes([one[0] ^ 1]) + one[1:] for one in struck]
    asked = [*struck, *others, *alike]
    known = Struck()
    for one in struck:
        known.add(pa.array([one], pa.binary(16)))
    known.add(pa.array([], pa.binary(16)))
    ids = pa.array(asked, pa.binary(16)).slice(offset)
    assert known.void(ids).tolist() == [one in set(struck) for one in asked[offset:]]


@given(st.lists(st.lists(st.sampled_from("abcdef"), min_size=1, unique=True), max_size=8))
def test_texts_come_back_from_their_numbers(pieces: list[list[str]]) -> None:
    numbered = Numbered()
    numbers = [numbered.numbers("unit", pa.array(texts)) for texts in pieces]
    assert [numbered.column("unit", one).to_pylist() for one in numbers] == pieces
    assert numbered.column("kind", pa.array([None], pa.int32())).to_pylist() == [None]


def test_arrow_takes_its_usual_memory_again_whichever_reading_ends_last(tmp_path: Path) -> None:
    """Two readings at the same time, the first one ended first."""
    book = Book.init(tmp_path / "book", shop="bench")
    book.append([{"kind": "bike_registered", "bike": tag, "actor": "m1", "data": {}}
                 for tag in ("7K3M9QXA", "6W8Y2Z4C")])  # fmt: skip
    usual = pa.default_memory_pool().backend_name
    first, second = every_bike(book), every_bike(book)
    for reading in (first, second):
        next(reading)
    assert pa.default_memory_pool().backend_name == "system"
    first.close()
    assert pa.default_memory_pool().backend_name == "system"
    second.close()
    assert pa.default_memory_pool().backend_name == usual
