"""What stands behind the figures of faults: folded, drawn from finite rows, mechanics unasked."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Any

import came_back_book
import pytest
from app_page import Opener, chart_data
from came_back_book import AS_AT
from hypothesis import given
from hypothesis import strategies as some
from test_faults_page import words_of

from dashboard import fault_charts, fault_say, fault_sure_panels, step_charts
from dashboard.fault_address import Asked, asked_of
from dashboard.formats import find_locale
from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_estimates import (
    RECURRENCE_BY,
    CurvePoint,
    FaultFunnel,
    FunnelUnit,
    GuidePoint,
    ModelRate,
    PreventionArm,
    PreventionRow,
    Recurrence,
    RecurrenceGroup,
    Span,
)
from ledger.figures.fault_shapes import BY, MEASURES, FaultCounts, Pareto, ParetoRow, Unpaid
from ledger.figures.fault_words import FaultWords
from ledger.vocabulary import standard

LOCALE = find_locale("en_GB")
SECTIONS = (
    "How often they come",
    "Do they come more and more often?",
    "Which part models have more",
    "Does a tier's work hold better?",
    "Whose work holds better?",
    "Does small unbilled work pay?",
)


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of forty bikes seen eight times each; every other one squeals at each visit."""
    path = tmp_path_factory.mktemp("many") / "book"
    came_back_book.many_bikes_book(path)
    return path


@pytest.fixture(scope="module")
def say(tmp_path_factory: pytest.TempPathFactory) -> FaultWords:
    """Words of a book in euros, written as in Britain."""
    path = tmp_path_factory.mktemp("words") / "book"
    book = Book.init(path, shop="quay", time_zone="Europe/Lisbon", locale="en_GB", currency="EUR")
    return FaultWords(book.settings, standard())


# -- on the page ------------------------------------------------------------------------------


def test_it_is_folded_until_it_is_asked_for(many: Path, opened: Opener) -> None:
    """Nothing of it is worked out or sent while the fold is shut."""
    words = words_of(opened(many, page="faults", as_at=AS_AT))
    assert [title for title in SECTIONS if title in words] == []


@pytest.mark.parametrize("curves", RECURRENCE_BY)
def test_every_section_stands_there_unfolded(many: Path, opened: Opener, curves: str) -> None:
    """All six sections, each with words; every figure of every chart is finite."""
    app = opened(many, page="faults", as_at=AS_AT, sure="1", curves=curves)
    words = words_of(app)
    assert [title for title in SECTIONS if title not in words] == []
    figures = [
        figure
        for rows in chart_data(app)
        for row in rows
        for figure in row.values()
        if isinstance(figure, float)
    ]
    assert len(figures) > 40
    assert all(map(math.isfinite, figures))


@pytest.mark.parametrize("rates", ["years", "distance", "come-backs"])
def test_part_models_are_counted_as_asked(many: Path, opened: Opener, rates: str) -> None:
    """Pads stand beside pads: the model on the bikes that squeal has more by years and by km."""
    words = words_of(opened(many, page="faults", as_at=AS_AT, sure="1", rates=rates))
    assert ("Pads: Halm P2 has more than the other models" in words) == (rates != "come-backs")


def test_mechanics_are_shown_to_whom_asks_for_them(many: Path, opened: Opener) -> None:
    """Off at first, whatever the address says; switched on, each mechanic is there."""
    app = opened(many, page="faults", as_at=AS_AT, sure="1", for_owner="1")
    assert [rows for rows in chart_data(app) if rows and "repairs" in rows[0]] == []
    assert "Too few to judge whose repairs hold better." in words_of(app)
    assert app.toggle(key="for_owner").label == "Show mechanics (for the owner)"
    app.toggle(key="for_owner").set_value(True).run()
    units = [row["label"] for rows in chart_data(app) for row in rows if "repairs" in row]
    assert units == ["ada", "bo"]
    assert "for_owner" not in app.query_params or app.query_params["for_owner"] == "1"


