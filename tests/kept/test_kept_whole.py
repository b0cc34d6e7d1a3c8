"""The fit kept of a whole book: whatever becomes of it or of the book, every answer is the same."""

from __future__ import annotations

import math
import random
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import ledger.kept
from ledger.book import Book
from ledger.errors import Refused
from ledger.figures.ahead import BookTables
from ledger.figures.chain_keep import book_chains
from ledger.figures.chains import chain_book, report_of_all
from ledger.figures.due import due_list
from ledger.figures.wear import wear_of
from ledger.figures.worn import last_stood, worn_of
from ledger.kept.pieces import Unreadable, packed, unpacked
from ledger.kept.rows import Rows
from ledger.storage import aside
from tests.kept.damages import cut_off, emptied, one_bit_turned

sys.path.insert(0, str(Path(__file__).parents[1] / "figures"))
from due_books import CROW, GULL, NOW, TERN, Entry, book_of, chain, fitted, km, pads, ridden

BIKES = (GULL, TERN, CROW)
FIRST = date(2025, 1, 2)


@pytest.fixture(autouse=True)
def small_books_are_kept_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures are kept however small the book."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)


def plainly(thing: Any) -> Any:
    """Give anything that is kept as what can be compared, NaN equal to NaN."""
    if isinstance(thing, np.ndarray):
        return [str(thing.dtype), thing.shape, [plainly(one) for one in thing.reshape(-1).tolist()]]
    if isinstance(thing, pa.Table):
        return [str(thing.schema), plainly(thing.to_pylist())]
    if is_dataclass(thing) and not isinstance(thing, type):
        return {one.name: plainly(getattr(thing, one.name)) for one in fields(thing)}
    if isinstance(thing, Mapping):
        return [[key, plainly(one)] for key, one in thing.items()]
    if isinstance(thing, (list, tuple, Rows)):
        sort = "list" if isinstance(thing, list) else "tuple"
        return [sort, [plainly(one) for one in thing]]
    return "NaN" if isinstance(thing, float) and math.isnan(thing) else thing


def answers(path: Path, at: datetime = NOW, known_seq: int | None = None) -> list[Any]:
    """Give what a new process says of a book: all that rests on the fit."""
    book = Book.open(path, clock=lambda: NOW)
    worn = wear_of(book, at, known_seq)
    of = book_chains(book, BookTables(book, at, known_seq))
    told = [worn.tables, worn.fit, worn.parts, worn.gauges, due_list(book, at, known_seq), of]
    return [plainly(one) for one in told]


def directly(path: Path, at: datetime = NOW, known_seq: int | None = None) -> list[Any]:
    """Give the same with nothing kept."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ledger.kept, "FEWEST_EVENTS", 10**9)
        return answers(path, at, known_seq)


def three(folder: Path) -> Book:
    read = [one for bike, figure in zip(BIKES, ("0.3", "0.6", "0.9"), strict=True)
            for one in ridden(bike, figure)]  # fmt: skip
    return book_of(folder, *read)


def the_file(book: Book, name: str = "wear_fit") -> Path:
    (path,) = book.path.glob(f"derived/{name}-*/*.arrow")
    return path


def append(book: Book, *entries: Entry) -> None:
    book.append([{"kind": kind, "actor": "mia", "occurred_at": f"{day}T12:00:00Z", "data": data,
                  **({"bike": bike} if bike else {})} for day, kind, bike, data in entries],
                confirm_clock=True)  # fmt: skip


def something_else_inside(path: Path) -> None:
    """A sound file with the book's own mark, but of nothing that is kept here."""
    table = aside.read(path)
    assert table is not None
    texts = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    aside.write(path, pa.table({"how": ['{"is": "shape", "of": "Book", "has": {}}']}), texts)


def deleted(path: Path) -> None:
    path.unlink()


@pytest.mark.parametrize("damage", [deleted, cut_off, emptied, one_bit_turned,
                                    something_else_inside])  # fmt: skip
@pytest.mark.parametrize("name", ["wear_fit", "chains"])
def test_what_was_lost_or_damaged_is_made_anew(
    tmp_path: Path, damage: Callable[[Path], None], name: str
) -> None:
    """The same answers come back, and a sound file in the place of the other."""
    book = three(tmp_path)
    said = answers(book.path)
    assert said == directly(book.path)
    sound = the_file(book, name).read_bytes()
    damage(the_file(book, name))
    assert answers(book.path) == said
    assert the_file(book, name).read_bytes() == sound


