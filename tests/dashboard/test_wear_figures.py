"""What the wear page says and draws of one part, whatever its figures are."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import chain_words, lives_charts, wear_charts, wear_words
from dashboard.dot_charts import dot_chart
from dashboard.formats import Formats, find_locale
from dashboard.words import Words
from ledger.analysis.lives import LifeGroup, interval_curve, weibull
from ledger.figures.chain_report import LimitCurve, ThresholdCost
from ledger.figures.part_lives import ModelLives, Watched
from ledger.figures.wear import BandPoint, DueDates, Estimate, PartWear, RateFigure, WearReading
from ledger.vocabulary import standard

FORMATS = Formats(find_locale("en_GB"), ZoneInfo("Europe/Lisbon"))
WORDS = Words(standard(), FORMATS)
AT = datetime(2025, 4, 14, 9, tzinfo=UTC)
FIGURES = st.floats(allow_nan=True, allow_infinity=True)


def reading(exposure: float, value: float | None, **more: object) -> WearReading:
    """Give a reading with the gauge G-1."""
    ends = {"low": None, "high": None, "gauge": "G-1", "flag": None, **more}
    return WearReading("e", AT, exposure, 0.0, value, **ends)  # type: ignore[arg-type]  # any of its fields


PADS = PartWear(
    series="p/thickness",
    part="p",
    bike="7K3M9QXA",
    rider="r-1",
    position="rear_brake.pads",
    quantity="thickness",
    point=None,
    make="Halm",
    model="Halm P2",
    riding="commute",
    unit="mm",
    exposure_unit="km",
    direction=-1,
    limit=1.0,
    is_fitted=True,
    is_from_new=True,
    fitted_at=AT,
    readings=(reading(0, 3.0), reading(2000, 2.2)),
    rate=Estimate(0.3, 0.4, 0.5),
    now=Estimate(1.4, 1.6, 1.8),
    exposure_now=3500.0,
    exposure_now_error=100.0,
    chance_past=0.02,
    due_in=Estimate(900.0, 1500.0, 2600.0),
    due_on=DueDates(date(2025, 8, 1), date(2025, 10, 1), date(2026, 2, 1)),
)


def test_an_interval_reading_is_drawn_between_its_marks() -> None:
    """A go/no-go reading has no figure but both ends; a figure has its gauge's 80 % about it.

    Source: 80 % of a normal error lie within 1.2816 standard deviations (standard tables).
    """
    part = replace(PADS, readings=(reading(100, None, low=1.5, high=2.0), reading(2000, 2.2)))
    rows = wear_charts.reading_rows(part, {"G-1": 0.1}).to_dict("records")
    assert (rows[0]["low"], rows[0]["high"]) == (1.5, 2.0)
    assert rows[0]["kind"] == "between two marks"
    assert rows[1]["low"] == pytest.approx(2.2 - 0.12816, abs=1e-4)
    assert rows[1]["high"] == pytest.approx(2.2 + 0.12816, abs=1e-4)


@given(st.lists(st.tuples(FIGURES, FIGURES, FIGURES, FIGURES), max_size=12))
def test_a_band_is_drawn_where_it_is_finite_and_never_below_its_floor(
    points: list[tuple[float, float, float, float]],
) -> None:
    """Points that are no figure are left out, and a pad is not drawn thinner than nought."""
    rows = wear_charts.band_rows([BandPoint(*one) for one in points], floor=0.0)
    figures = rows.to_numpy(dtype=float)
    assert np.isfinite(figures).all()
    assert (rows[["low", "middle", "high"]].to_numpy(dtype=float) >= 0).all()
    assert len(rows) == sum(all(map(math.isfinite, one)) for one in points)


ENDS = st.one_of(st.none(), st.floats(0, 1e5))


@given(ENDS, ENDS, st.floats(1, 2e5))
def test_the_stretch_of_the_limit_lies_ahead_and_in_the_picture(
    low: float | None, high: float | None, edge: float
) -> None:
    """Whatever is foretold, the stretch begins no earlier than now and ends at the edge at most."""
    part = replace(PADS, due_in=Estimate(low, low, high), exposure_now=500.0)
    for row in wear_charts.due_rows(part, edge).to_dict("records"):
        assert 500.0 <= row["from"] < row["to"] <= edge


def test_a_figure_worked_out_is_never_said_below_its_floor() -> None:
    """A pad that would be worn through by now is said to be at nought, not less."""
    worn = replace(PADS, now=Estimate(-1.6, -0.24, 0.73))
    assert wear_words.stands(worn, FORMATS).startswith("About 0\u00a0mm (0 to 0.73) now")
    gone = replace(worn, now=Estimate(-6.0, -4.0, -1.2))
    said = wear_words.stands(gone, FORMATS)
    assert said == "Nothing left by this estimate; limit 1\u00a0mm or less"


@pytest.mark.parametrize(
    ("part", "said"),
    [
        (PADS, "Reaches its limit in 1,500\u00a0km (900 to 2,600), about 1 Oct 2025 "
               "(1 Aug 2025 to 1 Feb 2026)."),
        (replace(PADS, due_in=Estimate(0.0, 0.0, 0.0)),
         "By this estimate it is past its limit already."),
        (replace(PADS, due_in=Estimate(0.0, 0.0, 700.0)),
         "More likely past it already than not; nine times in ten within 700\u00a0km, "
         "by 1 Feb 2026."),
        (replace(PADS, due_in=Estimate(9e3, None, None), due_on=DueDates(None, None, None)),
         "Reaches its limit in more than 9,000\u00a0km, not within three years."),
        (replace(PADS, due_in=None, due_on=None), "Too little is known to say when."),
        (replace(PADS, due_in=None, due_on=None, readings=(reading(2000, 0.9),)),
         "It was past its limit when last read; how fast it wears is not known."),
        (replace(PADS, is_fitted=False), "It has been taken off."),
        (replace(PADS, limit=None), "No limit is known for it."),
    ],
)  # fmt: skip
def test_when_a_part_is_due_in_words(part: PartWear, said: str) -> None:
    """Each case of what can be foretold has its own sentence."""
    assert wear_words.due(part, FORMATS) == said


def test_days_one_reading_and_unknown_beginnings_are_said() -> None:
    """What a part's figures are conditional on stands beside them."""
    part = replace(PADS, readings=PADS.readings[:1], exposure_unit="days", is_from_new=False)
    said = " ".join(wear_words.remarks(part))
    assert "One reading so far" in said
    assert "counted in days" in said
    assert "before it was first seen here is not known" in said
    assert wear_words.remarks(PADS) == []