def test_a_choice_is_kept_in_the_address(many: Path, opened: Opener) -> None:
    """What is chosen and unfolded stands in the address, so that it can be sent to somebody."""
    app = opened(many, page="faults", as_at=AS_AT, sure="1")
    app.segmented_control(key="sure_curves").set_value("riding").run()
    assert app.query_params["curves"] == "riding"
    assert app.query_params["sure"] == "1"
    assert "Commuting" in words_of(app)


# -- the address ------------------------------------------------------------------------------

ASKED = some.builds(
    Asked,
    by=some.sampled_from(BY),
    measure=some.sampled_from(MEASURES),
    row=some.text(max_size=8),
    tag=some.sampled_from(["", "7K3M9QXA"]),
    days=some.none() | some.integers(0, 3650),
    km=some.none() | some.integers(0, 100_000),
    as_at=some.sampled_from(["", "2024-02-29"]),
    is_sure=some.booleans(),
    curves=some.sampled_from(RECURRENCE_BY),
    rates=some.sampled_from(["years", "distance", "come-backs"]),
)


@given(ASKED)
def test_an_address_gives_back_what_was_asked(asked: Asked) -> None:
    """Whatever is asked for stands in the address, and is read from it again."""
    assert asked_of(asked.params(), date(2025, 1, 1)) == asked


@given(some.dictionaries(some.sampled_from(["by", "measure", "days", "km", "as_at", "curves"]),
                         some.text(max_size=12)))  # fmt: skip
def test_no_address_is_refused(typed: dict[str, str]) -> None:
    """What nobody can answer is taken as not asked for."""
    asked = asked_of(typed, date(2025, 1, 1))
    assert asked.by in BY
    assert asked.days is None or 0 <= asked.days <= 3650


def test_an_end_of_a_window_that_is_not_given_is_each_faults_own() -> None:
    """Days alone leave the km open, km alone the days; nothing is the shop's own."""
    assert Asked(days=30).window == WindowAsked(30, None)
    assert Asked(km=800).window == WindowAsked(None, 800)
    assert Asked(days=30, km=0).window == WindowAsked(30, 0)
    assert Asked(days=0, km=0).window is None
    assert Asked().window is None


# -- what the charts are drawn from -----------------------------------------------------------


def pareto(*backs: int, of: int = 100) -> Pareto:
    """Give a Pareto of rows a, b, c … with so many come-backs."""
    total, rows, so_far = sum(backs), [], 0
    for name, count in zip("abcdefgh", backs, strict=False):
        so_far += count
        counts = FaultCounts(count_found=of, count_put_right=of, count_come_back=count)
        rows.append(ParetoRow(name, name, counts, None, None, Unpaid(count), count,
                              count / total, so_far / total, False, ""))  # fmt: skip
    return Pareto("fault", "count", tuple(rows), total)


@pytest.mark.parametrize(
    ("backs", "said"),
    [
        ((60, 30, 10), "A makes up 60 % of the come-backs"),
        ((40, 35, 25), "A and b make up 75 % of the come-backs"),
        ((30, 0), "A makes up all of the come-backs"),
        ((10, 10, 10, 10, 10, 10, 10, 10), "No few stand out: the first 3 make up 38 %"),
        ((3, 1), "4 come-backs in all: too few to judge what comes back most"),
    ],
)
def test_the_title_of_a_pareto_says_what_it_shows(
    say: FaultWords, backs: tuple[int, ...], said: str
) -> None:
    """Few rows that make up half are named; where none do, or too few came back, that is said."""
    assert fault_say.pareto_title(pareto(*backs), say) == said