def test_what_is_kept_is_what_is_answered_from(tmp_path: Path) -> None:
    """A new process fits nothing where the fit is kept: the two are the same to the last bit."""
    book = three(tmp_path)
    fresh = worn_of(book, BookTables(book, NOW))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("ledger.figures.worn.fit_wear", None)
        again = Book.open(book.path)
        found = worn_of(again, BookTables(again, NOW))
    assert plainly(found) == plainly(fresh)


def test_great_figures_are_read_in_place_once_they_are_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who made them answers from the file like everybody else, and the same."""
    book = three(tmp_path)
    made = worn_of(book, BookTables(book, NOW))
    assert made.fit.families[0].family.x.flags.writeable
    shutil.rmtree(book.path / "derived")
    monkeypatch.setattr("ledger.kept.whole._MOST_HELD", 0)
    book = Book.open(book.path, clock=lambda: NOW)
    found = worn_of(book, BookTables(book, NOW))
    assert not found.fit.families[0].family.x.flags.writeable
    assert worn_of(book, BookTables(book, NOW)) is found
    assert plainly(found) == plainly(made)
    (book.path / "derived").rename(tmp_path / "elsewhere")
    (book.path / "derived").write_text("in the way")
    unwritten = Book.open(book.path, clock=lambda: NOW)
    assert plainly(worn_of(unwritten, BookTables(unwritten, NOW))) == plainly(made)


def test_an_older_file_does_not_answer_where_a_newer_one_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was just made answers then, however great."""
    book = three(tmp_path)
    before = worn_of(book, BookTables(book, NOW))
    monkeypatch.setattr("ledger.kept.whole._MOST_HELD", 0)
    monkeypatch.setattr(aside, "write", lambda *_: False)
    append(book, km("2026-05-02", GULL, 90_000))
    found = worn_of(book, BookTables(book, NOW))
    assert len(found.tables.distances) == len(before.tables.distances) + 1


def test_what_was_kept_of_another_book_is_not_believed(tmp_path: Path) -> None:
    """It is as long and has as many commits, and other readings."""
    one = book_of(tmp_path / "one", *ridden(GULL, "0.3"))
    other = book_of(tmp_path / "other", *ridden(GULL, "0.7"))
    assert one.head.size == other.head.size
    answers(other.path)
    shutil.copytree(other.path / "derived", one.path / "derived")
    assert answers(one.path) == directly(one.path)


def test_where_nothing_can_be_written_every_answer_is_there(tmp_path: Path) -> None:
    """A file lies where the folder would be."""
    book = three(tmp_path)
    (book.path / "derived").write_text("in the way")
    assert answers(book.path) == directly(book.path)


def test_an_earlier_day_and_an_earlier_seq_are_never_answered_from_it(tmp_path: Path) -> None:
    """The fit holds all the book knows."""
    book = three(tmp_path)
    answers(book.path)
    early, before = datetime(2025, 12, 1, tzinfo=UTC), book.head.size - 6
    assert answers(book.path, early) == directly(book.path, early) != answers(book.path)
    assert answers(book.path, NOW, before) == directly(book.path, NOW, before)


def test_what_is_still_to_happen_is_in_no_fit_of_today(tmp_path: Path) -> None:
    """Seen from before its last event, a book is worked out from its events."""
    book = three(tmp_path)
    append(book, ("2026-06-01", *km("2026-06-01", GULL, 5000)[1:]))
    answers(book.path, NOW + timedelta(days=2))
    morning = datetime(2026, 6, 1, 8, tzinfo=UTC)
    assert answers(book.path, morning) == directly(book.path, morning)


def test_nothing_is_kept_of_a_small_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is fitted as soon as a file would be read."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 1000)
    book = three(tmp_path)
    answers(book.path)
    assert not (book.path / "derived").exists()


def test_the_last_fit_tells_where_the_book_stood(tmp_path: Path) -> None:
    """Until a new one is made the last is still there, with its own commit; then it is gone."""
    book = three(tmp_path)
    assert last_stood(book) is None
    first = worn_of(book, BookTables(book, NOW))
    commit = book.head.commit
    append(book, chain("2026-05-01", GULL, "0.74"))
    for one in (book, Book.open(book.path, clock=lambda: NOW)):
        stood = last_stood(one)
        assert stood is not None and stood.commit == commit
        assert plainly(stood.worn) == plainly(first)
    worn_of(book, BookTables(book, NOW))
    assert last_stood(book).commit == book.head.commit
    assert len(list(book.path.glob("derived/wear_fit-*/*.arrow"))) == 1


