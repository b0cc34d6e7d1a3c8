"""Chains run long through the app's entry point, and the data its charts are drawn from."""

from __future__ import annotations

import html
import math
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import small_book
import worn_book
from app_page import Opener, chart_data, shown
from worn_book import AS_AT, TAGS

from dashboard import chain_charts, chain_words
from dashboard.formats import Formats, find_locale
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.chain_report import BikeGears, GearWear, LimitCurve, ShopChains, ThresholdCost
from ledger.vocabulary import standard

WORDS = Words(standard(), Formats(find_locale("en_GB"), ZoneInfo("Europe/Lisbon")))
SHOP = ShopChains(4, 40, 10, 0, 0.25, 0.2, 0.3, 1, 9e4, None, None, None, None)


def threshold(at: float, cost: float, *, near: bool = False) -> ThresholdCost:
    """Give what changing at one wear costs, with a band of a tenth either way."""
    return ThresholdCost(at, cost, cost * 0.9, cost * 1.1, 3.0, 0.5, near)


CURVE = LimitCurve(
    limit=0.5,
    thresholds=(
        threshold(0.4, 1500),
        threshold(0.5, 1210, near=True),
        threshold(0.6, 1200, near=True),
        threshold(0.7, 1300),
        threshold(0.8, 1220, near=True),
    ),
    least_at=0.6,
    prices={},
    count_changed=9,
    count_stretches=5,
)
GEARS = BikeGears(
    "7K3M9QXA",
    "r-1",
    (
        GearWear(13, 2, 0.1, 0.08, 0.12, 0.25, 0.2, 0.3),
        GearWear(19, 5, 0.3, 0.2, 0.4, 0.75, 0.7, 0.8),
    ),
)


@pytest.fixture(scope="module")
def ten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of ten bikes."""
    path = tmp_path_factory.mktemp("ten") / "book"
    worn_book.ten_bikes_book(path)
    return path


def plain(page: str) -> str:
    """Give a page's words alone."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_an_empty_book_says_what_to_read(tmp_path: Path, opened: Opener) -> None:
    """Where no chain was measured the page says so, and how to begin."""
    small_book.empty_book(tmp_path / "book")
    page = shown(opened(tmp_path / "book", page="chains"))
    assert "No chain has been measured against a limit" in page


def test_the_page_counts_the_chains_past_their_limit(ten: Path, opened: Opener) -> None:
    """Forty readings, four past 0.75 %: the slip, and the last ones of the three furthest ridden.

    By hand: 0.24 % per 1,000 km over 3,200, 3,360 and 3,520 km, less or more 0.01 %.
    """
    app = opened(ten, page="chains", as_at=AS_AT)
    assert "Of 40 looks at a chain, 4 found it past its limit" in plain(shown(app))
    rows = next(iter(chart_data(app)))
    assert rows[0]["label"] == "a typical rider (10)"
    assert len(rows) == 11
    assert all(0 <= row["low"] <= row["middle"] <= row["high"] <= 1 for row in rows)


def test_what_is_not_to_be_told_is_said(ten: Path, opened: Opener) -> None:
    """Without prices and sprockets there is no cost curve and no gear, and the page says why."""
    page = plain(shown(opened(ten, page="chains", as_at=AS_AT)))
    assert "Not to be told yet from this book" in page
    assert "No cassette's single sprockets have been measured twice yet" in page
    assert "Not worked out:" in page
    assert "of chains nobody brought in nothing is known" in page
    assert not re.search(r"\bsafe\b", page, re.I)
    assert not re.search(r"\b(nan|NaN|inf|None)\b", page)


@pytest.mark.parametrize("asked", ["tilde", "r-1", TAGS[1]])
def test_riders_are_found_by_name_id_and_tag(ten: Path, opened: Opener, asked: str) -> None:
    """One rider is left, whose chain was within its limit, with the link to the bike's wear."""
    page = shown(opened(ten, page="chains", of=asked, as_at=AS_AT))
    assert "Riders who match" in page
    assert page.count('<th scope="row">') == 1
    assert f"wear?tag={TAGS[1]}" in page
    assert "no look found it past" in page


def test_how_far_beyond_is_told_in_percent_and_km(ten: Path, opened: Opener) -> None:
    """The chain read at 0.84 % is 0.09 over its limit of 0.75 %, and so many km beyond it."""
    page = plain(shown(opened(ten, page="chains", of=TAGS[9], as_at=AS_AT)))
    assert re.search(r"0\.09\d? % points over, about \d+ km \(\d+ to [\d,]+\)", page)