def test_bars_go_to_the_click_as_rows_of_the_address(say: FaultWords) -> None:
    """A bar carries its row's name; the row of no key has a name of its own."""
    told = pareto(6, 3)
    nameless = ParetoRow(None, "no tier told", told.rows[0].counts, None, None, Unpaid(), 1, 0.1,
                         1.0, True, "")  # fmt: skip
    rows = fault_charts.pareto_rows([*told.rows, nameless], "count", "b", say)
    assert rows["row"].tolist() == ["a", "b", "~"]
    assert rows["is_chosen"].tolist() == [False, True, False]
    drawn = fault_charts.pareto_chart(rows, "what it says", LOCALE)
    (pick,) = drawn["params"]
    assert (pick["name"], pick["select"]["fields"]) == (fault_charts.PICKED, ["row"])
    assert drawn["description"] == "what it says"


def test_steps_start_at_nought_and_are_few() -> None:
    """A line whose first step comes later starts at nought; of four lines three are drawn."""
    points = [CurvePoint(10, 0.5, 0.2, 0.8, 9), CurvePoint(20, 1.0, 0.5, 1.5, 8)]
    rows = step_charts.step_rows([(name, points) for name in "abcd"])
    assert rows[rows["line"] == 0]["days"].tolist() == [0, 10, 20]
    assert sorted(rows["line"].unique()) == [0, 1, 2]
    drawn = step_charts.step_chart(rows, "per bike", "title", LOCALE)
    dashes = [layer["mark"].get("strokeDash") for layer in drawn["layer"]]
    assert [dash for dash in dashes if dash] == [[1, 0], [7, 3], [2, 3]]


def group(key: str, mean: float, difference: Span | None = None, *, enough: bool = True) -> Any:
    """Give a group with a curve of one step, or with none."""
    curve = (CurvePoint(1, mean, mean, mean, 9),) if enough else ()
    return RecurrenceGroup(key, key, 10, 10, 9, curve, Span(mean, 0.0, 9.0), difference, "")


@pytest.mark.parametrize(
    ("groups", "said"),
    [
        ([group("a", 1.0, enough=False)],
         "Too few to judge how often faults found come, by riding"),
        ([group("a", 2.0, Span(1, 0.5, 1.5)), group("b", 1.0, Span(-1, -1.5, -0.5))],
         "A has more faults found than the rest"),
        ([group("a", 2.0, Span(1, -0.5, 2.5)), group("b", 1.0, Span(-1, -2.5, 0.5))],
         "No riding is shown to differ from the rest"),
        ([group("a", 2.0), group("b", 1.0)],
         "A has most faults found: 2 a bike within 365 days"),
    ],
)  # fmt: skip
def test_the_title_of_curves_says_who_differs(say: FaultWords, groups: list, said: str) -> None:
    """Groups whose interval leaves out nought are named; else nobody is, or the foremost."""
    found = Recurrence("riding", "a bike", "a fault found", 365, tuple(groups))
    assert fault_say.curves_title(found, [one.key for one in groups], say) == said


def unit(key: str, mark: str | None, words: str = "no more than chance") -> FunnelUnit:
    """Give one unit of a funnel."""
    return FunnelUnit(key, 50, 9, 3, 4.0, 0.18, 0.18, 50.0, 1, 8, 0.02, 0.16, 0.01,
                      mark, 0.6, words)  # type: ignore[arg-type]  # fmt: skip


def test_a_unit_outside_chance_has_a_shape_of_its_own(say: FaultWords) -> None:
    """Inside is a circle, above a triangle up, below one down; the title says how many."""
    units = (unit("a", "more than chance"), unit("b", None), unit("c", "fewer than chance"))
    guide = (GuidePoint(10, 0, 0.4), GuidePoint(60, 0.02, 0.2))
    found = FaultFunnel("tier", "strata", units, guide, 0.1, 0.95, 2.0, 1.0, "2 tiers differ")
    rows = fault_charts.funnel_rows(found, lambda key: key or "")
    assert rows["shape"].tolist() == ["triangle-up", "circle", "triangle-down"]
    drawn = fault_charts.funnel_chart(found, rows, "title", LOCALE)
    tops = [layer["encoding"]["y"].get("scale", {}).get("domain") for layer in drawn["layer"]]
    assert all(top is None or 0 < top[1] <= 1 for top in tops)
    assert fault_say.funnel_title(found) == "2 tiers differ"


