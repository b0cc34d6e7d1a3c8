"""What the rider's page says of advice, answers, prices, handing back; what it never says."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from typing import Any

import pytest
from visit_book import (
    COST_MINOR,
    MINUTES,
    NOW,
    OTHER_NAME,
    TAG,
    amount,
    at_bench,
    draft,
    quote_line,
    visited,
)

from ledger.book import Book
from ledger.reports import Report, report_of
from ledger.reports.page import page_data
from ledger.reports.words import ANOTHER_RIDERS
from ledger.signing import is_signature, statement
from ledger.view import plain_value
from ledger.vocabulary.caution import CAUTION

QUOTED = [quote_line("1", "brakes", 10_000), quote_line("2", "gears", 2_000, payer="r1")]


def report(book: Book) -> Report:
    return report_of(book, TAG, None, NOW)


def quote(*lines: dict[str, Any], name: str = "Q-1", **more: Any) -> dict[str, Any]:
    data = {"quote": name, "form": "fixed", "currency": "EUR", "lines": [*lines], **more}
    return draft("quote_given", "2026-03-02 10:00", data)


def answers(name: str = "Q-1", **by_line: str) -> dict[str, Any]:
    said = [{"line": line[1:], "answer": answer} for line, answer in by_line.items()]
    data = {"quote": name, "answers": said, "how": "phone"}
    return draft("quote_answered", "2026-03-02 10:30", data)


def closed(*lines: dict[str, Any]) -> dict[str, Any]:
    data = {"currency": "EUR", "lines": [*lines]}
    return draft("job_closed", "2026-03-02 17:00", data)


def test_no_reply_is_not_a_yes(book: Book) -> None:
    """Advice that was answered says how; no reply and no answer both say they are no yes."""
    visited(
        book,
        *(at_bench("advised", position=place, verdict="due", urgency="soon")
          for place in ("chain", "cassette", "rear_wheel.tyre")),
    )  # fmt: skip
    ids = {event.data.position: event.id for event in book.bike_events(TAG)
           if event.kind == "advised"}  # fmt: skip
    for place, said in (("chain", "no"), ("cassette", "no reply")):
        data = {"advice": ids[place], "answer": said, "how": "phone"}
        book.append([draft("advice_answered", "2026-03-09 10:00", data, None)])
    assert {row.what: row.answer for row in report(book).advice} == {
        "Chain": "no",
        "Cassette": "no reply, which is not a yes",
        "Rear tyre": "not answered, which is not a yes",
    }


def test_what_was_quoted_without_a_yes_is_told_as_not_done(book: Book) -> None:
    """A declined line and one nobody answered stand among the advice; an accepted one does not."""
    lines = [*QUOTED, quote_line("3", "brake_bleed", 500, position="rear_brake")]
    visited(book, quote(*lines), answers(_1="yes", _2="no"), is_closed=False)
    told = [(row.what, row.answer) for row in report(book).advice]
    assert told == [("Gears", "no"), ("Rear brake", "not answered, which is not a yes")]


def test_a_yes_to_a_replaced_quote_is_a_yes_to_nothing(book: Book) -> None:
    """Only the newest version's lines and answers count."""
    newer = quote(quote_line("1", "brakes", 9_000), name="Q-2", replaces="Q-1")
    newer["occurred_at"] = "2026-03-02T11:00:00Z"
    visited(book, quote(QUOTED[0]), answers(_1="yes"), newer, is_closed=False)
    found = report(book)
    assert [row.answer for row in found.advice] == ["not answered, which is not a yes"]
    assert found.price == ""


def test_one_sum_is_told_with_tax(book: Book) -> None:
    """120.00 agreed comes to 145.20 with 21 % tax, as agreed first and as charged in the end."""
    visited(book, quote(*QUOTED), answers(_1="yes", _2="yes"), is_closed=False)
    assert report(book).price == "Agreed so far: €145.20 with tax"
    charges = [{**line, "line": f"c{line['line']}", "quote_line": line["line"]} for line in QUOTED]
    book.append([closed(*charges)])
    assert report(book).price == "Charged: €145.20 with tax"


def test_lines_of_another_payer_are_in_no_sum(book: Book) -> None:
    """What somebody else pays is theirs to know; that there is more is said."""
    lines = [QUOTED[0], quote_line("2", "gears", 2_000, payer="fleet-7")]
    visited(book, quote(*lines), answers(_1="yes", _2="yes"), is_closed=False)
    said = report(book).price
    assert said == "Agreed so far: €121.00 with tax; other payers' lines are not in it"


def test_work_nobody_is_charged_for_is_said(book: Book) -> None:
    """Goodwill is named by what was done, without its minutes or its worth."""
    given = {"task": "cleaning", "minutes": MINUTES, "value_minor": COST_MINOR, "currency": "EUR"}
    visited(book, at_bench("goodwill_given", **given, note="Bell oiled"))
    assert report(book).unbilled == ("cleaning, Bell oiled",)