@pytest.mark.parametrize(
    ("past", "fitted", "said"),
    [
        (0, 0, "No part that was read is fitted now"),
        (0, 1, "No fitted part is more likely past its limit than not"),
        (1, 2, "1 of 2 fitted parts is more likely past the limit than not"),
        (2, 2, "2 of 2 fitted parts are more likely past the limit than not"),
    ],
)
def test_the_fleet_is_summed_up_in_its_title(past: int, fitted: int, said: str) -> None:
    """How many, of how many, with the verb that fits."""
    assert wear_words.fleet_finding(past, fitted, WORDS) == said


def domain(part: PartWear) -> list[float]:
    """Give the figures from the foot to the top of a part's picture, drawn without a line."""
    drawn = wear_charts.part_chart(part, [], {}, "said", FORMATS.locale)
    return drawn["layer"][0]["encoding"]["y"]["scale"]["domain"]


def test_an_open_end_of_a_go_no_go_has_room_to_be_seen() -> None:
    """Under a mark reaches down to nought where wear grows; over one reaches well past it."""
    chain = replace(PADS, direction=1, limit=0.75, unit="%")
    under = reading(700, None, high=0.5)
    over = reading(3000, None, low=0.75)
    assert domain(replace(chain, readings=(under,)))[0] == 0.0
    assert domain(replace(chain, readings=(under, over)))[1] > 0.75 * 1.3
    closed = reading(1900, None, low=0.5, high=0.75)
    assert domain(replace(chain, readings=(closed,)))[1] < 0.8


def test_use_that_is_far_from_known_is_said_to_be_so() -> None:
    """The band is drawn at a use; where the use by now is unsure, the page says which allows it."""
    said = wear_words.remarks(replace(PADS, exposure_now=3000.0, exposure_now_error=900.0))
    assert [one for one in said if "the band along its line does not" in one]
    assert wear_words.remarks(replace(PADS, exposure_now=3000.0, exposure_now_error=20.0)) == []