def test_nobody_who_matches_is_said(ten: Path, opened: Opener) -> None:
    """An unknown rider leaves the rest of the page standing."""
    page = shown(opened(ten, page="chains", of="nobody at all", as_at=AS_AT))
    assert "No rider matches nobody at all" in page
    assert "What these figures are conditional on" in page


def test_the_ranges_near_the_least_cost_are_named() -> None:
    """Neighbouring thresholds are one range, and a gap starts another."""
    assert chain_words.near_least(CURVE, WORDS) == "0.5 to 0.6\u00a0% and 0.8\u00a0%"


def test_the_cost_chart_holds_its_band_in_whole_money() -> None:
    """Minor units become euros, the least is marked, and the limit is in the picture."""
    rows = chain_charts.cost_rows(CURVE, minor_digits=2)
    assert rows["cost"].tolist() == pytest.approx([15, 12.1, 12, 13, 12.2])
    assert (rows["low"] < rows["cost"]).all()
    assert rows.loc[rows["least"], "at"].tolist() == [0.6]
    drawn = chain_charts.cost_chart(rows, 0.5, "EUR", "what it says", WORDS.formats.locale)
    assert drawn["description"] == "what it says"
    assert drawn["layer"][0]["encoding"]["x"]["scale"]["domain"] == [0.4, 0.8]


def test_gears_are_drawn_by_teeth_and_the_most_worn_named() -> None:
    """The smallest sprocket comes first; the title names the one with the largest share."""
    rows = chain_charts.gear_rows(GEARS, WORDS)
    assert rows["label"].tolist() == ["13 teeth (2)", "19 teeth (5)"]
    said = chain_words.gears_title(GEARS, WORDS)
    assert said == "The sprocket of 19 teeth takes 75 % (70 to 80\u00a0%) of the wear"


def test_shares_keep_the_order_they_are_given_in() -> None:
    """The typical rider stands first, then the riders as ranked."""
    named = [("Ada", 0.6, 0.4, 0.8, 7), ("Bo", 0.3, 0.1, 0.5, 2)]
    rows = chain_charts.share_rows(named, SHOP, WORDS)
    assert rows["label"].tolist() == ["a typical rider (4)", "Ada (7)", "Bo (2)"]
    assert all(math.isfinite(figure) for figure in rows[["low", "middle", "high"]].stack())


def test_two_of_one_name_are_two_rows() -> None:
    """Riders of the same name and count do not fall on one line of the chart."""
    rows = chain_charts.share_rows([("Ada", 0.6, 0.4, 0.8, 7)] * 2, SHOP, WORDS)
    drawn = chain_charts.share_chart(rows, "", WORDS.formats.locale)
    domain = drawn["layer"][0]["encoding"]["y"]["scale"]["domain"]
    assert len(set(domain)) == 4  # the shop, a gap, and the two
    named = next(iter(drawn["datasets"].values()))
    assert len({row["label"] for row in named}) == 3


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ((-2357e2, -3025e2, -1634e2), "€2,400 less (€1,600 to €3,000)"),
        ((1500.0, -500.0, 4200.0), "€15 more (€5 less to €42 more)"),
        ((None, None, None), "not known"),
        (
            (-8000.0, None, None),
            "€80 less (range not known, one rider's sprockets alone were read)",
        ),
    ],
)
def test_differences_say_more_or_less(
    tmp_path: Path, figures: tuple[float | None, ...], said: str
) -> None:
    """One sign is said once; an interval across nought says both; no money is not nought."""
    book = Book.init(tmp_path / "book", shop="saltquay", time_zone="Europe/Lisbon")
    money = chain_words.Money(book.settings, WORDS)
    assert chain_words.difference(*figures, money) == said


def test_a_long_name_is_cut_for_a_chart_and_a_short_one_is_not() -> None:
    """What is cut says so, and is no longer than the room there is."""
    assert chain_words.short("Tilde Moen") == "Tilde Moen"
    cut = chain_words.short("Tilde Amalie Overgaard von der Langen Strasse")
    assert cut == "Tilde Amalie Overgaar\u2026"
    assert len(cut) == chain_words.LONGEST_LABEL
