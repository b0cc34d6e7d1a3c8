"""The wear page through the app's entry point, over small books."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
import small_book
import worn_book
from app_page import Opener, chart_data, shown
from streamlit.testing.v1 import AppTest
from worn_book import AS_AT, TAGS

SERIES = f"{TAGS[0]}-c/elongation"
LATE = f"{TAGS[9]}-c/elongation"


@pytest.fixture(scope="module")
def ten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of ten bikes."""
    path = tmp_path_factory.mktemp("ten") / "book"
    worn_book.ten_bikes_book(path)
    return path


def plain(page: str) -> str:
    """Give a page's words alone."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def figures(app: AppTest) -> list[float]:
    """Give every figure of every chart, those that are none (NaN, infinite) among them."""
    return [
        figure
        for rows in chart_data(app)
        for row in rows
        for figure in row.values()
        if isinstance(figure, float | int)
    ]


def test_an_empty_book_says_what_to_read(tmp_path: Path, opened: Opener) -> None:
    """Where nothing was measured the page says what wears and how to enter it."""
    small_book.empty_book(tmp_path / "book")
    page = shown(opened(tmp_path / "book", page="wear"))
    assert "Nothing that wears has been measured" in page
    assert "lockring record --follow" in page


def test_the_fleet_comes_first_and_its_chart_says_the_finding(ten: Path, opened: Opener) -> None:
    """The chart's title names the usual rate and the ridings furthest apart."""
    app = opened(ten, page="wear", as_at=AS_AT)
    page = plain(shown(app))
    assert re.search(
        r"Chain wear: usually 0\.1\d.% per 1,000.km; commuting \d\.?\d? times touring", page
    )
    rows = next(rows for rows in chart_data(app) if "parts" in rows[0])
    by_label = {row["label"]: row for row in rows}
    assert set(by_label) == {"all (10)", "commuting (5)", "touring (5)"}
    assert by_label["commuting (5)"]["middle"] > 1.3 * by_label["touring (5)"]["middle"]
    assert all(row["low"] < row["middle"] < row["high"] for row in rows)


def test_a_reading_left_out_is_named_with_why(ten: Path, opened: Opener) -> None:
    """A slip of the pen stands in its own list, with the range that was expected."""
    page = shown(opened(ten, page="wear", as_at=AS_AT))
    left_out = plain(page[page.index("<h2>Readings left out</h2>") :])
    assert f"{TAGS[0]}, chain 13 Jan 2025 2.6" in left_out.replace("\u00a0", " ")
    assert "Left out:" in left_out


def test_a_deep_link_shows_one_part_against_its_limit(ten: Path, opened: Opener) -> None:
    """Readings, line with band, limit and use by now are drawn, and said beside it."""
    app = opened(ten, page="wear", series=LATE, as_at=AS_AT)
    page = plain(shown(app))
    assert "Chain, chain wear" in page
    assert "Limit 0.75 % or more" in page
    assert "past limit" in page
    sets = list(chart_data(app))
    readings = next(rows for rows in sets if "kind" in rows[0])
    assert [row["at"] for row in readings] == pytest.approx([880, 1760, 2640, 3520])
    assert all(row["low"] < row["figure"] < row["high"] for row in readings)
    band = next(rows for rows in sets if "middle" in rows[0])
    assert all(row["low"] <= row["middle"] <= row["high"] for row in band)


def test_the_reading_left_out_is_drawn_as_such(ten: Path, opened: Opener) -> None:
    """The chart of a part marks the reading its line does not rest on."""
    sets = chart_data(opened(ten, page="wear", series=SERIES, as_at=AS_AT))
    readings = next(rows for rows in sets if "kind" in rows[0])
    assert [row["kind"] for row in readings] == ["reading", "reading", "left out", "reading"]


def test_a_family_lists_the_likeliest_past_first(ten: Path, opened: Opener) -> None:
    """Every fitted part links to its own line; chances fall down the list."""
    page = shown(opened(ten, page="wear", family="chain elongation", as_at=AS_AT))
    chances = re.findall(r"(over|under)?\s?(\d+)\s% past limit", page)
    order = [int(figure) + {"over": 1, "under": -1}.get(way, 0) for way, figure in chances]
    assert len(order) == len(TAGS)
    assert order == sorted(order, reverse=True)
    assert "wear?family=chain%20elongation&amp;series=" in page


def test_lives_say_whose_they_are(ten: Path, opened: Opener) -> None:
    """The lives of a model rest on parts fitted new, counted, and say when none was seen worn."""
    page = plain(shown(opened(ten, page="wear", family="chain elongation", as_at="2024-12-01")))
    assert "How long they last" in page
    assert "Seen worn too seldom to say (fewer than 5): chain, Halm K10 (0 of 10)" in page


