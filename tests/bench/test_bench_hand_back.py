"""Handing back: what keeps a job open, what closing charges, and one press where all is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from stand_book import OWNER, TAG, bench, new_book, open_job

from ledger import clocks, quotes
from ledger.asking import Asker
from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.handing_back import charge_lines
from ledger.bench.telling import sentences
from ledger.book import Book
from ledger.errors import Refused
from ledger.quotes import QuoteRefused

LINES = [
    {"line_type": "labour", "code": "brakes", "minutes": 30, "net_minor": 3000},
    {"line_type": "part", "code": "Dune pads", "net_minor": 1450, "cost_minor": 700},
]


def quoted(book: Book, hand: Hand, *answers: str, form: str = "fixed") -> None:
    book.append([quotes.give_draft("mia", TAG, "J1", "Q1", LINES, "EUR", form=form)])
    said = dict(zip(("Q1.1", "Q1.2"), answers, strict=False))
    if said:
        given = quotes.quotes_of(book, TAG, "J1")
        book.append(quotes.answer_drafts(given, said, "mia", TAG, "phone"))


def unsafe(book: Book, hand: Hand) -> None:
    thin = amount("0.4", "mm")
    book.append([drafts.measured(hand, new_id(), "rear_brake.pads", "thickness", value=thin)])


def test_what_stops_closing_is_what_the_book_refuses(tmp_path: Path) -> None:
    """Step by step: unsafe and not told, told and not answered, then a running clock."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    unsafe(book, hand)
    advice = new_id()
    start = clocks.start_draft((), "mia", TAG, "J1", "brakes")
    tell = drafts.advised(hand, advice, "rear_brake.pads", "unsafe", "now", advice="Worn out")
    answer = drafts.answered(hand, new_id(), advice, "no", "in person")
    for then in ([tell], [answer], [start]):
        stops = bench(book).hand_back.stops
        with pytest.raises(Refused) as refused:
            book.append([drafts.closed(hand, new_id(), [], "EUR")])
        assert stops == sentences(refused.value.problems, "refused")
        assert stops
        book.append(then)
        if then == [answer]:
            assert bench(book).hand_back.stops == ()
            break
    book.append([start])
    back = bench(book).hand_back
    assert back.clocks == ("mia",) and len(back.stops) == 1
    (standing,) = back.unsafe
    assert standing.is_settled and standing.told == advice and standing.is_of_this_job
    assert any("fit to ride" in line or "decide" in line for line in back.tells)


def test_no_reply_settles_nothing(tmp_path: Path) -> None:
    """Told, and no reply: the job stays open."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    unsafe(book, hand)
    advice = new_id()
    book.append([drafts.advised(hand, advice, "rear_brake.pads", "unsafe", "now")])
    book.append([drafts.answered(hand, new_id(), advice, "no reply", "phone")])
    (standing,) = bench(book).hand_back.unsafe
    assert not standing.is_settled and bench(book).hand_back.stops


def test_closing_charges_what_was_agreed(tmp_path: Path) -> None:
    """Lines answered with yes, at their price; what was declined is not charged."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    quoted(book, hand, "yes", "no")
    seen = bench(book)
    assert [line.line.line for line in seen.hand_back.charges] == ["Q1.1"]
    lines = charge_lines(book, seen)
    book.append([drafts.closed(hand, new_id(), lines, "EUR")])
    (line,) = book.bike_events(TAG)[-1].data.lines
    assert (line.quote_line, line.net_minor) == ("Q1.1", 3000)


def test_a_price_up_to_may_come_to_less_and_never_to_more(tmp_path: Path) -> None:
    """The lower figure is charged; a higher one is refused, and so is a line nobody agreed."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    quoted(book, hand, "yes", "yes", form="up to")
    seen = bench(book)
    assert charge_lines(book, seen, {"Q1.1": 2500})[0]["net_minor"] == 2500
    for came_to in ({"Q1.1": 3001}, {"Q9.1": 1}):
        with pytest.raises(QuoteRefused):
            charge_lines(book, seen, came_to)


def test_costs_are_charged_and_not_shown(tmp_path: Path) -> None:
    """A mechanic sees the price and not the cost; the closing keeps the cost all the same."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    quoted(book, hand, "yes", "yes")
    seen = bench(book, actor="tom", asker=Asker("mechanic", "tom"))
    assert all(line.line.cost_minor is None for line in (*seen.quoted, *seen.hand_back.charges))
    assert "cost_minor" not in str([entry.data for entry in seen.entries])
    owners = bench(book, asker=OWNER)
    assert [line.line.cost_minor for line in owners.quoted] == [None, 700]
    tom = Hand("tom", TAG, "J1")
    book.append([drafts.closed(tom, new_id(), charge_lines(book, seen), "EUR")])
    assert [line.cost_minor for line in book.bike_events(TAG)[-1].data.lines] == [None, 700]


def test_rechecks_offer_what_was_worked_on_brakes_first(tmp_path: Path) -> None:
    """Everything fitted, removed, set or treated in this job; brakes before the drivetrain."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append(
        [
            drafts.treated(hand, new_id(), "chain", "waxed"),
            drafts.adjusted(hand, new_id(), "stem"),
            drafts.fitted(hand, new_id(), "rear_brake.pads", None),
        ]
    )
    back = bench(book).hand_back
    assert back.rechecks == ("rear_brake.pads", "stem", "chain")
    assert back.untorqued == ("stem",)
    assert any("stem" in line for line in back.tells)