@pytest.mark.parametrize(("figure", "said"), [(0.9, "past limit when read"), (2.2, "not foretold")])
def test_without_a_rate_the_last_reading_alone_is_said(figure: float, said: str) -> None:
    """A part read past its limit is said to be so, though nothing tells how such parts wear."""
    part = replace(PADS, chance_past=None, readings=(reading(2000, figure),))
    assert said in wear_words.chance_mark(part)


@pytest.mark.parametrize(
    ("chance", "kind"), [(0.0, "within limit"), (0.1, "watch"), (0.49, "watch"), (0.5, "due")]
)
def test_a_chance_leans_to_a_verdict(chance: float, kind: str) -> None:
    """One in ten is to watch, even odds are due; no chance is called unsafe or fine."""
    assert wear_words.chance_kind(chance) == kind


def rate(factor: str, level: str, middle: float, count: int = 9) -> RateFigure:
    """Give a rate with a spread of a third either way."""
    ends = Estimate(middle * 0.75, middle, middle * 1.33)
    return RateFigure("pads thickness", factor, level, ends, count, "km")


def test_ridings_are_compared_only_where_enough_was_read() -> None:
    """Four parts are too few; alike rates are called alike; else the furthest apart are named."""
    whole = rate("all", "all", 0.5)
    courier, touring = rate("riding", "courier", 0.8), rate("riding", "touring", 0.4)
    few = replace(courier, count_series=4)
    per = "usually 0.5\u00a0mm per 1,000\u00a0km"
    assert wear_words.finding([whole, few, touring], "mm", WORDS) == per
    alike = replace(courier, rate=touring.rate)
    assert wear_words.finding([whole, alike, touring], "mm", WORDS).endswith("every kind of riding")
    said = wear_words.finding([whole, courier, touring], "mm", WORDS)
    assert said == f"{per}; courier 2 times touring"


def test_a_factor_of_one_level_is_not_drawn() -> None:
    """One model says what the whole says; rows without a finite spread are left out."""
    endless = replace(rate("riding", "sport", 0.3), rate=Estimate(0.1, 0.3, math.inf))
    rates = [rate("all", "all", 0.5), rate("model", "P2", 0.5), rate("riding", "courier", 0.8),
             rate("riding", "touring", 0.4), endless]  # fmt: skip
    rows = wear_charts.rate_rows(rates, WORDS)
    assert rows["label"].tolist() == ["all (9)", "courier (9)", "touring (9)"]
    drawn = dot_chart(rows, "mm", "said", FORMATS.locale)
    assert drawn["layer"][0]["encoding"]["y"]["scale"]["domain"][1].strip() == ""


def test_lives_are_drawn_with_their_law_and_bands() -> None:
    """Steps fall and end at the last part watched; the law's band holds its line."""
    lower = [900.0, 1500, 2000, 2600, 3000, 1200, 2800]
    upper = [1400.0, 2100, 2600, 3300, 3900, None, None]
    curve = interval_curve(lower, upper, resamples=50)
    group = LifeGroup(("model",), ("P2",), 7, 5, curve, weibull(lower, upper), None)
    one = ModelLives(group, "km", (Watched(0.0, 7), Watched(3900.0, 1)))
    seen, law = lives_charts.curve_rows(one), lives_charts.law_rows(one)
    assert seen["share"].is_monotonic_decreasing
    assert seen["at"].iloc[-1] == 3900.0
    assert ((law["low"] <= law["share"]) & (law["share"] <= law["high"])).all()
    for rows in (seen, law):
        assert np.isfinite(rows.to_numpy(dtype=float)).all()
        assert rows[["low", "share", "high"]].to_numpy().min() >= 0
        assert rows[["low", "share", "high"]].to_numpy().max() <= 1


@given(st.lists(st.booleans(), min_size=1, max_size=30))
def test_the_ranges_said_hold_every_threshold_near_the_least(near: list[bool]) -> None:
    """Ranges joined by 'and' are as many as there are runs of neighbouring thresholds."""
    costs = tuple(
        ThresholdCost(0.5 + place / 20, 1.0, 1.0, 1.0, 1.0, 0.0, is_near)
        for place, is_near in enumerate(near)
    )
    said = chain_words.near_least(LimitCurve(0.5, costs, 0.5, {}, 1, 1), WORDS)
    runs = sum(now and not before for before, now in zip([False, *near], near, strict=False))
    assert len([part for part in said.split(" and ") if part]) == runs