def test_handing_back_says_who_rode_it_or_why_nobody_did(book: Book) -> None:
    """No test ride has its reason; warnings have their place; what was looked at again is named."""
    released = {
        "is_test_ridden": False, "why_not_ridden": "ice", "rechecked": ["stem"],
        "warnings": [{"position": "front_brake", "warning": "bites late"}],
    }  # fmt: skip
    visited(book, draft("released", "2026-03-02 16:00", released))
    back = report(book).handed_back
    assert back is not None
    assert (back.ride, back.rechecked) == ("not test ridden, ice", "stem")
    assert back.warnings == ("front brake: bites late",)


def test_a_visit_that_is_not_over_says_so(book: Book) -> None:
    """Nothing reads as handed back while the work goes on."""
    found = report(visited(book, is_closed=False))
    assert found.handed_back is None
    said = json.dumps(page_data(found))
    assert "not finished" in said and "still open" in said


def test_what_was_disturbed_and_not_torqued_is_said(book: Book) -> None:
    """A stem taken off and on again, with no torque after, is named on the page."""
    visited(book, at_bench("adjusted", position="stem", note="turned"))
    found = report(book)
    assert found.not_torqued == ("stem",)
    assert "Disturbed and not torqued since: stem." in json.dumps(page_data(found))


def test_no_cost_no_minutes_and_no_other_rider_are_on_the_page(book: Book) -> None:
    """None of them is in the plain data or in what is printed."""
    goodwill = {"task": "cleaning", "minutes": MINUTES, "value_minor": COST_MINOR}
    visited(
        book,
        quote(*QUOTED),
        answers(_1="yes", _2="yes"),
        at_bench("labour_logged", task="brakes", minutes=MINUTES),
        at_bench("goodwill_given", **goodwill, currency="EUR"),
    )
    found = report(book)
    for said in (json.dumps(plain_value(found)), json.dumps(page_data(found))):
        for secret in (str(COST_MINOR), "987.65", str(MINUTES), "4,321", OTHER_NAME, "r2"):
            hashes = (found.receipt.root, found.receipt.signature or "-")
            assert secret not in said.replace(hashes[0], "").replace(hashes[1], "")


def test_another_riders_words_and_sums_are_left_out(book: Book) -> None:
    """Once the bike is somebody else's, its old page has neither the old name nor the old words."""
    visited(book, quote(*QUOTED), answers(_1="yes", _2="yes"), complaint="Rattles", is_closed=False)
    book.append([draft("rider_changed", "2026-03-20 10:00", {"rider": "r2"}, None)])
    found = report(book)
    assert (found.rider, found.price) == (None, "")
    assert found.asked == (ANOTHER_RIDERS.capitalize(),)


def test_the_page_never_calls_anything_safe(book: Book) -> None:
    """The word stands nowhere; the caution that defers to maker, rules and mechanic does."""
    visited(
        book,
        at_bench("inspected", position="rear_brake", verdict="within limit"),
        at_bench("measured", position="rear_wheel.tyre", quantity="pressure",
                 value=amount("4 bar")),
    )  # fmt: skip
    said = json.dumps(page_data(report(book)))
    assert not re.search(r"\bsafe\b", said, re.IGNORECASE)
    assert CAUTION in said


def test_the_receipt_is_what_the_book_was(book: Book) -> None:
    """Size, root and time are the head's, and the seq is the newest entry of that job."""
    visited(book, at_bench("treated", position="chain", treatment="cleaned"))
    book.append([draft("rider_changed", "2026-03-20 10:00", {"rider": "r1"}, None)])
    receipt, head = report(book).receipt, book.head
    newest = max(event.seq or 0 for event in book.bike_events(TAG) if event.job == "J-1")
    assert (receipt.size, receipt.root, receipt.recorded_at) == (
        head.size, head.root, head.recorded_at
    )  # fmt: skip
    assert receipt.seq == newest < head.size


def test_the_receipt_is_signed_and_noted(book: Book) -> None:
    """The code's line holds the book's signature, and the witness file the same root, once."""
    visited(book, at_bench("treated", position="chain", treatment="cleaned"))
    receipt = report(book).receipt
    assert report(book).receipt == receipt
    (noted,) = (book.path / "witness.txt").read_text().splitlines()
    size, root, moment, key, signature = noted.split("\t")
    told = json.loads(receipt.text())
    assert (int(size), root, moment, signature) == (
        told["size"], told["root"], told["at"], told["sig"]
    )  # fmt: skip
    said = statement(told["shop"], told["size"], told["root"], receipt.recorded_at)
    assert is_signature(key, said, told["sig"])


def test_a_book_that_can_only_be_read_has_an_unsigned_page(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the key cannot be made or the root not noted, the page is made all the same."""
    visited(book, at_bench("treated", position="chain", treatment="cleaned"))

    def only_read(*_: object) -> None:
        raise PermissionError("only to be read")

    monkeypatch.setattr("ledger.reports.gather.signed_root", only_read)
    assert "sig" not in json.loads(report(book).receipt.text())


def test_the_page_is_as_at_the_instant_asked(book: Book) -> None:
    """What happened later is not in it."""
    visited(book, at_bench("treated", position="chain", treatment="cleaned"))
    book.append([draft("job_opened", "2026-03-20 09:00", {}, "J-2")])
    assert report_of(book, TAG, None, NOW - timedelta(days=20)).job == "J-1"
