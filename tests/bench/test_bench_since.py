"""A press records only over what its page showed: what another hand recorded since is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from stand_book import TAG, bench, new_book, open_job

from ledger.bench import drafts
from ledger.bench.drafts import Draft, Hand, new_id
from ledger.bench.shapes import Bench
from ledger.bench.since import Overtaken, never_unseen, overtaken_by
from ledger.book import Book

RIM = "front_wheel.rim"
TOM = Hand("tom", TAG, "J1")


def rest(seen: Bench, system: str = "front_wheel") -> list[Draft]:
    """Give what tom's press over the rest of a system records, as his page shows it."""
    shown = next(one.rest for one in seen.systems if one.system == system)
    return [drafts.rest_within(TOM, new_id(), shown)]


def guarded(book: Book, seen: Bench, made: list[Draft]) -> None:
    """Record as a page does."""
    book.append(
        made, only_if=lambda: never_unseen(book, seen, made, lambda event: f"over {event.id}")
    )


def test_a_stale_page_never_covers_what_was_found_unsafe(tmp_path: Path) -> None:
    """The whole press is kept out, under the lock and from another program too; a page that is
    drawn anew leaves the place out and records."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    there = Book.open(tmp_path / "book", clock=book._now)
    seen = bench(there, "tom")
    made = rest(seen)
    assert RIM in made[0]["data"]["covers"]
    unsafe = drafts.found(hand, new_id(), RIM, "unsafe", fault="cracked")
    book.append([unsafe])
    with pytest.raises(Overtaken, match=f"over {unsafe['id']}"):
        guarded(there, seen, made)
    anew = bench(there, "tom")
    again = rest(anew)
    assert RIM not in again[0]["data"]["covers"]
    guarded(there, anew, again)
    assert [one.position for one in bench(book).hand_back.unsafe] == [RIM]


def test_the_same_system_is_not_recorded_twice(tmp_path: Path) -> None:
    """Both have it open; the second press is kept out, one elsewhere is not."""
    book = new_book(tmp_path / "book")
    open_job(book)
    seen = bench(book, "tom")
    guarded(book, seen, rest(seen))
    with pytest.raises(Overtaken):
        guarded(book, seen, rest(seen))
    guarded(book, seen, rest(seen, "rear_wheel"))


@pytest.mark.parametrize(
    ("theirs", "mine", "is_kept_out"),
    [("unsafe", "unsafe", True), ("unsafe", "watch", True), ("watch", "unsafe", False)],
)
def test_a_finding_is_overtaken_by_one_as_bad(
    tmp_path: Path, theirs: str, mine: str, is_kept_out: bool
) -> None:
    """The same place judged the same or worse is looked at again; a worse finding always goes
    in, and so does one at another place."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    seen = bench(book, "tom")
    book.append([drafts.found(hand, new_id(), RIM, theirs)])
    for position, is_same in ((RIM, True), ("front_wheel.spokes", False)):
        made = [drafts.found(TOM, new_id(), position, mine)]
        assert (overtaken_by(book, seen, made) is not None) == (is_kept_out and is_same)


def test_a_press_sent_again_is_answered_whatever_came_since(tmp_path: Path) -> None:
    """What is in the book already is not refused for what was recorded after it."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    seen = bench(book, "tom")
    made = rest(seen)
    book.append(made)
    book.append([drafts.found(hand, new_id(), RIM, "unsafe")])
    guarded(book, seen, made)


def test_a_reading_never_goes_over_anothers_unseen(tmp_path: Path) -> None:
    """Two read the same rotor: the second sees the first's figure before his own stands for it;
    another position, another quantity and another point are nobody's business."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    seen = bench(book, "tom")

    def read(who: Hand, value: str, **other: str) -> list[Draft]:
        told = {"position": "rear_brake.rotor", "quantity": "thickness"} | other
        amount = drafts.amount(value, "mm")
        return [drafts.measured(who, new_id(), **told, value=amount)]  # type: ignore[arg-type]  # the two words and a point

    book.append(read(hand, "1.4"))
    with pytest.raises(Overtaken):
        guarded(book, seen, read(TOM, "1.75"))
    guarded(book, seen, read(TOM, "1.75", position="front_brake.rotor"))
    anew = bench(book, "tom")
    guarded(book, anew, read(TOM, "1.45"))


def test_a_setting_never_goes_over_anothers_unseen(tmp_path: Path) -> None:
    """The same of a pressure that was set meanwhile."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    seen = bench(book, "tom")

    def pressed(who: Hand, value: str) -> list[Draft]:
        amount = drafts.amount(value, "bar")
        return [drafts.pressure_set(who, new_id(), "front_wheel.tyre", amount)]

    book.append(pressed(hand, "2.5"))
    with pytest.raises(Overtaken):
        guarded(book, seen, pressed(TOM, "3.5"))
    guarded(book, bench(book, "tom"), pressed(TOM, "3.5"))
