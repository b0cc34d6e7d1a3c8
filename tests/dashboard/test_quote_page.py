"""Quotes through the app's entry point: a planned job, a price at a risk, a part to replace."""

from __future__ import annotations

import re
from pathlib import Path

import paid_book
import pytest
import small_book
from app_page import Opener, shown
from paid_book import AS_AT, SERVICE, TAGS
from test_faults_page import rows_with, words_of


@pytest.fixture(scope="module")
def paid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of fourteen closed jobs and one open."""
    path = tmp_path_factory.mktemp("paid") / "book"
    paid_book.paid_book(path)
    return path


def minutes_of(words: str, name: str) -> int:
    """Give the minutes a tile shows."""
    return int(re.search(rf"{name} (\d+) min", words)[1])


def test_a_planned_tier_has_its_minutes_and_a_price_first(paid: Path, opened: Opener) -> None:
    """Services took 60 to 114 minutes of 60: half take more than planned, P80 more than P50."""
    app = opened(paid, page="quote", as_at=AS_AT, tier=SERVICE)
    words = words_of(app)
    p50, p80 = (minutes_of(words, f"{name} take less than") for name in ("Half", "Four in five"))
    assert 60 < p50 < p80 < 150
    assert "planned: 60 min" in words
    assert "Not enough 20 % of the time €" in words
    rows = {row["label"]: row["minutes"] for row in rows_with(app, "label", "minutes")}
    assert rows["Planned"] == 60.0
    assert "Today's bench can take it" in words


def test_a_greater_risk_has_a_lower_price(paid: Path, opened: Opener) -> None:
    """The slider moves the address, and the price with it."""
    app = opened(paid, page="quote", as_at=AS_AT, tier=SERVICE)

    def price() -> float:
        return float(re.search(r"of the time €([\d.,]+)", words_of(app))[1].replace(",", ""))

    before = price()
    app.slider(key="plan-risk").set_value(40).run()
    assert app.query_params["risk"] == "40"
    assert price() < before


def test_a_price_is_tried(paid: Path, opened: Opener) -> None:
    """A cent is never enough, and a fortune always is."""
    low = words_of(opened(paid, page="quote", as_at=AS_AT, tier=SERVICE, price="0.01"))
    assert "€0.01 for labour is not enough over 99 % of the time" in low
    high = words_of(opened(paid, page="quote", as_at=AS_AT, tier=SERVICE, price="9999"))
    assert "€9,999.00 for labour is not enough under 1 % of the time" in high


def test_tasks_are_planned_with_their_minutes(paid: Path, opened: Opener) -> None:
    """Tasks alone, one with its minutes told, stand in the address and in the plan's table."""
    app = opened(paid, page="quote", as_at=AS_AT, tier="~", tasks="brakes:45,drivetrain")
    words = words_of(app)
    assert "Brakes 45 min as asked" in words
    app.number_input(key="plan-minutes-drivetrain").set_value(30).run()
    assert app.query_params["tasks"] == "brakes:45,drivetrain:30"


def test_nothing_planned_says_what_to_choose(paid: Path, opened: Opener) -> None:
    """No tier and no task leave the form, and no figure."""
    words = words_of(opened(paid, page="quote", as_at=AS_AT, tier="~"))
    assert "What is to be done?" in words
    assert "Half take less" not in words


def test_what_cannot_be_foretold_says_why(tmp_path: Path, opened: Opener) -> None:
    """An empty book has no tier to plan; a task of it cannot be foretold, in words."""
    small_book.empty_book(tmp_path / "book")
    assert "What is to be done?" in words_of(opened(tmp_path / "book", page="quote"))
    words = words_of(opened(tmp_path / "book", page="quote", tasks="brakes"))
    assert "This cannot be foretold" in words


def test_how_forecasts_held_is_worked_out_when_unfolded(paid: Path, opened: Opener) -> None:
    """Thirteen jobs are too few to say; folded, nothing is said."""
    assert "Too few jobs" not in words_of(opened(paid, page="quote", as_at=AS_AT))
    words = words_of(opened(paid, page="quote", as_at=AS_AT, sure="1"))
    assert "Too few jobs were closed to say how such forecasts would have fared." in words


def test_a_part_is_chosen_of_a_bike_that_is_known(paid: Path, quay: Path, opened: Opener) -> None:
    """Unknown tags are said; of a bike with parts each can be chosen, with what is not known."""
    words = words_of(opened(paid, page="quote", as_at=AS_AT, tag="ZZZZZZZZ", tier=SERVICE))
    assert "No bike has the tag ZZZZZZZZ" in words
    words = words_of(opened(paid, page="quote", as_at=AS_AT, tag=TAGS[0], tier=SERVICE))
    assert "Nothing is on record as fitted on it." in words
    app = opened(quay, page="quote", tag=small_book.TAG)
    assert app.selectbox(key="part").options == ["Chain", "Rear brake pads"]
    app.selectbox(key="part").select("rear_brake.pads").run()
    assert app.query_params["position"] == "rear_brake.pads"
    words = words_of(app)
    assert "What this assumes" in words
    assert "a qualified mechanic checks before the bike is ridden" in words


def test_no_text_of_an_address_is_markup(paid: Path, opened: Opener) -> None:
    """What is typed into an address never becomes part of the page."""
    page = shown(opened(paid, page="quote", as_at=AS_AT, tag="<b>x</b>", tasks="<i>", price="<u>"))
    assert not re.search(r"<(b|i|u)>x?<", page)
