"""Where bikes stand in a book's great files: the same rows, kept, made anew or not there."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from ledger.book import Book
from ledger.facts import joined_tags
from ledger.state import same_bike
from ledger.storage import bulk, reading, segment, segments
from ledger.storage.footer import hash_carried
from ledger.storage.reading import Row
from tests.hashed import hashed
from tests.stored import SHOP

BIKES = tuple(f"{letter}ANT7RN2" for letter in "ABCDEFGH")
COLUMNS = ("bike", "seq", "distance_km", "canonical")


@pytest.fixture(autouse=True)
def small_segments_are_great(monkeypatch: pytest.MonkeyPatch) -> None:
    """Segments of 30 events in row groups of 10 are great ones, and kept."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 30)
    monkeypatch.setattr(segment, "ROWS_IN_GROUP", 10)
    monkeypatch.setattr(reading, "_SMALL", 5)
    monkeypatch.setattr(segments, "FEWEST_EVENTS", 0)


def note(bike: str, km: int) -> dict[str, object]:
    read = {"odometer": {"value": str(km), "unit": "km", "canonical": str(km)}}
    return {"kind": "distance_read", "bike": bike, "actor": "mia", "data": read}


def noon() -> datetime:
    return datetime(2024, 3, 1, 12, 30, tzinfo=UTC)


def opened(folder: Path) -> Book:
    return Book.open(folder, clock=noon)


def raws(chance: random.Random, count: int) -> list[list[dict[str, object]]]:
    """Commits of events of random bikes and of the book itself, as an export gives them."""
    commits: list[list[dict[str, object]]] = []
    met: set[str] = set()
    for seq in range(1, count + 1):
        bike = chance.choice((*BIKES, None))
        raw: dict[str, object] = {
            "id": f"01890000-0000-7000-8000-{seq:012d}", "seq": seq, "shop": SHOP, "actor": "mia",
            "occurred_at": f"2024-03-01T{seq // 60 + 8:02d}:{seq % 60:02d}:00Z",
            "recorded_at": "2024-03-01T12:00:00Z",
        }  # fmt: skip
        told: dict[str, object] = {"kind": "mechanic_registered", "data": {"mechanic": f"m{seq}"}}
        if bike is not None:
            told = {"kind": "bike_registered", "bike": bike, "data": {"speeds": 11}}
            if bike in met:
                told = note(bike, seq)
            met.add(bike)
        raw |= told
        if chance.random() < 0.3 or not commits:
            commits.append([])
        commits[-1].append(raw)
    return commits


def book_of(folder: Path, chance: random.Random, count: int = 150) -> Book:
    book = Book.init(folder, shop=SHOP, clock=noon)
    book.import_own(raws(chance, count))
    return book


def told(book: Book, tags: set[str]) -> tuple[list[Row], list[object], list[str]]:
    reader = book._fresh()
    table = book.bike_columns(tags, COLUMNS).sort_by("seq")
    return reader.of_bikes(tags), [table.to_pylist(), reader.of_the_book()], book.bikes()


def plainly(book: Book, tags: set[str]) -> tuple[list[Row], list[object], list[str]]:
    """Give the same by looking at every row of every file."""
    rows = [hashed(row) for path in book.files() for row in pq.read_table(path).to_pylist()]
    rows.sort(key=lambda row: row["seq"])

    def short(held: list[dict[str, object]]) -> list[Row]:
        return [(row["seq"], row["commit"], row["canonical"]) for row in held]  # type: ignore[misc]  # rows as Parquet gives them

    its = [row for row in rows if row["bike"] in tags]
    table = [{name: row[name] for name in COLUMNS} for row in its]
    own = short([row for row in rows if row["bike"] is None])
    return short(its), [table, own], sorted({row["bike"] for row in rows} - {None})


@pytest.mark.parametrize("seed", range(6))
def test_bikes_are_read_as_by_looking_at_every_row(tmp_path: Path, seed: int) -> None:
    """Kept, made anew, deleted on the way or followed by commits: the same rows."""
    chance = random.Random(seed)
    staying = book_of(tmp_path / "book", chance)
    kept_at = tmp_path / "book" / "derived" / segments.NAME
    for _ in range(4):
        tags = set(chance.sample(BIKES, chance.randrange(4))) | {"ZZZZZZZZ"}
        for book in (staying, opened(tmp_path / "book")):
            assert told(book, tags) == plainly(book, tags)
        assert kept_at.exists()
        if chance.random() < 0.5:
            kept_at.unlink()
        staying.append([note(chance.choice(BIKES), 900) for _ in range(chance.randrange(1, 9))])


