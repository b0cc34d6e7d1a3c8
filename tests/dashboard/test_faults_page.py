"""Faults that come back through the app's entry point: the answer, the Pareto, bikes, one bike."""

from __future__ import annotations

import html
import re
from pathlib import Path

import came_back_book
import pytest
import small_book
from app_page import Opener, chart_data, shown
from came_back_book import AS_AT, CROW, GULL, TERN, WREN
from streamlit.testing.v1 import AppTest

NONSENSE = re.compile(r"\b(nan|NaN|inf|None|null)\b")


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of four bikes and three come-backs."""
    path = tmp_path_factory.mktemp("four") / "book"
    came_back_book.came_back_book(path)
    return path


def plain(page: str) -> str:
    """Give a page's words alone."""
    words = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page))).replace("\u00a0", " ")
    return re.sub(r" ([,.;:])", r"\1", words)


def words_of(app: AppTest) -> str:
    """Give the words a page shows, none of which may be nonsense or call anything safe."""
    words = plain(shown(app))
    assert not NONSENSE.search(words), NONSENSE.search(words)
    assert not re.search(r"\bsafe\b", words, re.I)
    return words


def rows_with(app: AppTest, *columns: str) -> list[dict]:
    """Give the rows of the first data set of the page's charts that has some columns."""
    sets = [rows for rows in chart_data(app) if rows and set(columns) <= set(rows[0])]
    return sets[0]


# -- the answer -------------------------------------------------------------------------------


def test_an_empty_book_says_what_to_record(tmp_path: Path, opened: Opener) -> None:
    """Where no fault was found the page says so, and how to begin."""
    small_book.empty_book(tmp_path / "book")
    words = words_of(opened(tmp_path / "book", page="faults"))
    assert "No fault has been found on any bike" in words
    assert "lockring record --follow" in words


def test_a_day_before_the_first_fault_has_none(four: Path, opened: Opener) -> None:
    """As at a day on which nothing was found yet, nothing is shown of later."""
    words = words_of(opened(four, page="faults", as_at="2025-01-01"))
    assert "No fault has been found" in words
    assert "As at the end of 1 Jan 2025" in words


def test_the_answer_comes_first_in_three_figures(four: Path, opened: Opener) -> None:
    """By hand: eight repairs, three came back; 30, 20 and 10 minutes at 24 an hour are 24.00."""
    words = words_of(opened(four, page="faults", as_at=AS_AT))
    said = "Of 8 faults put right, 3 came back, in 3 jobs: 60 minutes nobody paid for, €24.00."
    assert said in words
    assert "Came back 3 of 8 faults put right too few to judge: 4 repairs followed" in words
    assert "Minutes nobody paid for 60 in 3 jobs" in words
    assert "What they cost the shop €24.00" in words
    assert "From the first fault on record, 7 Jan 2025, until the end of 30 Jun 2025." in words


def test_without_wages_nothing_is_made_up(tmp_path: Path, opened: Opener) -> None:
    """Minutes stand there; what they cost is said not to be told, and how to tell it."""
    came_back_book.no_wages_book(tmp_path / "book")
    words = words_of(opened(tmp_path / "book", page="faults", as_at=AS_AT, measure="cost"))
    assert "60 minutes nobody paid for." in words
    assert "wages not told" in words
    assert "No wage is told, so no minute costs anything here" in words


def test_one_bike_of_no_known_distance_is_shown(tmp_path: Path, opened: Opener) -> None:
    """One open fault on one bike: nothing put right, nothing drawn, nothing broken."""
    came_back_book.one_bike_book(tmp_path / "book")
    app = opened(tmp_path / "book", page="faults", as_at=AS_AT, sure="1")
    words = words_of(app)
    assert "1 fault found, none of them put right yet." in words
    assert "No repairs to judge yet." in words
    assert "No job is known to answer an earlier one." in words


@pytest.mark.parametrize("by", ["fault", "position", "system", "model", "tier"])
@pytest.mark.parametrize("measure", ["count", "minutes", "cost"])
def test_every_way_of_counting_is_drawn(four: Path, opened: Opener, by: str, measure: str) -> None:
    """Bars add up to all of the measure, and the last share is all."""
    app = opened(four, page="faults", as_at=AS_AT, by=by, measure=measure)
    words_of(app)
    rows = rows_with(app, "row", "so_far")
    assert sum(row["figure"] for row in rows) == {"count": 3, "minutes": 60, "cost": 2400}[measure]
    assert rows[-1]["so_far"] == "100\u00a0%"


# -- the Pareto, and the bikes behind a bar ---------------------------------------------------


