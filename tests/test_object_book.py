"""A book on a real S3-speaking server: as a local one, for several machines, and without it."""

from __future__ import annotations

import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image

from ledger.book import Book
from ledger.errors import BookExists, NoBook, Unreachable, WriteRefused
from ledger.home import home_of, register
from ledger.key_backups import Forgotten, ForgottenKey
from ledger.photos import add_photo, photos_of, read_photo
from ledger.proofs.make import signed_root
from ledger.proofs.verify import check_files, check_rules
from ledger.riders import Rider, RiderExists
from tests.storage.s3_proxy import proxy_to
from tests.storage.s3_server import environment, s3_server

TAG = "7K3M9QXA"
NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def server():
    """Give the endpoint of a server, and the address of a bucket on it."""
    with s3_server() as (told, address):
        yield told["AWS_ENDPOINT_URL"], address


@pytest.fixture
def way(server, monkeypatch):
    """Give the way to the server; what was followed a moment ago is followed again."""
    monkeypatch.setattr(register, "FOLLOWED_S", 0.0)
    with proxy_to(server[0]) as way:
        for name, value in environment(way.endpoint).items():
            monkeypatch.setenv(name, value)
        yield way


@pytest.fixture
def address(server, way, tmp_path):
    """Give an empty prefix."""
    return f"{server[1]}/{tmp_path.name}"


@pytest.fixture
def machine(address, tmp_path, monkeypatch):
    """Open the book as a machine of some name does, with a mirror of its own."""

    def opened(name, *, is_new=False):
        monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / name))
        if is_new:
            return Book.init(address, shop="quay", time_zone="Europe/Lisbon", clock=lambda: NOW)
        return Book.open(address, clock=lambda: NOW)

    return opened


@pytest.fixture
def book(machine):
    """Give a book with one bike, ridden by r-1."""
    made = machine("one", is_new=True)
    made.riders.add([Rider("r-1", "Ines of the quay", may_contact=True)])
    made.append(
        [
            of("mechanic_registered", bike=None, mechanic="m1", role="owner"),
            of("bike_registered", make="Ordwick", speeds=11),
            of("rider_changed", rider="r-1", keeper="r-1", note="rides in rain"),
        ]
    )
    return made


def of(kind, /, *, bike=TAG, occurred_at="2026-03-01T09:00", **data):
    draft = {"kind": kind, "actor": "m1", "occurred_at": occurred_at, "data": data}
    return draft if bike is None else draft | {"bike": bike}


def noted(words, position="chain"):
    return of("noted", position=position, text=words, occurred_at="2026-03-01T10:00")


def texts(book):
    """Give the words of every event that has some, opened."""
    told = [book.reveal(event)["data"] for event in book.events()]
    return [data[name] for data in told for name in ("note", "text") if name in data]


def until(holds):
    """Wait until something holds, at most ten seconds; tell whether it does."""
    end = time.monotonic() + 10
    while not holds() and time.monotonic() < end:
        time.sleep(0.02)
    return holds()


def in_register(book, word):
    """Tell whether a mirror's register file holds a word anywhere, in bytes."""
    return word.encode() in book.riders.path.read_bytes()


def test_a_second_machine_has_the_same_book(book, machine, tmp_path):
    """Events, riders, opened text, settings, roots and rules: all as on the first one."""
    other = machine("two")
    assert other.settings == book.settings and other.head == book.head
    assert list(other.rows()) == list(book.rows())
    assert other.riders.all() == book.riders.all() and texts(other) == ["rides in rain"]
    other.append([noted("squeaks when wet")])
    time.sleep(1.0)
    assert texts(book) == ["rides in rain", "squeaks when wet"]
    for one in (book, other):
        assert one.path.is_relative_to(tmp_path) and one.home.differing() == []
        assert check_files(one.path).problems == [] and check_rules(one.path) == []
        assert one.path.stat().st_mode & 0o077 == 0