def test_one_reading_is_said_to_tell_little(tmp_path: Path, opened: Opener) -> None:
    """A part read once shows a line, and that its rate is mostly what such parts show."""
    worn_book.one_reading_book(tmp_path / "book")
    app = opened(tmp_path / "book", page="wear", series=SERIES, as_at="2024-10-01")
    assert "One reading so far" in shown(app)


def test_a_bike_lists_its_parts_and_leads_there_and_back(ten: Path, opened: Opener) -> None:
    """The bike's page links to its wear, and its wear back to the bike, on the same day."""
    tag = TAGS[3]
    assert f"wear?tag={tag}&amp;as_at={AS_AT}" in shown(opened(ten, tag=tag, as_at=AS_AT))
    page = shown(opened(ten, page="wear", tag=tag.lower(), as_at=AS_AT))
    assert f"bike?tag={tag}&amp;as_at={AS_AT}" in page
    assert "Wear of Varde Tourer 28" in page


def test_a_tag_typed_opens_the_parts_of_that_bike(ten: Path, opened: Opener) -> None:
    """Typing a tag on the page puts it into the address."""
    app = opened(ten, page="wear")
    app.text_input(key="parts_of").set_value("7k3m-9q03").run()
    assert app.query_params["tag"] == TAGS[3]
    assert "Wear of Varde Tourer 28" in shown(app)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"series": "nothing/elongation"}, "No part is read under that name"),
        ({"family": "frame colour"}, "Nothing of that sort has been measured"),
        ({"tag": "ZZZZZZZZ"}, "No bike has the tag ZZZZZZZZ"),
    ],
)
def test_an_address_that_names_nothing_leads_on(
    ten: Path, opened: Opener, asked: dict[str, str], said: str
) -> None:
    """An unknown part, family or tag is said to be so, with links to what there is."""
    page = shown(opened(ten, page="wear", **asked))
    assert said in page
    assert "family=chain%20elongation" in page


@pytest.mark.parametrize("asked", [{}, {"family": "chain elongation"}, {"series": SERIES}])
def test_no_chart_and_no_word_holds_what_is_no_figure(
    ten: Path, tmp_path: Path, opened: Opener, asked: dict[str, str]
) -> None:
    """Every figure drawn is finite, and nan, inf, None and 'safe' stand nowhere."""
    worn_book.one_reading_book(tmp_path / "book")
    for book in (ten, tmp_path / "book"):
        app = opened(book, page="wear", as_at=AS_AT, **asked)
        assert all(math.isfinite(figure) for figure in figures(app))
        page = plain(shown(app))
        assert not re.search(r"\b(nan|NaN|inf|None)\b", page)
        assert not re.search(r"\bsafe\b", page, re.I)


def test_the_masthead_marks_the_page_shown(ten: Path, opened: Opener) -> None:
    """Links to the pages stand on every page, the one shown marked for screen readers."""
    page = shown(opened(ten, page="wear"))
    assert '<a href="wear" target="_self" aria-current="page">Wear</a>' in page
    assert '<a href="bikes" target="_self">Bikes</a>' in page


def test_a_part_that_is_not_due_yet_says_when_it_will_be(ten: Path, opened: Opener) -> None:
    """Km and dates with their 80 % ranges, and the stretch of the limit where it is reached."""
    touring = f"{TAGS[8]}-c/elongation"
    app = opened(ten, page="wear", series=touring, as_at=AS_AT)
    day = r"\d+ \w+ 202\d"
    said = rf"Reaches its limit in [\d,]+ km \([\d,]+ to [\d,]+\), about {day} \({day} to {day}\)"
    assert re.search(said, plain(shown(app)))
    window = next(rows for rows in chart_data(app) if "from" in rows[0])
    assert window[0]["limit"] == 0.75
    assert 2_816 < window[0]["from"] < window[0]["to"]


def test_before_anything_was_measured_the_page_says_which_day_that_is(
    ten: Path, opened: Opener
) -> None:
    """On wear and on chains, nothing known by a day is not nothing known at all."""
    for page in ("wear", "chains"):
        said = shown(opened(ten, page=page, as_at="2024-06-01"))
        assert "As at the end of 1 Jun 2024" in said
        assert "measured" in said


def test_a_tag_that_cannot_be_one_is_named_as_it_was_typed(ten: Path, opened: Opener) -> None:
    """What is no tag is not read as one with its letters changed."""
    page = shown(opened(ten, page="wear", tag="Old Bill's <bike>"))
    assert "No bike has the tag Old Bill&#x27;s &lt;bike&gt;" in page
