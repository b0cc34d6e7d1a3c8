"""Addresses of the pages of time, earnings and quotes: what they ask for and leave out."""

from __future__ import annotations

from datetime import date
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import labour_address as address
from dashboard.labour_address import earn_asked, time_asked
from dashboard.labour_worked import Plan
from dashboard.quote_address import QuoteAsked, quote_asked, tasks_of, tasks_text
from ledger.vocabulary import standard

TODAY = date(2026, 9, 30)
ANY = st.dictionaries(
    st.sampled_from(["as_at", "since", "until", "row", "by", "job", "what_if", "tier", "tasks",
                     "kind", "age", "tag", "risk", "price", "position", "sure"]),
    st.text(max_size=30) | st.sampled_from(["2026-01-01", "2027-01-01", "~", "brakes:45", "old"]),
)  # fmt: skip


def test_what_is_usual_is_not_in_the_address() -> None:
    """Nothing asked for is the page's own address; something else stands in it, once."""
    asked = time_asked({}, TODAY)
    assert asked.where() == "time"
    assert asked.where(by="month") == "time?by=month"
    assert asked.where(since="2026-01-01", row="~") == "time?since=2026-01-01&row=~"


@given(ANY)
def test_any_address_is_answered_and_comes_back_the_same(typed: dict[str, str]) -> None:
    """Whatever stands in an address, a page can be made of it, and its address means the same."""
    words = standard()
    for asked_of in (
        lambda told: time_asked(told, TODAY),
        lambda told: earn_asked(told, TODAY),
        lambda told: quote_asked(told, TODAY, words),
    ):
        asked = asked_of(typed)
        assert asked_of(dict(asked.params())) == asked
        query = asked.where().partition("?")[2]
        assert asked_of(dict(parse_qsl(query))) == asked


@pytest.mark.parametrize(
    ("since", "until", "found"),
    [
        ("2026-01-01", "2026-03-31", ("2026-01-01", "2026-03-31")),
        ("2026-04-01", "2026-03-31", ("", "")),
        ("2026-12-01", "", ("", "")),
        ("2026-01-01", "2026-12-31", ("2026-01-01", "")),
        ("no day", "2026-03-31", ("", "2026-03-31")),
    ],
)
def test_days_that_cannot_be_are_not_asked_for(
    since: str, until: str, found: tuple[str, str]
) -> None:
    """An end before the beginning, or days to come, are taken as the usual ones."""
    asked = time_asked({"since": since, "until": until}, TODAY)
    assert (asked.since, asked.until) == found


def test_changes_by_tier() -> None:
    """Price and minutes a tier, held to what the sliders can; what is nothing is left out."""
    asked = earn_asked({"what_if": "full_service:5:-10,overhaul:900:0,odd:x:1,quick:0:0"}, TODAY)
    assert asked.changes == {"full_service": (5, -10), "overhaul": (50, 0)}
    assert asked.where() == "earnings?what_if=full_service%3A5%3A-10%2Coverhaul%3A50%3A0"


def test_usual_periods_are_offered_and_one_is_chosen() -> None:
    """Twelve months, thirteen weeks of days, this year and the last; both ends are included."""
    asked = time_asked({"since": "2025-01-01", "until": "2025-12-31"}, TODAY)
    offered = address.periods(asked, TODAY)
    assert [(words, chosen) for words, _, chosen in offered] == [
        ("12 months", False), ("13 weeks", False), ("2026", False), ("2025", True)
    ]  # fmt: skip
    since = dict(parse_qsl(offered[1][1].partition("?")[2]))["since"]
    assert (TODAY - date.fromisoformat(since)).days + 1 == 13 * 7


def test_a_job_is_found_from_either_page_in_the_same_days() -> None:
    """The address of a job keeps the days it was found in."""
    asked = earn_asked({"since": "2026-01-01", "as_at": "2026-06-30"}, TODAY)
    assert asked.to_job("j-1") == "time?as_at=2026-06-30&since=2026-01-01&job=j-1"


def test_tasks_with_their_minutes() -> None:
    """Minutes that are told are kept, others are the usual ones, and nonsense is left out."""
    told = tasks_of("brakes:45,drivetrain,gears:x,no task:5,")
    assert told == {"brakes": 45.0, "drivetrain": None, "gears": None}
    assert tasks_text(told) == "brakes:45,drivetrain,gears"


def test_a_plan_is_the_first_tier_unless_something_else_is_planned() -> None:
    """Nothing asked for plans the shop's first tier; tasks alone plan those alone."""
    assert QuoteAsked().plan("quick_check", 2) == Plan(tier="quick_check")
    assert QuoteAsked(tasks="brakes:45").plan("quick_check", 2) == Plan(tasks=(("brakes", 45.0),))
    asked = QuoteAsked(tier="~", age="old", price="12.5", risk=10)
    assert asked.plan("quick_check", 2) == Plan(is_old=True, risk=0.1, price_minor=1250)
    assert QuoteAsked(tier="~").plan("quick_check", 2).is_empty
    assert QuoteAsked(price="1.234").plan(None, 3).price_minor == 1234