def test_the_pareto_counts_come_backs_of_repairs(four: Path, opened: Opener) -> None:
    """By hand: two of six squeals put right came back, one of two noises; too few to rank."""
    app = opened(four, page="faults", as_at=AS_AT)
    rows = rows_with(app, "row", "so_far")
    assert [(row["row"], row["label"], row["said"], row["so_far"]) for row in rows] == [
        ("squeal", "Squeal", "2 of 6", "67\u00a0%"),
        ("noise", "Noise", "1 of 2", "100\u00a0%"),
    ]
    assert "3 come-backs in all: too few to judge what comes back most" in words_of(app)


def test_a_row_in_the_address_lists_its_bikes(four: Path, opened: Opener) -> None:
    """Each bike with what was put right when and how, found again when, how long after, and cost.

    The squeal of the third bike came back after 160 days: not within its window, not listed.
    """
    app = opened(four, page="faults", as_at=AS_AT, row="squeal")
    words = words_of(app)
    assert "Squeal: 2 bikes it came back on" in words
    assert (
        "put right 10 Jan 2025 (cleaned), found again 19 Feb 2025, 40 days later, 400 km; "
        "30 min, €12.00"
    ) in words
    assert "10 days later, distance not known; 20 min, €8.00" in words
    assert {button.key for button in app.button if str(button.key).startswith("open-")} == {
        f"open-{GULL}",
        f"open-{TERN}",
    }
    assert [row["is_chosen"] for row in rows_with(app, "row", "so_far")] == [True, False]


def test_choosing_by_name_is_choosing_the_bar(four: Path, opened: Opener) -> None:
    """The list beside the chart moves the address to the row, and away from it again."""
    app = opened(four, page="faults", as_at=AS_AT)
    app.selectbox(key="row-fault").select("noise").run()
    assert app.query_params["row"] == "noise"
    assert "Noise: 1 bike it came back on" in words_of(app)


def test_an_unknown_row_is_said(four: Path, opened: Opener) -> None:
    """A row nobody knows leaves the page standing, and its name is no markup."""
    page = shown(opened(four, page="faults", as_at=AS_AT, row="<b>odd</b>"))
    assert "Nothing found goes by &lt;b&gt;odd&lt;/b&gt;, counted so." in page


def test_a_bike_unfolds_and_folds_on_the_page(four: Path, opened: Opener) -> None:
    """Pressed, a bike shows its faults below it and stands in the address; again, it folds."""
    app = opened(four, page="faults", as_at=AS_AT, row="squeal")
    app.button(key=f"open-{GULL}").click().run()
    assert app.query_params["tag"] == GULL
    words = words_of(app)
    assert "Rear brake pads, squeal came back once after it was put right" in words
    assert "Is it getting worse? Too few to judge" in words
    assert f'href="bike?tag={GULL}&amp;as_at={AS_AT}"' in shown(app)
    app.button(key=f"open-{GULL}").click().run()
    assert "tag" not in app.query_params
    assert "Is it getting worse?" not in words_of(app)


def test_a_bike_of_the_address_is_listed_even_where_nothing_came_back_on_it(
    four: Path, opened: Opener
) -> None:
    """A link to a bike behind a row leads to it, though its squeal came back too late to count."""
    app = opened(four, page="faults", as_at=AS_AT, row="squeal", tag=CROW)
    assert "0 come-backs after 2 repairs" in words_of(app)
    (lane,) = {row["lane"] for row in rows_with(app, "lane", "found", "state")}
    assert lane == "Rear brake pads, squeal"


# -- one bike ---------------------------------------------------------------------------------


def test_one_bikes_faults_as_a_timeline(four: Path, opened: Opener) -> None:
    """Lanes by fault, each find told apart; the newest first in the list, with what is open."""
    app = opened(four, page="faults", as_at=AS_AT, tag=WREN)
    rows = rows_with(app, "lane", "found", "state")
    assert [(row["lane"], row["state"], row["is_open"]) for row in rows] == [
        ("Chain, noise", "found", False),
        ("Headset, loose", "found", True),
        ("Rear caliper, rubbing", "found", False),
        ("Chain, noise", "came back", False),
    ]
    (held,) = rows_with(app, "lane", "put_right", "days")
    assert (held["lane"], held["days"]) == ("Chain, noise", 21)
    page = shown(app)
    marks = re.findall(r"<li><span[^>]*>.*?</i>([^<]*)</span>", page)
    assert marks[:4] == ["came back", "gone", "open", "put right"]
    assert 'class="lk-caution"' in page
    assert f'href="bike?tag={WREN}&amp;as_at={AS_AT}"' in page


def test_a_bike_without_a_fault_says_so(four: Path, opened: Opener) -> None:
    """Before its first visit nothing was found on it, which is no praise."""
    words = words_of(opened(four, page="faults", as_at="2025-01-08", tag=WREN))
    assert "No fault was ever found on it. That says nothing of what nobody looked at." in words