# -- whatever is recorded, however late -------------------------------------------------------


def somewhen(chance: random.Random) -> str:
    return (FIRST + timedelta(days=chance.randrange(500))).isoformat()


def gauge(chance: random.Random) -> Entry:
    error = {"value": chance.choice(("0.02", "0.05", "0.2")), "unit": "%"}
    data = {"gauge": "g1", "label": "checker", "quantities": ["elongation"], "error": error}
    return somewhen(chance), "gauge_registered", None, data


def terms(chance: random.Random) -> Entry:
    due = {"value": chance.choice(("0.5", "0.6")), "unit": "%"}
    limit = {"position": "chain", "quantity": "elongation", "direction": "above", "due": due,
             "source": "the shop's own"}  # fmt: skip
    return somewhen(chance), "terms_set", None, {"from_on": "2025-01-01", "limits": [limit]}


def something(chance: random.Random) -> Entry:
    """Give one thing to record, most of it at some day of the past."""
    bike = chance.choice(BIKES)
    sort = chance.randrange(8)
    if sort < 3:
        more = {"gauge": "g1"} if chance.random() < 0.5 else {}
        return chain(somewhen(chance), bike, f"{chance.uniform(0.05, 1.0):.2f}", **more)
    if sort == 3:
        return pads(somewhen(chance), bike, f"{chance.uniform(0.5, 3.0):.1f}")
    if sort == 4:
        return km(somewhen(chance), bike, chance.randrange(0, 6000))
    if sort == 5:
        return fitted(somewhen(chance), bike, "chain", f"{bike}-{chance.randrange(10**6)}")
    return gauge(chance) if sort == 6 else terms(chance)


def record(book: Book, chance: random.Random) -> None:
    """Record a few things, strike something, or join two tags; what is refused is left out."""
    way = chance.random()
    if way < 0.2:
        struck = chance.choice([one for one in book.events() if one.kind != "event_struck"])
        deed = lambda: book.strike(struck.id, "typed wrong", "mia", confirm_clock=True)  # noqa: E731 - one of three deeds
    elif way < 0.3:
        ends = {"first": {"bike": GULL}, "second": {"bike": TERN}}
        deed = lambda: append(book, ("2026-05-02", "bike_linked", None, ends))  # noqa: E731 - one of three deeds
    else:
        entries = [something(chance) for _ in range(chance.randrange(1, 4))]
        deed = lambda: append(book, *entries)  # noqa: E731 - one of three deeds
    try:
        deed()
    except Refused:
        return


def hold(chance: random.Random, folder: Path) -> Iterator[str]:
    """Hold kept and direct equal after every commit; gives what lay there before each answer."""
    shutil.rmtree(folder, ignore_errors=True)
    book = three(folder)
    staying = Book.open(book.path, clock=lambda: NOW)
    for _ in range(4):
        answers(book.path)
        if chance.random() < 0.2:
            shutil.rmtree(book.path / "derived")
        record(book, chance)
        wear = plainly(worn_of(staying, BookTables(staying, NOW)))
        said = answers(book.path)
        assert said == directly(book.path)
        assert wear["tables"] == said[0] and wear["fit"] == said[1]
        yield "kept" if (book.path / "derived").exists() else "nothing"


