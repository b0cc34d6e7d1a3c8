"""What the pages of time, earnings and quotes draw and say, from figures made by hand."""

from __future__ import annotations

from datetime import date

import pytest

from dashboard import earn_charts, earn_words, quote_charts, quote_panels, time_charts, time_words
from dashboard.formats import find_locale
from dashboard.labour_say import LabourSay, listed, signed
from dashboard.time_panels import SENTENCES, head
from ledger.figures.foresee_shapes import BenchToday, Calibration, FoldScore
from ledger.figures.labour_shapes import (
    KindMinutes,
    LabourRow,
    LabourVariances,
    RatioSpread,
    WaterfallStep,
)
from ledger.figures.margin_shapes import (
    Caused,
    Earning,
    Estimate,
    MonthMargin,
    TierMargin,
    WeekSold,
)
from ledger.settings import BookSettings
from ledger.vocabulary import standard

LOCALE = find_locale("en_GB")


def saying(currency: str = "EUR", locale: str = "en_GB") -> LabourSay:
    """Give the writing of a book in a currency and a locale."""
    return LabourSay(BookSettings("quay", "Quay", currency, "Europe/Lisbon", locale), standard())


def spread(count: int = 20, median: float | None = 1.2) -> RatioSpread:
    """Give a spread of ratios about a median."""
    if median is None:
        return RatioSpread(0, *[None] * 5, 0, None, None, None)
    ends = (median - 0.2, median + 0.2, median - 0.3, median + 0.3)
    return RatioSpread(count, median, *ends, count // 2, 0.5, 0.4, 0.6)


def row(key: str | None, ratio: RatioSpread, label: str = "") -> LabourRow:
    """Give a row of minutes with a spread."""
    of = LabourVariances(5, 100, 120, 4000, 5000, 200, 800, 1000, 0)
    minutes = KindMinutes(120, 10, 5, 0)
    return LabourRow(key, label or key or "none", 20, ratio, minutes, 100, 10, of, 9000, 4000.0,
                     6000, 2, 0.1, "verdict")  # fmt: skip


# -- writing ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("currency", "locale", "said"),
    [
        ("EUR", "de_DE", "12,50\u00a0€"),
        ("JPY", "en_GB", "JP¥1,250"),
        ("KWD", "de_DE", "1,250\u00a0KWD"),
    ],
)
def test_money_has_the_digits_of_its_currency(currency: str, locale: str, said: str) -> None:
    """Yen have none, euros two, dinars three; a download holds the same as a figure.

    Source: ISO 4217, minor units; CLDR for the patterns.
    """
    say = saying(currency, locale)
    assert say.money(1250) == said
    assert say.money_cell(1250).value == {"EUR": 12.5, "JPY": 1250, "KWD": 1.25}[currency]


def test_ratios_and_changes_are_written_alike() -> None:
    """Ratios have two digits, changes a sign that stays with the figure."""
    say = saying()
    assert say.times(1.5) == "1.50\u00a0×"
    assert say.more(-1250) == "−\u2060€12.50"
    assert say.change(0.05) == "+\u20605\u00a0%"
    assert say.change(0) == "as it was"
    assert signed("nothing", 0) == "nothing"
    assert listed(["a", "b", "c"]) == "a, b and c"


def test_a_months_year_stands_with_its_january() -> None:
    """Months on an axis are short."""
    assert [saying().short_month(month) for month in ("2025-12", "2026-01")] == ["Dec", "Jan 2026"]


def test_the_first_sentence_is_the_title() -> None:
    """Sentences part at their full stops, never inside a figure; all of it is kept."""
    said = "€1,663.50 charged, 0.5 left (under 1 %). It takes €44.33 an hour. Overhaul earns less."
    assert len(SENTENCES.split(said)) == 3
    page = head(said, [])
    assert "<h1>€1,663.50 charged, 0.5 left (under 1 %).</h1>" in page
    assert "It takes €44.33 an hour. Overhaul earns less.</p>" in page


# -- minutes against quote --------------------------------------------------------------------


def test_the_title_names_the_row_that_runs_furthest_over() -> None:
    """Of the rows that can be judged, the highest median; where none runs over, that is said."""
    rows = [row("a", spread(20, 1.1)), row("b", spread(20, 1.3)), row("c", spread(3, 2.0))]
    say = saying()
    assert time_words.spread_title(rows, "tier", say) == (
        "Furthest over: b; half took over 1.30\u00a0× the quote"
    )
    kept = time_words.spread_title([row("a", spread(20, 1.02))], "tier", say)
    assert "keep to their quote" in kept
    assert time_words.spread_title([row("c", spread(3, 2.0))], "tier", say) == time_words.TOO_FEW


def test_too_few_jobs_have_a_dot_and_no_spread() -> None:
    """What cannot be judged is drawn without its quartiles, and says so; what has no ratio, not."""
    rows = [row("a", spread()), row("b", spread(3)), row("c", spread(0, None))]
    made = time_charts.spread_rows(rows, "tier", "a", saying())
    assert list(made["row"]) == ["a", "b"]
    assert list(made["is_chosen"]) == [True, False]
    assert list(made["is_few"]) == [False, True]
    assert made["quarter_low"].isna().tolist() == [False, True]
    assert made["said"][1] == "3 jobs: too few to judge"
    assert time_charts.spread_chart(made, "said", LOCALE)["description"] == "said"


def test_months_are_drawn_in_order() -> None:
    """The chart by month keeps the order it is given, under short names."""
    months = [row(month, spread()) for month in ("2025-11", "2025-12", "2026-01")]
    made = time_charts.spread_rows(months, "month", "", saying())
    chart = time_charts.month_chart(made, "said", LOCALE)
    x = chart["layer"][0]["encoding"]["x"]
    assert x["scale"]["domain"] == ["2025-11", "2025-12", "2026-01"]
    assert "['Jan', '2026']" in x["axis"]["labelExpr"]


