"""The call list through the app's entry point, over a small book."""

from __future__ import annotations

import html
import re
from datetime import date, datetime
from pathlib import Path

import pytest
import small_book
import worn_book
from app_page import Opener, shown
from worn_book import AS_AT, ON_THE_BENCH

from dashboard import due_panels, home_panels
from ledger.book import Book
from ledger.figures.due import due_list
from ledger.figures.due_words import DueWords


@pytest.fixture(scope="module")
def ten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of ten bikes."""
    path = tmp_path_factory.mktemp("ten") / "book"
    worn_book.ten_bikes_book(path)
    return path


def plain(page: str) -> str:
    """Give a page's words alone."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def tags(page: str) -> list[str]:
    """Give the bikes of a page in their order."""
    return re.findall(r'lk-owed"><a href="bike\?tag=(\w+)', page)


def test_the_calls_say_who_what_when_and_how_sure(ten: Path, opened: Opener) -> None:
    """A commuter's chain stands there with its reading, limit, chance, and since when not seen."""
    page = plain(shown(opened(ten, page="due", as_at=AS_AT)))
    assert "Tilde Moen, tilde@moen.invalid" in page
    assert "Chain, Halm K10" in page
    assert re.search(r"0\.\d+ % on 14 Apr 2025, limit 0\.75 %; .*? % that it is past now", page)
    assert "not seen since 14 Apr 2025" in page


def test_without_consent_there_is_no_name_and_no_message(ten: Path, opened: Opener) -> None:
    """A rider who did not agree is an id; only the one who did has a message to copy."""
    page = shown(opened(ten, page="due", as_at=AS_AT))
    assert "r-3: no consent to be contacted" in page
    assert page.count("<textarea") == 1
    message = html.unescape(re.search(r"<textarea[^>]*>(.*?)</textarea>", page, re.S)[1])
    assert message.startswith("Hello Tilde Moen,\nthis is Saltquay Cycles")
    assert 'href="mailto:tilde%40moen.invalid?body=Hello%20Tilde%20Moen' in page


def test_an_address_with_a_bike_gives_the_call_about_it_alone(ten: Path, opened: Opener) -> None:
    """As Home links to it: that keeper's bikes, and the way to all calls."""
    every = tags(shown(opened(ten, page="due", as_at=AS_AT)))
    page = shown(opened(ten, page="due", as_at=AS_AT, bike=every[-1].lower()))
    assert every[-1] in tags(page) and len(tags(page)) < len(every)
    assert f"Only about {every[-1]} and its keeper. All calls" in plain(page)


def test_home_tells_overdue_and_due_this_week_apart(ten: Path) -> None:
    """Each is counted for itself, and each row leads to that person's call."""
    book = Book.open(ten)
    found = due_list(book, datetime.fromisoformat(f"{AS_AT}T23:59:59+00:00"), within_days=7)
    page = home_panels.due(found, 1, DueWords(book.settings))
    for sort, said in home_panels.STANDING.items():
        calls = [call for call in found.calls if call.first.standing == sort]
        assert (f"{len(calls)} {said}" in plain(page)) == bool(calls)
        assert not calls or f"due?within=7&amp;bike={calls[0].bikes[0].bike}" in page
    assert {call.first.standing for call in found.calls} >= {"past"}


def test_a_bike_on_the_bench_stands_apart(ten: Path, opened: Opener) -> None:
    """A bike with a job open is told to the mechanic and not among the calls."""
    page = shown(opened(ten, page="due", as_at=AS_AT))
    calls, bench = page.split("<h2>On the bench</h2>")
    assert ON_THE_BENCH not in tags(calls)
    assert tags(bench) == [ON_THE_BENCH]
    assert "tell the mechanic, do not call" in bench
    assert "last entry 27 Jun 2025" in bench
    assert "not seen since" not in bench


def test_a_longer_look_ahead_finds_more(ten: Path, opened: Opener) -> None:
    """Calls within a week are among those within a quarter, and each week has its heading."""
    few = tags(shown(opened(ten, page="due", within="7", as_at=AS_AT)))
    page = shown(opened(ten, page="due", within="365", as_at=AS_AT))
    assert set(few) < set(tags(page))
    assert re.search(r"Week of \d+ \w+ 202[56]", page)


