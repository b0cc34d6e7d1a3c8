"""What the analysis refuses in one clear line: arguments and columns of the wrong kind."""

from __future__ import annotations

import datetime
import warnings

import numpy as np
import pyarrow as pa
import pytest

from ledger.analysis.counted_rates import counted_rates
from ledger.analysis.funnel import funnel, guide, power_of_funnel
from ledger.analysis.life_bounds import BadLives
from ledger.analysis.lives import interval_curve, kaplan_meier
from ledger.analysis.prevention import prevention
from ledger.analysis.recurrence import mean_cumulative, mean_cumulative_of
from ledger.analysis.trends import laplace, power_law, trend

DAY = datetime.date(2026, 3, 1)
DATES = {
    "arrow dates": pa.array([DAY, DAY]),
    "arrow timestamps": pa.array([1, 2], pa.timestamp("us", "UTC")),
    "arrow durations": pa.chunked_array([pa.array([1, 2], pa.duration("s"))]),
    "arrow times of day": pa.array([1, 2], pa.time32("s")),
    "arrow dates told by code": pa.array([DAY, DAY]).dictionary_encode(),
    "numpy dates": np.array(["2026-03-01", "2026-03-02"], dtype="datetime64[D]"),
    "numpy dates in a list": [np.datetime64("2026-03-01"), np.datetime64("2026-03-02")],
}


@pytest.mark.parametrize("kind", DATES)
def test_dates_are_no_ages(kind):
    """Dates and times are refused wherever ages, ends or counts are asked for."""
    column = DATES[kind]
    for refused in (
        lambda: trend(column, 10),
        lambda: mean_cumulative([0, 1], column, [10, 10]),
        lambda: mean_cumulative([0, 1], [1, 2], column),
        lambda: laplace([1, 2], column, unit_of_event=[0, 1]),
        lambda: kaplan_meier(column, [True, True]),
        lambda: interval_curve([1, 2], column),
        lambda: counted_rates([1, 2], column),
        lambda: funnel(column, [3, 4]),
    ):
        with pytest.raises(BadLives, match="it has dates or times"):
            refused()


def prevented(**changed):
    """Give the treatment of four bikes, with some arguments changed."""
    bikes = ([True, True, False, False], [0] * 4, [None, 5, None, 3], [9] * 4)
    return prevention(*bikes, **({"horizon": 8, "resamples": 20} | changed))


ARGUMENTS = {
    "a level as text": (lambda: trend([1, 2], 5, level="0.95"), "level: it is '0.95', no number"),
    "no level": (lambda: counted_rates([1], [2], level=None), "level: it is None, no number"),
    "two levels": (lambda: power_law([1, 2], 5, level=[0.9, 0.95]), "level: it is .*, no number"),
    "a table of levels": (lambda: trend([1], 5, level=np.eye(40)), r"level: it is array\(.* …"),
    "a ratio as text": (lambda: funnel([1, 2], [5, 5], ratio="2"), "ratio: it is '2', no number"),
    "a widening as text": (lambda: funnel([1], [5], inflation="2"), "inflation: it is '2', no"),
    "a total as text": (lambda: guide([5], 0.1, of_total="9"), "of_total: it is '9', no number"),
    "a rate as text": (lambda: guide([5], "0.1"), "rate: it is '0.1', no number"),
    "others of one figure": (lambda: power_of_funnel(9, 0.1, others=9), "others: it is 9, no col"),
    "a horizon as text": (lambda: prevented(horizon="240"), "horizon: it is '240', no number"),
    "a hazard ratio as text": (lambda: prevented(ratio="2"), "ratio: it is '2', no number"),
    "no samples": (lambda: prevented(resamples=0), "resamples: it is 0. Give .* from 20 up"),
    "samples below 0": (lambda: prevented(resamples=-3), "resamples: it is -3. Give"),
    "a single sample": (lambda: prevented(resamples=1), "resamples: it is 1. Give"),
    "half a sample": (lambda: prevented(resamples=50.5), "resamples: it is 50.5. Give"),
    "a seed below 0": (lambda: prevented(seed=-1), "seed: it is -1. Give a whole number"),
    "a curve of one sample": (lambda: interval_curve([1], [2], resamples=1), "resamples: it is 1"),
    "a curve's seed": (lambda: interval_curve([1], [2], seed=-1), "seed: it is -1"),
}

COLUMNS = {
    "no counts": (lambda: counted_rates(None, [1]), "count: it is None, no column"),
    "a single exposure": (lambda: counted_rates([1], 5), "exposure: it is 5, no column"),
    "a bare array": (lambda: counted_rates(np.array(1), [5]), "count: it is array.1., no column"),
    "a text": (lambda: counted_rates("12", [5, 5]), "count: it is '12', no column"),
    "a single size": (lambda: guide(5, 0.1), "size: it is 5, no column"),
    "no sizes": (lambda: guide(None, 0.1), "size: it is None, no column"),
    "arrow text": (lambda: interval_curve([1], pa.array(["soon"])), "upper: some of it is not"),
    "no units": (lambda: mean_cumulative_of(None), "units: it is None, no column"),
    "a unit without its end": (lambda: mean_cumulative_of([([1, 2],)]), "row 0: units: .* no pair"),
    "a unit of ages alone": (lambda: mean_cumulative_of([[1, 2]]), "times: it is 1, no column"),
    "a unit that is a figure": (lambda: mean_cumulative_of([5]), "row 0: units: it is 5, no pair"),
}


@pytest.mark.parametrize("why", [*ARGUMENTS, *COLUMNS])
def test_what_is_of_the_wrong_kind_is_refused_in_one_line(why):
    """Text, None, a figure for a column and too few samples are refused by their name."""
    refused, message = (ARGUMENTS | COLUMNS)[why]
    with pytest.raises(BadLives, match=message) as error:
        refused()
    assert "\n" not in str(error.value)


def test_a_prior_that_rules_out_everything_is_refused():
    """A prior of -inf (or inf) wherever the counts may come from leaves nothing to sum."""
    for figure in (-np.inf, np.inf):
        with pytest.raises(BadLives, match=r"log_prior: it is -?inf"):
            counted_rates([1, 2], [3, 4], log_prior=lambda a, b, f=figure: np.full(a.shape, f))


def test_a_prior_may_rule_out_some():
    """A prior of -inf below alpha 2 leaves those above, without a warning."""

    def above_two(alpha, beta):
        return np.where(alpha > 2, -np.log(alpha) * 2 - np.log(beta), -np.inf)

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = counted_rates([1, 9, 2], [3, 4, 5], log_prior=above_two)
    assert found.full_alpha > 2
    assert np.all((found.low < found.full_rate) & (found.full_rate < found.high))