def test_a_waterfall_ends_where_its_steps_lead() -> None:
    """Each bar begins where the one before it ended; money stands in whole currency."""
    steps = [
        WaterfallStep("quoted", "start", None, 6000, 0, 6000, ""),
        WaterfallStep("brakes", "task", "brakes", -1000, 6000, 5000, "quoted 20, worked 10"),
        WaterfallStep("charged", "end", None, 5000, 0, 5000, ""),
    ]
    made = time_charts.step_rows(steps, saying(), is_money=True)
    assert list(made["stop"]) == [60.0, 50.0, 50.0]
    assert list(made["said"]) == ["€60.00", "−\u2060€10.00", "€50.00"]
    assert list(made["is_less"]) == [False, True, False]
    chart = time_charts.step_chart(made, "EUR", "said", LOCALE)
    assert len({str(one["encoding"]["y"].get("axis", "own")) for one in chart["layer"]}) == 1


def test_an_answer_nobody_gave_is_not_a_yes() -> None:
    """No reply and no answer read so, and a replaced quote's answers count no more."""
    assert time_words.answer(None, True) == "no answer: not a yes"
    assert time_words.answer("no reply", True) == "no answer: not a yes"
    assert time_words.answer("yes", True) == "yes"
    assert time_words.answer("yes", False) == "replaced by a later quote"


# -- earnings ---------------------------------------------------------------------------------


def earning(jobs: int = 20, labour: int = 60_000, wages: int = 20_000) -> Earning:
    """Give what twenty jobs of an hour each brought in and took."""
    return Earning(jobs, 60 * jobs, labour, 0, 0, 0, 0, wages, 0, 10_000, 0, 0, Caused())


def test_tiers_below_break_even_are_named() -> None:
    """A tier earns less than the charge where its rate is below it; too few are not judged."""
    hour = Estimate(2000.0, 1900.0, 2100.0, 1800.0, 2200.0)
    tiers = [
        TierMargin("a", "a", earning(), hour, None, False, ""),
        TierMargin("b", "b", earning(3), hour, None, True, ""),
    ]
    say = saying()
    made = earn_charts.tier_rows(tiers, "b", say)
    assert list(made["value"]) == [20.0, 20.0]
    assert made["low_80"].isna().tolist() == [False, True]
    assert made["earned"][0] == 30.0
    chart = earn_charts.tier_chart(made, 35.0, "EUR", "said", LOCALE)
    marks = [one["mark"] for one in chart["layer"]]
    lines = [place for place, mark in enumerate(marks) if mark.get("strokeDash") == [5, 3]]
    assert len(lines) == 1
    figures = [place for place, mark in enumerate(marks) if mark.get("align") == "right"]
    # a figure stands clear of a line it lies over by half the width of what is around it
    assert [marks[place].get("strokeWidth", 0) >= 9 for place in figures] == [True, False]
    assert lines[0] < figures[0]
    assert earn_words.tiers_title(tiers, None, say) == "A leaves most an hour at the bench"


def test_months_of_loss_are_counted_and_drawn_otherwise() -> None:
    """A month that cost more than it brought in is an outline, and is counted in the title."""
    months = [
        MonthMargin("2026-01", "January 2026", earning()),
        MonthMargin("2026-02", "February 2026", earning(wages=70_000)),
        MonthMargin("2026-03", "March 2026", earning(0, 0, 0)),
    ]
    assert earn_words.months_title(months) == "In 1 of 2 months more went out than came in"
    made = earn_charts.month_rows(months[:2], saying())
    assert list(made["is_loss"]) == [False, True]
    assert list(made["margin"]) == [300.0, -200.0]


def test_a_week_is_drawn_in_hours() -> None:
    """Minutes paid for, minutes of all kinds and open ones, as hours, from Monday on."""
    week = WeekSold("2026-W02", date(2026, 1, 5), 7, 1200, 900, 1500)
    made = earn_charts.week_rows([week], saying())
    assert made.loc[0, ["charged", "bench", "open"]].tolist() == [15.0, 20.0, 25.0]
    assert made["starts_on"][0] == "2026-01-05"


# -- quotes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p50", "p80", "said"),
    [
        (None, None, "Whether today's bench can take it is not known"),
        (True, True, "Today's bench can take it"),
        (True, False, "Today's bench can take it if it goes well"),
        (False, False, "Today's bench cannot take it"),
    ],
)
def test_whether_todays_bench_can_take_it(p50: bool | None, p80: bool | None, said: str) -> None:
    """Both P50 and P80 have to fit for a plain yes."""
    left = None if p50 is None else 60
    found = BenchToday(date(2026, 1, 5), left, 0, 0, left, p50, p80, "")
    assert quote_panels.room_title(found) == said


def test_forecasts_that_held_are_drawn_inside_what_is_called_good() -> None:
    """Two marks a step, P50 and P80, told apart by shape."""
    fold = FoldScore(date(2026, 1, 1), date(2026, 3, 1), 100, 50, 0.5, 0.8)
    found = Calibration((fold,), 50, 0.5, 0.8, 9.0, 20.0, 12.0, False, "", ())
    made = quote_charts.fold_rows(found, saying())
    assert list(zip(made["name"], made["share"], strict=True)) == [("P50", 0.5), ("P80", 0.8)]
    shapes = quote_charts.fold_chart(made, "said", LOCALE)["layer"][-1]["encoding"]["shape"]
    assert shapes["scale"]["range"] == ["circle", "diamond"]
    assert quote_panels.calibration_title(found, saying()).startswith(
        "50\u00a0% took less than P50"
    )