def test_a_mirrors_folder_is_the_book_on_the_store(book, address, machine):
    """Opened by its path, as the pages do, it is no book of its own: what is recorded is shared."""
    by_path = Book.open(book.path, clock=lambda: NOW)
    assert by_path.home.address == book.home.address == address
    by_path.append([noted("by the pages")])
    assert texts(machine("two")) == ["rides in rain", "by the pages"]


def test_there_is_no_book_where_none_was_made(book, machine, server, way):
    """A prefix without a book, one that is taken, and a bucket that is not there say so."""
    with pytest.raises(NoBook, match="lockring init s3://"):
        Book.open(f"{book.home.address}-other")
    with pytest.raises(BookExists, match="already holds something"):
        machine("two", is_new=True)
    with pytest.raises(WriteRefused):
        Book.init("s3://harbour-of-nobody/quay", shop="quay")
    way.is_down = True
    with pytest.raises(Unreachable, match="does not answer"):
        machine("three")


def test_the_same_entry_from_two_machines_is_one(book, machine):
    """An id that another machine recorded is answered with its receipt, not recorded again."""
    draft = noted("once") | {"id": "018f22e2-79b0-7cc3-98c4-000000000001"}
    other = machine("two")
    first = book.append([draft])
    again = other.append([draft])
    assert (again.commit, again.events) == (first.commit, again.events)
    assert texts(other).count("once") == 1 and other.head.commit == book.head.commit


def test_one_rider_is_entered_once_by_two_machines(book, machine):
    """The second is told, and what else it entered with them is taken back."""
    other = machine("two")
    book.riders.add([Rider("r-2", "Bento")])
    with pytest.raises(RiderExists, match="r-2"):
        other.riders.add([Rider("r-3", "Carla"), Rider("r-2", "Another")])
    assert [one.rider for one in other.riders.all()] == ["r-1", "r-2"]
    assert other.riders.get("r-2").name == "Bento"
    other.riders.add([Rider("R:4.x", "Odd id"), Rider("book", "Odd too"), Rider("x-1", "Odd 3")])
    assert [one.rider for one in book.riders.all()] == sorted(
        ["r-1", "r-2", "R:4.x", "book", "x-1"]
    )


def test_no_rider_is_entered_where_a_name_can_be_given_twice(book, machine, way):
    """A server that came not to heed the condition would let one row take another's place."""
    way.ignored = frozenset({"if-none-match"})
    with pytest.raises(WriteRefused, match="If-None-Match"):
        machine("two").riders.add([Rider("r-1", "Another")])
    assert book.riders.get("r-1").name == "Ines of the quay"


def test_one_rider_has_one_key_however_many_need_it_at_once(book, machine):
    """Four machines seal for the same new riders at once: all of it opens, everywhere."""
    machines = [machine(f"m{n}") for n in range(4)]
    riders = ["r-7", "r-8", "book", "R:9", None]
    with ThreadPoolExecutor(4) as hands:
        found = list(hands.map(lambda one: one.keys.keys_for(riders), machines))
    assert found == [found[0]] * 4 and len(set(found[0].values())) == len(riders)
    sealed = machines[0].keys.seal(found[0]["r-7"], "words", "e1", "note")
    assert [one.keys.open(sealed, "e1", "note") for one in machines] == ["words"] * 4


def test_a_key_is_in_the_store_before_what_it_seals(book, machine, way):
    """Where it cannot be made there, nothing is recorded."""
    book.append([of("bike_registered", bike="BKE00002", make="Ordwick")])
    way.lose = lambda method, path: method == "PUT" and "/keys/" in path
    with pytest.raises(WriteRefused, match="Nothing was recorded"):
        book.append([of("rider_changed", bike="BKE00002", rider="r-5", note="new")])
    way.lose = lambda method, path: False
    assert book.head.commit == 2
    book.append([of("rider_changed", bike="BKE00002", rider="r-5", note="new")])
    assert texts(machine("two")) == ["rides in rain", "new"]