def test_late_backdated_and_struck_events_are_in_every_figure(tmp_path: Path) -> None:
    """Whatever is recorded, for whatever day, the answers are those of a fit of all there is."""
    seen: list[str] = []

    @settings(max_examples=5, deadline=None, derandomize=True, database=None,
              phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(st.integers(0, 10**9))
    def held(seed: int) -> None:
        seen.extend(hold(random.Random(seed), tmp_path / "one"))

    held()
    assert seen.count("kept") > 12


def test_the_report_kept_is_the_one_worked_out_from_the_book(tmp_path: Path) -> None:
    """The report of chains as it is kept, beside the one that `chains` gives without a file."""
    book = three(tmp_path)
    kept = book_chains(book, BookTables(book, NOW))
    assert plainly(kept.report) == plainly(report_of_all(chain_book(book, NOW), "EUR"))


# -- the form of the file ---------------------------------------------------------------------


@dataclass(frozen=True)
class Leaf:
    """Something small."""

    name: str | None
    figure: float
    at: datetime | None


@dataclass(frozen=True)
class Tree:
    """Something of everything that may be kept."""

    leaves: tuple[Leaf | None, ...]
    lists: tuple[tuple[str, ...], ...]
    figures: np.ndarray
    flags: np.ndarray
    grid: np.ndarray
    pairs: dict[int, tuple[float, float]]
    names: dict[str, list[str]]
    table: pa.Table
    day: date
    nothing: Leaf | None
    mixed: list[Any]


LEAVES = st.builds(
    Leaf, st.none() | st.text(max_size=5), st.floats(),
    st.none() | st.datetimes(timezones=st.just(UTC), min_value=datetime(1970, 1, 1)),
)  # fmt: skip
FIGURES = st.lists(st.floats(), max_size=6)
TREES = st.builds(
    Tree,
    st.lists(st.none() | LEAVES, max_size=4).map(tuple),
    st.lists(st.lists(st.text(max_size=3), max_size=3).map(tuple), max_size=4).map(tuple),
    FIGURES.map(lambda some: np.array(some, dtype=np.float64)),
    st.lists(st.booleans(), max_size=9).map(lambda some: np.array(some, dtype=np.bool_)),
    st.integers(0, 3).map(lambda rows: np.arange(4 * rows, dtype=np.int64).reshape(rows, 4)),
    st.dictionaries(st.integers(-5, 5), st.tuples(st.floats(), st.floats()), max_size=3),
    st.dictionaries(st.text(max_size=3), st.lists(st.text(max_size=3), max_size=2), max_size=3),
    FIGURES.map(lambda some: pa.table({"a": pa.array(some, pa.float64())})),
    st.dates(),
    st.none() | LEAVES,
    st.lists(st.none() | st.integers(-9, 9) | st.text(max_size=2) | LEAVES, max_size=3),
)


@settings(deadline=None, derandomize=True, database=None, max_examples=60)
@given(TREES)
def test_what_is_packed_comes_out_the_same(tree: Tree) -> None:
    """Every figure to the last bit, every text, every shape; arrays cannot be written to."""
    found = unpacked(packed(tree), (Tree, Leaf))
    assert plainly(found) == plainly(tree)
    assert not found.figures.flags.writeable


def test_a_great_mapping_is_made_when_it_is_asked() -> None:
    """It has as many as it had, each under its own name, in the order they stood."""
    pairs = {number: (float(number), "text") for number in range(-500, 500)}
    found = unpacked(packed(pairs), ())
    assert not isinstance(found, dict)
    assert len(found) == 1_000
    assert (found[-500], found.get(500), 499 in found) == (pairs[-500], None, True)
    assert found == pairs and list(found) == list(pairs)
    few = dict(list(pairs.items())[:999])
    assert unpacked(packed(few), ()) == few


@dataclass(frozen=True)
class Wood:
    trees: tuple[Tree, ...]
    apart: tuple[Leaf | None, ...] = ()


@settings(deadline=None, derandomize=True, database=None, max_examples=60)
@given(st.data(), st.lists(TREES, max_size=5).map(tuple))
def test_rows_that_are_made_when_looked_at_are_the_same(
    data: st.DataObject, trees: tuple[Tree, ...]
) -> None:
    """Each, and any slice of them, and any one field of all."""
    found = unpacked(packed(Wood(trees)), (Wood, Tree, Leaf), (Tree,)).trees
    assert isinstance(found, Rows) == bool(trees)
    assert plainly(found) == plainly(trees)
    assert len(found) == len(trees)
    bounds = st.none() | st.integers(-6, 6)
    part = slice(data.draw(bounds), data.draw(bounds), data.draw(st.none() | st.integers(1, 3)))
    assert plainly(found[part]) == plainly(trees[part])
    for place, tree in enumerate(trees):
        assert plainly(found[place]) == plainly(tree)
    if trees:
        for one in fields(Tree):
            values = tuple(getattr(tree, one.name) for tree in trees)
            assert plainly(tuple(found.column(one.name))) == plainly(values)


def test_no_shape_is_made_that_was_not_named() -> None:
    """A file may tell of anything: only what the reader knows is made of it."""
    with pytest.raises(Unreadable):
        unpacked(packed(Leaf("one", 1.0, None)), (Tree,))
    with pytest.raises(TypeError, match="object is not kept"):
        packed(object())