@pytest.mark.parametrize("seed", range(6))
def test_ids_are_found_in_files_of_any_time(tmp_path: Path, seed: int) -> None:
    """Those there, by whatever order they were made in; those not there, before, between, after."""
    chance = random.Random(seed)
    commits = raws(chance, 150)

    def made() -> str:
        start = f"{chance.randrange(16**3):08x}-{chance.randrange(4):04x}"
        return f"{start}-7000-8000-{chance.randrange(16**12):012x}"

    for raw in (one for commit in commits for one in commit):
        raw["id"] = made()
    book = Book.init(tmp_path / "book", shop=SHOP, clock=noon)
    book.import_own(commits)
    there = {str(raw["id"]): raw["seq"] for commit in commits for raw in commit}
    for place in (book, opened(tmp_path / "book")):
        asked = [
            *chance.sample(sorted(there), 7),
            *(made() for _ in range(7)),
            "0" * 8 + made()[8:],
        ]
        found = place.find(asked)
        assert {one: event.seq for one, event in found.items()} == {
            one: there[one] for one in asked if one in there
        }


def test_files_of_another_time_are_not_read_for_an_id(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An id made just now is in none of a book's old files: they are not opened."""
    book_of(tmp_path / "book", random.Random(1))
    told(opened(tmp_path / "book"), {BIKES[0]})
    book = opened(tmp_path / "book")
    book._fresh()
    tiny = {path.name for path in book.files() if pq.read_metadata(path).num_rows <= 5}
    read: list[str] = []
    plain = reading.opened

    def noted(path: Path) -> object:
        read.append(path.name)
        return plain(path)

    monkeypatch.setattr(reading, "opened", noted)
    assert book.find(["0199ffff-0000-7000-8000-000000000001"]) == {}
    assert set(read) <= tiny
    book.find(["01890000-0000-7000-8000-000000999999"])
    assert not set(read) <= tiny


def cut_off(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-50])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def one_bit_turned(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


@pytest.mark.parametrize("harm", [cut_off, emptied, one_bit_turned])
def test_what_is_damaged_is_made_anew(tmp_path: Path, harm: Callable[[Path], None]) -> None:
    """A damaged file of places is as if it were not there, and is written again."""
    book = book_of(tmp_path / "book", random.Random(1))
    before = told(book, {BIKES[0]})
    kept_at = tmp_path / "book" / "derived" / segments.NAME
    sound = kept_at.read_bytes()
    harm(kept_at)
    assert told(opened(tmp_path / "book"), {BIKES[0]}) == before
    assert len(kept_at.read_bytes()) == len(sound)


def test_what_is_of_another_book_is_not_believed(tmp_path: Path) -> None:
    """Files of the same names in another book are known by the hashes they carry."""
    one, two = (book_of(tmp_path / str(seed), random.Random(seed)) for seed in (1, 2))
    before = [told(book, {BIKES[0]}) for book in (one, two)]
    foreign = (tmp_path / "1" / "derived" / segments.NAME).read_bytes()
    (tmp_path / "2" / "derived" / segments.NAME).write_bytes(foreign)
    assert told(opened(tmp_path / "2"), {BIKES[0]}) == before[1] != before[0]


def test_a_small_book_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it is made in no time, nothing is left beside the book."""
    monkeypatch.setattr(segments, "FEWEST_EVENTS", 151)
    book = book_of(tmp_path / "book", random.Random(1), 150)
    assert told(book, {BIKES[0]}) == plainly(book, {BIKES[0]})
    assert not (tmp_path / "book" / "derived").exists()


def test_the_hash_a_file_carries_is_read_from_its_end(tmp_path: Path) -> None:
    """It is the text in the footer; the end of another kind of file has none."""
    path = book_of(tmp_path / "book", random.Random(1)).files()[0]
    said = pq.read_metadata(path).metadata[b"lockring.sha256"].decode()
    assert hash_carried(path.read_bytes()[-4096:]) == said
    assert hash_carried(path.read_bytes()[:-1]) is None
    assert hash_carried(b"") is None


@pytest.mark.parametrize("seed", range(20))
def test_joined_tags_are_those_reached_by_links(tmp_path: Path, seed: int) -> None:
    """All at once or one tag at a time, links and strikes of them give the same bikes."""
    chance = random.Random(seed)
    book = book_of(tmp_path / "book", chance, 60)
    held: list[str] = []
    for _ in range(chance.randrange(1, 7)):
        first, second = chance.sample(BIKES, 2)
        data = {"first": {"bike": first}, "second": {"bike": second}}
        link = {"kind": "bike_linked", "actor": "mia", "data": data}
        held += [one.id for one in book.append([link]).events]
        if chance.random() < 0.3:
            book.strike(held.pop(chance.randrange(len(held))), "wrong", "mia")
    events = book.book_events()
    for known in (None, 62, 64):
        each = {
            bike: frozenset(tag for _, tag in same_bike(events, SHOP, bike, known))
            for bike in BIKES
        }
        joined = {bike: tags for bike, tags in each.items() if len(tags) > 1}
        assert joined_tags(events, SHOP, known) == joined