def test_a_key_whose_reply_was_lost_is_the_key(book, machine, way):
    """What stands in the store is taken, whoever put it there."""
    way.drop_reply = lambda method, path: method == "PUT" and "/keys/" in path
    key = book.keys.keys_for(["r-6"])["r-6"]
    way.drop_reply = lambda method, path: False
    assert machine("two").keys.keys_for(["r-6"])["r-6"] == key


def test_a_new_riders_words_open_at_once_elsewhere(book, machine, monkeypatch):
    """A key that is not here yet is looked for where its event came from."""
    other = machine("two")
    assert texts(other) == ["rides in rain"]
    monkeypatch.setattr(register, "FOLLOWED_S", 1000.0)
    book.append([of("rider_changed", rider="r-9", note="a new rider")])
    assert until(lambda: other.head.commit == 2)
    assert texts(other) == ["rides in rain", "a new rider"]


def test_forgetting_reaches_every_machine(book, machine, address):
    """Row and key go from the store, and from a mirror that saw them; roots and rules hold."""
    other = machine("two")
    assert texts(other) == ["rides in rain"] and in_register(other, "Ines of the quay")
    with sqlite3.connect(other.riders.path) as connection:
        (secret,) = connection.execute("select secret from keys where rider = 'r-1'").fetchone()
    key = book.keys.keys_for(["r-1"])["r-1"]
    assert book.keys.destroy("r-1") == key and book.riders.remove("r-1") is True
    assert book.keys.destroy("r-1") is None and book.riders.remove("r-1") is False
    names = [one.name for one in home_of(address)._objects.all()]
    assert "riders/r-1" not in names and "keys/r-1" not in names
    for one in (book, other):
        assert texts(one) == [None] and one.riders.all() == []
        assert not in_register(one, "Ines of the quay")
        assert secret not in one.riders.path.read_bytes()
        assert check_files(one.path).problems == []
    machine("two").riders.add([Rider("r-1", "Another person")])
    assert book.riders.get("r-1").name == "Another person"
    assert book.keys.keys_for(["r-1"])["r-1"] != key and texts(book) == [None]


def test_what_is_forgotten_for_good_is_known_to_every_machine(book, machine):
    """So that no machine's backup brings a key back that another one destroyed."""
    noted_at = ForgottenKey("k-1", "r-1", NOW)
    Forgotten(book.riders.path).add([noted_at])
    book.keys.destroy("r-1")
    other = machine("two")
    assert Forgotten(other.riders.path).all() == [noted_at]
    Forgotten(other.riders.path).add([ForgottenKey(None, "r-2", NOW)])
    other = machine("two")
    assert len(Forgotten(machine("one").riders.path).all()) == 2


def test_a_local_book_forgets_in_the_same_way(tmp_path):
    """The same two methods act on a folder's register."""
    book = Book.init(tmp_path / "book", shop="quay", clock=lambda: NOW)
    book.riders.add([Rider("r-1", "Ines of the quay")])
    book.append([of("bike_registered"), of("rider_changed", rider="r-1", note="rides in rain")])
    key = book.keys.keys_for(["r-1"])["r-1"]
    assert texts(book) == ["rides in rain"]
    assert (book.keys.destroy("r-1"), book.keys.destroy("r-1")) == (key, None)
    assert (book.riders.remove("r-1"), book.riders.remove("r-1")) == (True, False)
    assert texts(book) == [None] and not in_register(book, "Ines of the quay")


def test_photos_are_kept_in_the_store_and_fetched_when_looked_at(book, machine, way, tmp_path):
    """Put before their event, kept in a mirror once seen, and told where they cannot be had."""
    Image.new("RGB", (40, 30), "teal").save(tmp_path / "bike.png")
    add_photo(book, TAG, None, "m1", (tmp_path / "bike.png").read_bytes(), caption="before")
    other, third = machine("two"), machine("three")
    (photo,) = photos_of(other, TAG)
    assert list((other.path / "photos").iterdir()) == []
    picture = read_photo(book, photo.photo, photo.key)
    assert picture is not None and read_photo(other, photo.photo, photo.key) == picture
    way.is_down = True
    assert read_photo(other, photo.photo, photo.key) == picture
    with pytest.raises(Unreachable):
        read_photo(third, photo.photo, photo.key)
    with pytest.raises(WriteRefused, match="Nothing was recorded"):
        add_photo(other, TAG, None, "m1", (tmp_path / "bike.png").read_bytes(), position="chain")