def test_where_nobody_can_be_judged_the_funnel_says_so() -> None:
    """Units all too few to judge are not said to be alike."""
    units = (unit("a", None, "too few to judge: 3 repairs"),)
    found = FaultFunnel("tier", "", units, (), 0.1, 0.95, 2.0, 1.0, "no tier differs")
    assert fault_say.funnel_title(found) == "Too few to judge whose repairs hold better"


def test_models_stand_with_how_they_were_counted() -> None:
    """Beside the rate drawn together stands the one as counted, whatever it is counted in."""
    one = ModelRate(
        "pads",
        "Halm",
        "P2",
        10,
        4.0,
        "years fitted",
        6,
        Span(1.2, 0.8, 1.7),
        1.4,
        0.5,
        None,
        0.99,
        True,
        "",
    )
    words = type("Words", (), {"figure": staticmethod(str)})
    rows = fault_charts.rate_rows([one], words)  # type: ignore[arg-type]  # as far as it is looked at
    assert rows[["label", "middle", "raw"]].to_numpy().tolist() == [["Halm P2 (10)", 1.2, 1.4]]
    drawn = fault_charts.rate_chart(rows, "faults a year", "title", LOCALE, is_share=False)
    shapes = [layer["mark"].get("shape") for layer in drawn["layer"]]
    assert shapes == [None, None, "diamond"]


def prevention_row(
    verdict: str, difference: Span | None, ratio: Span | None = None
) -> PreventionRow:
    """Give one position's preventive work with a verdict."""
    arm = PreventionArm(50, 5, 40, Span(0.1, 0.05, 0.2), None, (), 20.0, 4)
    return PreventionRow("chain", ("lubricated",), 365, arm, arm, difference, difference, None, 0.2,
                         ratio, None, 80, 300, verdict, "words")  # type: ignore[arg-type]  # fmt: skip


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        ("less often", "Preventive work at chain goes with less trouble there"),
        ("more often", "Preventive work at chain goes with more trouble there"),
        (
            "no clear difference",
            "Preventive work is not shown to go with less trouble, nor with more",
        ),
        ("too few to judge", "Too few to judge whether preventive work goes with less trouble"),
    ],
)
def test_prevention_is_worded_as_going_together(say: FaultWords, verdict: str, said: str) -> None:
    """It goes with less trouble or more, is not shown to, or cannot be judged: never causes."""
    row = prevention_row(verdict, Span(-0.1, -0.2, 0.02))
    assert fault_say.prevention_title([row], say) == said


@pytest.mark.parametrize(
    ("ratio", "told"),
    [
        (Span(0.5, 0.312, 0.8), "log-rank p 0.2, 0.5 times as often (0.31 to 0.8)"),
        (Span(0.0, 0.0, 1.6), "log-rank p 0.2, 0 times as often (0 to 1.6)"),
        (Span(float("inf"), 0.7, float("inf")), "log-rank p 0.2, at least 0.7 times as often"),
        (None, "log-rank p 0.2"),
    ],
)
def test_how_many_times_as_often_stands_with_its_interval(
    say: FaultWords, ratio: Span | None, told: str
) -> None:
    """The table tells the ratio of hazards with 95 %, as far as it has ends."""
    table = fault_sure_panels.prevention_table([prevention_row("less often", None, ratio)], say)
    assert f"<small>{told}</small>" in table


def test_differences_are_drawn_about_nought(say: FaultWords) -> None:
    """The axis reaches as far left of nought as right; a row of no difference is left out."""
    told = [prevention_row("less often", Span(-0.1, -0.2, 0.02)),
            prevention_row("too few to judge", None)]  # fmt: skip
    rows = fault_charts.difference_rows(told, say)
    assert len(rows) == 1
    drawn = fault_charts.difference_chart(rows, "title", LOCALE)
    low, high = drawn["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert low == -high
    assert high == pytest.approx(0.21)