def test_a_mistyped_tag_leads_to_its_neighbour(four: Path, opened: Opener) -> None:
    """A tag no bike has is said, with the tag that reads nearly the same."""
    page = shown(opened(four, page="faults", tag="7K3M9QXB"))
    assert "No bike has the tag 7K3M9QXB" in page
    assert f"bike?tag={GULL}" in page


# -- the window, the day ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "back"),
    [
        ({"days": "15"}, 2),
        ({"days": "30"}, 3),
        ({"days": "365"}, 4),
        ({"km": "500"}, 3),
        ({"days": "15", "km": "0"}, 1),
        ({"days": "0", "km": "500"}, 1),
        ({"days": "15", "km": "500"}, 2),
        ({"days": "0", "km": "0"}, 3),
        ({"days": "many"}, 3),
    ],
)
def test_the_window_of_the_address_counts(
    four: Path, opened: Opener, asked: dict[str, str], back: int
) -> None:
    """By hand: found again after 10, 21, 40 days and 400 km, and 160 days; else the shop's own.

    An end that is not given is each fault's own.
    """
    words = words_of(opened(four, page="faults", as_at=AS_AT, **asked))
    assert f"Of 8 faults put right, {back} came back" in words


def test_the_window_is_set_on_the_page(four: Path, opened: Opener) -> None:
    """Days typed in go to the address, and the button takes the shop's own window again."""
    app = opened(four, page="faults", as_at=AS_AT)
    app.number_input(key="window_days").set_value(15).run()
    assert app.query_params["days"] == "15"
    assert "found again within 15 days or its fault's own km, whichever ends later" in words_of(app)
    next(one for one in app.button if one.label == "The shop's own window").click().run()
    assert "days" not in app.query_params
    assert "3 came back" in words_of(app)


def test_a_day_in_the_past_knows_nothing_of_later(four: Path, opened: Opener) -> None:
    """On 15 February one squeal had come back."""
    words = words_of(opened(four, page="faults", as_at="2025-02-15"))
    assert "1 came back, in 1 job: 20 minutes nobody paid for, €8.00." in words


# -- jobs, and what is not counted ------------------------------------------------------------


def test_jobs_say_what_they_answer_and_how_to_say_otherwise(four: Path, opened: Opener) -> None:
    """The job, the one it answers, how that is known, and the command that says it is wrong."""
    words = words_of(opened(four, page="faults", as_at=AS_AT))
    assert "g-2 19 Feb 2025" in words
    assert "g-1 by itself" in words
    command = f"record come_back_judged --bike {GULL} --job g-2 --set is_come_back=false"
    assert f"lockring {command}" in words
    assert "lockring strike" in words


def test_a_judgement_is_shown_and_counts(tmp_path: Path, opened: Opener) -> None:
    """Judged no come-back, a job stays listed as such and its repair is not counted."""
    book = came_back_book.came_back_book(tmp_path / "book")
    judged = {"is_come_back": False}
    book.append([small_book.event("come_back_judged", "2025-03-01T09:00:00+01:00", GULL,
                                  "g-2", **judged)])  # fmt: skip
    words = words_of(opened(tmp_path / "book", page="faults", as_at=AS_AT))
    assert "Of 8 faults put right, 2 came back, in 2 jobs: 30 minutes" in words
    assert "no come-back as somebody judged it" in words


def test_what_is_not_counted_is_shown(four: Path, opened: Opener) -> None:
    """A fault carried over a job and one gone without work are named; so are recent repairs."""
    words = words_of(opened(four, page="faults", as_at=AS_AT))
    assert "Carried over the end of a job: 2" in words
    assert "Headset, loose due 3 Mar 2025 still open" in words
    assert "Gone without work: 1" in words
    assert "Rear caliper, rubbing due 3 Mar 2025 24 Mar 2025" in words
    assert "Repairs that cannot be judged yet: 4" in words


# -- on the bike's own page -------------------------------------------------------------------


def test_the_bikes_page_says_what_came_back_before(four: Path, opened: Opener) -> None:
    """Whoever books the bike in reads it at the top, with the way to its faults."""
    app = opened(four, page="bike", tag=GULL, as_at=AS_AT)
    words = plain(shown(app))
    assert (
        "Came back before: rear brake pads, squeal: found again once after it was put right, "
        "within the window; last 19 Feb 2025, 40 days and about 400 km after the repair."
    ) in words
    assert "Is it getting worse? Too few to judge" in words
    assert f'href="faults?tag={GULL}&amp;as_at={AS_AT}"' in shown(app)


def test_a_bike_without_faults_has_no_such_lines(four: Path, opened: Opener) -> None:
    """Where nothing was ever found, the bike's page says nothing of come-backs."""
    words = plain(shown(opened(four, page="bike", tag=WREN, as_at="2025-02-01")))
    assert "Is it getting worse?" not in words
    assert "came back" not in words