def test_without_the_store_everything_is_read_and_nothing_recorded(book, machine, way):
    """From the mirror, whole, also by a machine started meanwhile; and then it goes on."""
    machine("two")
    way.is_down = True
    other = machine("two")
    told = []
    other.home.when_silent(told.append)
    assert texts(other) == ["rides in rain"] and other.bikes() == [TAG]
    assert other.riders.get("r-1").name == "Ines of the quay"
    assert [(one.address, one.commit) for one in told] == [(book.home.address, 1)]
    for record in (
        lambda: other.append([noted("lost")]),
        lambda: other.riders.add([Rider("r-2")]),
        lambda: other.riders.remove("r-1"),
        lambda: other.keys.destroy("r-1"),
        lambda: other.keys.keys_for(["r-77"]),
    ):
        with pytest.raises(WriteRefused, match="Nothing was recorded: s3://"):
            record()
    way.is_down = False
    other.append([noted("kept")])
    assert until(lambda: other.home.silence is None)
    assert texts(machine("three")) == ["rides in rain", "kept"]
    assert [one.rider for one in other.riders.all()] == ["r-1"]


def test_signed_roots_are_held_by_all(book, machine):
    """Each machine signs with its own key; the witness file of each has the lines of all."""
    other = machine("two")
    first = signed_root(book)
    other.append([noted("more")])
    second = signed_root(other)
    signed_root(book)
    assert first.key != second.key
    for one in (book, other):
        assert one.home.differing() == []
        found = check_files(one.path)
        assert found.problems == []
        lines = (one.path / "witness.txt").read_text().splitlines()
        assert {first.signature, second.signature} <= {line.split("\t")[4] for line in lines}


def test_verify_sees_what_the_store_holds_otherwise(book, machine, address):
    """A changed object is told though this machine's copy of it is whole."""
    objects = home_of(address)._objects
    name = f"events/{book.files()[0].name}"
    content = objects.get(name)
    objects.put(name, content[:200] + bytes([content[200] ^ 1]) + content[201:])
    problems = machine("one").home.differing()
    assert [(one.event, one.rule) for one in problems] == [(name, "object")]
    objects.put(name, content)
    assert machine("one").home.differing() == []


def test_compaction_of_the_store_is_the_books(book, machine, monkeypatch):
    """Merged by one machine as it records, read the same by another; covered files go."""
    from ledger.storage import compaction

    monkeypatch.setattr(compaction, "BLOCKS", (4, 64))
    for turn in range(5):
        book.append([noted(f"note {turn}")])
    other = machine("two")
    rows = list(other.rows())
    assert book.compact().removed == ()
    assert len(book.compact(grace=timedelta(0)).removed) == 4
    assert list(other.rows()) == rows == list(machine("three").rows())
    assert len(machine("three").files()) == 3


def test_a_whole_export_comes_into_an_empty_prefix(book, machine, address, tmp_path, monkeypatch):
    """Ids, seqs and words are kept; each rider's key is one in the store."""
    from ledger.events import plain

    for turn in range(4):
        book.append([noted(f"note {turn}")])
    commits = [[plain(event) | {"data": book.reveal(event)["data"]}] for event in book.events()]
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "five"))
    made = Book.init(f"{address}-again", shop="quay", time_zone="Europe/Lisbon")
    made.riders.add([Rider("r-1", "Ines of the quay")])
    made.import_own(commits)
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "six"))
    other = Book.open(f"{address}-again")
    assert texts(other) == texts(book)
    assert [event.id for event in other.events()] == [event.id for event in book.events()]
    assert check_rules(other.path) == []
