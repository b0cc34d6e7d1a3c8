"""Finding a bike whose tag washed off."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from stand_book import OTHER, TAG, Clock, new_book, open_job

from ledger.bench import drafts
from ledger.bench.drafts import Hand, new_id
from ledger.bench.finding import look_for, tag_of
from ledger.book import Book
from ledger.errors import Refused
from ledger.riders import Rider
from tests.long import times


def tags(book: Book, words: str) -> list[str]:
    return [one.tag for one in look_for(book, words)]


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Two bikes: a green Ordwick of Inge Marsh, and one nobody knows much of, seen later."""
    made = new_book(tmp_path / "book")
    told = {"description": "child seat, DUCK stickers", "bike_kind": "cargo"}
    made.append([drafts.registered("mia", OTHER, new_id(), **told)])
    return made


def test_every_word_is_looked_for_everywhere(book: Book) -> None:
    """In make, model, kind, description and the rider's name, whatever the letters' size."""
    assert tags(book, "ordwick") == tags(book, "TERN ordw") == tags(book, "marsh tern") == [TAG]
    assert tags(book, "duck") == [OTHER, TAG], "seen last first"
    assert tags(book, "duck cargo") == [OTHER]
    assert tags(book, "duck zeppelin") == []
    (one,) = look_for(book, "inge duck")
    assert (one.rider_name, one.matched) == ("Inge Marsh", ("rider", "description"))


def test_a_tag_is_found_as_it_is_read_off_a_dirty_sticker(book: Book) -> None:
    """A part of it, in small letters, with a dash, with I for 1 and O for 0."""
    assert tags(book, "7k3m-9q") == [TAG]
    assert tags(book, "m9qxa") == [TAG]
    book.append([drafts.registered("mia", "1070AAAA", new_id())])
    assert tags(book, "io7o") == ["1070AAAA"]


def test_nothing_typed_gives_what_was_seen_last(book: Book) -> None:
    """And a bike comes first when something is recorded of it."""
    assert tags(book, "") == [OTHER, TAG]
    open_job(book)
    found = look_for(book, "")
    assert [one.tag for one in found] == [TAG, OTHER]
    assert [one.open_job for one in found] == ["J1", None]
    assert len(look_for(book, "", most=1)) == 1


def test_a_bike_on_the_bench_is_never_cut_off(book: Book) -> None:
    """However many were seen since, under whichever of its tags its job was opened."""
    open_job(book)
    book.append([drafts.noted(Hand("mia", OTHER), new_id(), "frame", "A dent")])
    assert [one.tag for one in look_for(book, "", most=1)] == [TAG]
    assert [one.tag for one in look_for(book, "duck")] == [TAG, OTHER]
    late = "11111111"
    book.append([drafts.registered("mia", late, new_id(), description="red")])
    book.append([drafts.linked("mia", new_id(), TAG, late)])
    book.append([drafts.noted(Hand("mia", OTHER), new_id(), "frame", "Another")])
    assert [one.tag for one in look_for(book, "", most=1)] == [late]


def test_a_tag_is_read_as_it_is_printed() -> None:
    """With a space after four signs; the last one that is said counts, and words are no tag."""
    assert tag_of("7K3M 9QXA") == tag_of("the tag 7k3m 9qxa") == "7K3M9QXA"
    assert tag_of("7K3M9QXA 2B4D 6F8H") == "7K3M9QXA"
    assert tag_of("red bike") is tag_of("7K3M 9QX") is None


def test_joined_tags_are_one_bike_that_either_finds(book: Book) -> None:
    """Both tags find it, and what either was registered with."""
    book.append([drafts.linked("mia", new_id(), TAG, OTHER)])
    (one,) = look_for(book, "ordwick stickers")
    assert (one.tag, one.other_tags) == (OTHER, (TAG,))
    assert tags(book, TAG) == tags(book, OTHER) == [OTHER]


def test_a_forgotten_riders_words_find_nothing(book: Book) -> None:
    """With the key gone the description is noise, and the name is out of the register."""
    told = drafts.registered("mia", "55555555", new_id(), description="pink basket")
    hand = Hand("mia", "55555555")
    book.riders.add([Rider("r-9", name="Ebb Sandling")])
    book.append([told, drafts.rider_set(hand, new_id(), "r-9")])
    assert tags(book, "sandling") == tags(book, "pink") == ["55555555"]
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        register.execute("delete from riders where rider = 'r-9'")
        register.execute("delete from keys where rider in ('r-9', '')")
    for one in (book, Book.open(book.path, clock=Clock())):
        assert tags(one, "sandling") == tags(one, "pink") == []
        assert "55555555" in tags(one, "")


@pytest.mark.parametrize(
    ("text", "tag"),
    [
        ("https://bench.example/bike?tag=7K3M9QXA", TAG),
        ("7k3m-9qxa", TAG),
        ("http://10.0.0.2:8501/bench/7K3M9QXA#now", TAG),
        ("IOLOAAAA", "1010AAAA"),
        ("green Ordwick", None),
        ("7K3M9QX", None),
        ("", None),
    ],
)
def test_a_tag_is_read_out_of_a_link_or_text(text: str, tag: str | None) -> None:
    """The last part that can be a tag is one, folded as tags are."""
    assert tag_of(text) == tag


@example(["new", "link", "there", "strike"])
@example(["new", "strike", "new", "rider"])
@settings(
    max_examples=times(30, usual=8), suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.sampled_from(("new", "note", "strike", "link", "rider", "there")), max_size=8))
def test_a_catalogue_that_follows_is_one_made_anew(
    tmp_path_factory: pytest.TempPathFactory, presses: list[str]
) -> None:
    """After any commits, by whichever program, the same bikes are found as in a book opened
    anew."""
    clock = Clock()
    here = new_book(tmp_path_factory.mktemp("found") / "book", clock)
    there = Book.open(here.path, clock=clock)
    fresh = iter(("10000000", "20000000", "30000000", "40000000", "50000000", "60000000",
                  "70000000", "80000000"))  # fmt: skip
    last = TAG
    for press in presses:
        look_for(here, "")
        writer = there if press == "there" else here
        made = {
            "new": drafts.registered("mia", "10000000", new_id()),
            "note": drafts.noted(Hand("mia", last), new_id(), "frame", "A dent"),
            "there": drafts.noted(Hand("mia", TAG), new_id(), "frame", "A dent"),
            "rider": drafts.rider_set(Hand("mia", last), new_id(), "r-1"),
            "link": drafts.linked("mia", new_id(), TAG, last),
            "strike": drafts.struck(Hand("mia", last), new_id(),
                                    here.bike_events(last)[-1].id, "a slip"),
        }  # fmt: skip
        if press == "new":
            last = next(fresh)
            made["new"] = drafts.registered("mia", last, new_id(), description=f"no {last[0]}")
        try:
            writer.append([made[press]])
        except Refused:
            continue
        anew = Book.open(here.path, clock=clock)
        for words in ("", "ordwick", "no", "marsh"):
            assert look_for(here, words) == look_for(anew, words)
        last = last if here.bike_events(last) else TAG