def test_the_orders_are_what_they_say(ten: Path) -> None:
    """By chance falls, by rider rises with names before ids, by week is the list's own."""
    book = Book.open(ten)
    calls = due_list(book, book.instant(AS_AT), within_days=365).calls
    chances = due_panels.sorted_calls(calls, "chance").chances
    assert chances == sorted(chances, reverse=True)
    assert len(set(chances)) > 1
    people = [call.keeper for call in due_panels.sorted_calls(calls, "rider")]
    assert people[0].name == "Tilde Moen"
    assert [one.rider for one in people[1:]] == sorted(str(one.rider) for one in people[1:])
    assert due_panels.sorted_calls(calls, "date") == list(calls)


def test_the_order_asked_for_is_marked(ten: Path, opened: Opener) -> None:
    """The links that sort and look ahead mark what is chosen, and keep the day."""
    page = shown(opened(ten, page="due", sort="rider", within="56", as_at=AS_AT))
    assert re.search(r'aria-current="true">by rider<', page)
    assert re.search(r'aria-current="true">56 days<', page)
    assert f"due?within=14&amp;sort=rider&amp;as_at={AS_AT}" in page


@pytest.mark.parametrize("asked", [{"within": "soon"}, {"within": "-3"}, {"sort": "colour"}])
def test_an_address_that_asks_nonsense_gets_the_usual_list(
    ten: Path, opened: Opener, asked: dict[str, str]
) -> None:
    """What cannot be read falls back to 28 days, by week."""
    page = shown(opened(ten, page="due", as_at=AS_AT, **asked))
    assert re.search(r'aria-current="true">28 days<', page)
    assert re.search(r'aria-current="true">by week<', page)


def test_those_long_not_seen_are_counted_and_listed_where_asked_for(
    ten: Path, opened: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two years on only the bike on the bench is listed; the toggle lists the others, and back."""
    monkeypatch.setattr("dashboard.data.today", lambda book: date(2027, 7, 1))
    page = shown(opened(ten, page="due", as_at="2027-06-30"))
    calls, _ = page.split("<h2>On the bench</h2>")
    assert tags(calls) == []
    assert re.search(r"9 more bikes were not seen since 6 Jan(uary)? 2026\.", plain(page))
    assert re.search(r'href="[^"]*all=1"[^>]*>also those long not seen<', page)
    page = shown(opened(ten, page="due", as_at="2027-06-30", all="1"))
    calls, _ = page.split("<h2>On the bench</h2>")
    assert len(tags(calls)) == 9
    assert re.search(r'aria-current="true">also those long not seen<', page)
    assert "more bikes were" not in page


def test_an_empty_book_has_nobody_to_call(tmp_path: Path, opened: Opener) -> None:
    """The page says that nothing measured is due, and that this is not everything."""
    small_book.empty_book(tmp_path / "book")
    page = shown(opened(tmp_path / "book", page="due"))
    assert "Nobody to call" in page
    assert "What nobody measured is not in it" in page


def test_safety_parts_carry_the_caution(quay: Path, opened: Opener) -> None:
    """Where brake pads are due, the maker's figure and a mechanic decide; never 'safe'."""
    page = plain(shown(opened(quay, page="due", as_at="2025-06-30")))
    assert "Rear brake pads" in page
    assert "until a qualified mechanic has looked at it, the maker's figure decides" in page
    assert not re.search(r"\bsafe\b", page, re.I)
    assert not re.search(r"\b(nan|NaN|inf|None)\b", page)


def test_the_first_day_of_all_is_a_day_before_the_book(ten: Path, opened: Opener) -> None:
    """A day no book reaches back to gives a page with nothing on it, and says which day that is."""
    page = shown(opened(ten, page="due", as_at="0001-01-01"))
    assert "Nobody to call" in page
    assert "As at the end of 1 Jan 1900" in page
