"""The mean cumulative function: what counts when, its variances, and what is refused."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import NelsonAalenFitter

from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.recurrence import difference, mean_cumulative, mean_cumulative_of

# Two of three units have events; the third is only watched.
UNIT, TIME, END = [0, 0, 1], [2, 4, 3], [6, 5, 4]


def test_each_age_adds_events_over_units_at_risk():
    """At an age the curve rises by the events there over the units watched there."""
    curve = mean_cumulative(UNIT, TIME, END)
    assert curve.time.tolist() == [2, 3, 4]
    assert curve.at_risk.tolist() == [3, 3, 3]
    assert curve.mcf == pytest.approx([1 / 3, 2 / 3, 1])
    assert (curve.count_units, curve.count_events, curve.watched_to) == (3, 3, 6)


def test_an_event_at_the_end_counts_and_its_unit_is_at_risk():
    """A unit is watched at its very end, so that an event there counts, over it and the others."""
    assert mean_cumulative([0], [5], [5, 5, 4]).mcf.tolist() == [0.5]


def test_a_unit_that_came_late_is_at_risk_only_after_its_start():
    """A unit watched from 3 on is not at risk at 3, and is at 3.5."""
    curve = mean_cumulative([0, 0], [3, 3.5], [9, 9], start=[0, 3])
    assert curve.at_risk.tolist() == [1, 2]
    assert curve.mcf.tolist() == [1, 1.5]


def test_an_event_at_age_0_counts_where_a_unit_is_watched_from_0():
    """A unit watched from 0 is watched at 0 itself; one that came later is not."""
    curve = mean_cumulative([0], [0], [9, 9, 9], start=[0, 0, 2])
    assert (curve.time.tolist(), curve.at_risk.tolist()) == ([0], [2])
    assert curve.at([0, 1, 3]).at_risk.tolist() == [2, 2, 3]


def test_several_events_of_a_unit_at_one_age_all_count():
    """Three events of one unit at one age raise the curve by three over the units at risk."""
    curve = mean_cumulative([0, 0, 0], [2, 2, 2], [9, 9])
    assert (curve.count.tolist(), curve.mcf.tolist()) == ([3], [1.5])


def test_units_without_events_give_an_empty_curve_with_a_limit():
    """Of ten units without an event the curve is 0, and its limit Poisson's for a count of none."""
    curve = mean_cumulative([], [], [100] * 10)
    assert (len(curve.time), curve.count_events) == (0, 0)
    at = curve.at(50)
    assert (at.mcf[0], at.se[0], at.low[0]) == (0, 0, 0)
    assert np.exp(-10 * at.high[0]) == pytest.approx(0.025)


def test_the_limit_of_none_counts_only_units_watched_all_the_way():
    """Units that left before, or came later than the first, say nothing of the whole way."""
    curve = mean_cumulative([], [], [100, 100, 20, 100], start=[0, 0, 0, 10])
    assert curve.at([10, 50]).high == pytest.approx([-np.log(0.025) / 3, -np.log(0.025) / 2])
    assert mean_cumulative([], [], [9], cost=[]).at(5).high.tolist() == [np.inf]


def test_nothing_is_known_where_no_unit_was_watched():
    """Before the first start, and past the last end or a gap, the curve is not a number."""
    curve = mean_cumulative([0, 1], [5, 35], [10, 40], start=[2, 30])
    at = curve.at([1, 4, 5, 10, 20, 36])
    assert at.mcf[[1, 2, 3]].tolist() == [0, 1, 1]
    assert np.isnan(at.mcf[[0, 4, 5]]).all()
    assert np.isnan(at.high[[0, 4, 5]]).all()
    assert (curve.watched_from, curve.watched_to) == (2, 10)


def test_costs_take_the_place_of_counts():
    """With costs the curve is the mean cost, and all costs alike only scale curve and error."""
    plain = mean_cumulative(UNIT, TIME, END)
    assert mean_cumulative(UNIT, TIME, END, cost=[3, 6, 9]).mcf == pytest.approx([1, 4, 6])
    for variance in ("robust", "unbiased", "independent increments", "poisson"):
        plain = mean_cumulative(UNIT, TIME, END, variance=variance)
        scaled = mean_cumulative(UNIT, TIME, END, cost=[5, 5, 5], variance=variance)
        assert scaled.se == pytest.approx(5 * plain.se)


def test_both_intervals_are_as_defined():
    """The normal interval is mcf -/+ z se, the log one mcf times and over exp(z se / mcf)."""
    normal = mean_cumulative(UNIT, TIME, END, level=0.8)
    log = mean_cumulative(UNIT, TIME, END, level=0.8, interval="log")
    z = 1.2815515655446004
    assert normal.low == pytest.approx(normal.mcf - z * normal.se)
    assert normal.high == pytest.approx(normal.mcf + z * normal.se)
    assert log.low == pytest.approx(log.mcf / np.exp(z * log.se / log.mcf))
    assert log.high == pytest.approx(log.mcf * np.exp(z * log.se / log.mcf))
    assert (log.low > 0).all()


def test_a_difference_has_the_spreads_of_both():
    """A difference at an age is that of the curves, its variance the sum of theirs."""
    one, two = mean_cumulative(UNIT, TIME, END), mean_cumulative([0, 1], [1, 3], [9, 9])
    apart = difference(one, two, [3, 4, 7], level=0.9)
    assert apart.difference[:2] == pytest.approx([2 / 3 - 1, 0])
    assert apart.se[0] == pytest.approx(np.hypot(one.se[1], two.se[1]))
    assert apart.high[0] - apart.low[0] == pytest.approx(2 * 1.6448536 * apart.se[0])
    assert np.isnan(apart.difference[2])


def test_any_sort_of_column_gives_the_same():
    """Lists, arrays of integers and Arrow columns in any order give one curve."""
    asked = mean_cumulative(UNIT, TIME, END)
    order = [2, 0, 1]
    unit, time = np.array(UNIT, np.int32)[order], np.array(TIME)[order]
    names = pa.array(["a", "b", "c"])
    of_event = names.take(pa.array(unit)).dictionary_encode()
    for given_ in (
        mean_cumulative(unit, time, np.array(END)),
        mean_cumulative(of_event, pa.chunked_array([time]), pa.array(END), unit=names),
        mean_cumulative(of_event, time, END, unit=names.cast(pa.large_string())),
        mean_cumulative_of([([4, 2], 6), ([3], 5), ([], 4)]),
        mean_cumulative_of({"x": ([4, 2], 6), "y": (np.array([3]), 5), "z": ([], 4)}),
    ):
        assert given_.mcf.tolist() == asked.mcf.tolist()
        assert given_.se == pytest.approx(asked.se)


def test_clusters_are_those_of_their_units_whatever_their_names():
    """A cluster of one unit each is no cluster; all units in one cluster have no spread."""
    alone = mean_cumulative(UNIT, TIME, END, cluster=["q", "r", "p"])
    assert alone.se == pytest.approx(mean_cumulative(UNIT, TIME, END).se)
    assert alone.count_clusters == 3
    together = mean_cumulative(UNIT, TIME, END, cluster=["p", "p", "p"])
    assert (together.count_clusters, together.se.tolist()) == (1, [0, 0, 0])


def test_without_tied_events_it_is_nelson_and_aalens():
    """Where a unit's first event ends it, curve and limits are those that lifelines gives."""
    random = np.random.default_rng(20260802)
    entry = np.where(random.random(200) < 0.5, 0, random.uniform(1, 5, 200))
    end = entry + random.uniform(0.1, 20, 200)
    is_over = random.random(200) < 0.6
    rows = np.flatnonzero(is_over)
    asked = {"start": entry, "variance": "independent increments", "interval": "log"}
    curve = mean_cumulative(rows, end[rows], end, **asked)
    fitter = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(end, is_over, entry=entry)
    theirs = fitter.cumulative_hazard_.loc[curve.time].to_numpy()[:, 0]
    assert curve.mcf == pytest.approx(theirs, rel=1e-10)
    low, high = fitter.confidence_interval_.loc[curve.time].to_numpy().T
    assert curve.low == pytest.approx(low, rel=1e-8)
    assert curve.high == pytest.approx(high, rel=1e-8)


REFUSED = {
    "an event after its unit's end": (
        {"unit_of_event": [0, 1, 0], "time_of_event": [1, 7, 9], "end": [5, 7]},
        "row 2: time_of_event: it is after its unit's end",
    ),
    "an event at a late start": (
        {"unit_of_event": [0], "time_of_event": [3], "end": [5], "start": [3]},
        "row 0: time_of_event: it is not after its unit's start",
    ),
    "an event of no unit": (
        {"unit_of_event": ["a", "b"], "time_of_event": [1, 2], "end": [5], "unit": ["a"]},
        "row 1: unit_of_event: no unit has that name",
    ),
    "a row of no unit": (
        {"unit_of_event": [0, 1], "time_of_event": [1, 2], "end": [5]},
        "row 1: unit_of_event: it is no row of end",
    ),
    "names without the units' names": (
        {"unit_of_event": ["a"], "time_of_event": [1], "end": [5]},
        "column: unit_of_event: some of it is not a number. Give a row of the 1 of end",
    ),
    "one figure for a column": (
        {"unit_of_event": [0], "time_of_event": [1], "end": 5},
        "column: end: it is 5, no column",
    ),
    "dates for ages": (
        {"unit_of_event": [0], "time_of_event": np.array(["2020-01-01"], "M8[D]"), "end": [5]},
        "column: time_of_event: it has dates or times",
    ),
    "a negative age": (
        {"unit_of_event": [0, 0], "time_of_event": [1, -2], "end": [5]},
        "row 1: time_of_event: it is no age",
    ),
    "an age that is no number": (
        {"unit_of_event": [0, 0], "time_of_event": [1, np.nan], "end": [5]},
        "row 1: time_of_event: it is not a number",
    ),
    "an endless unit": (
        {"unit_of_event": [], "time_of_event": [], "end": [5, np.inf]},
        "row 1: end: it is no age",
    ),
    "an end before its start": (
        {"unit_of_event": [], "time_of_event": [], "end": [5, 2], "start": [0, 3]},
        "row 1: end: it is before its unit's start",
    ),
    "a unit never watched": (
        {"unit_of_event": [], "time_of_event": [], "end": [5, 3], "start": [0, 3]},
        "row 1: end: it is its unit's start",
    ),
    "a unit named twice": (
        {"unit_of_event": ["a"], "time_of_event": [1], "end": [5, 5, 5], "unit": ["a", "b", "a"]},
        "row 2: unit: it was named before",
    ),
    "names of two kinds": (
        {"unit_of_event": ["a", 1], "time_of_event": [1, 1], "end": [5], "unit": ["a"]},
        "column: unit_of_event: its names are not all of one kind",
    ),
    "names unlike those of the units": (
        {"unit_of_event": ["a"], "time_of_event": [1], "end": [5], "unit": [1]},
        "column: unit_of_event: its names are string, those of unit int64",
    ),
    "a name that is missing": (
        {"unit_of_event": ["a", None], "time_of_event": [1, 1], "end": [5], "unit": ["a"]},
        "row 1: unit_of_event: it is missing",
    ),
    "columns of different length": (
        {"unit_of_event": [0], "time_of_event": [1, 2], "end": [5]},
        "column: unit_of_event: it has 1 rows where the first has 2",
    ),
    "clusters of another number of units": (
        {"unit_of_event": [0], "time_of_event": [1], "end": [5, 5], "cluster": ["a"]},
        "column: cluster: it has 1 rows where the first has 2",
    ),
    "a negative cost": (
        {"unit_of_event": [0], "time_of_event": [1], "end": [5], "cost": [-1]},
        "row 0: cost: it is no cost",
    ),
    "a level that is none": (
        {"unit_of_event": [0], "time_of_event": [1], "end": [5], "level": 95},
        "argument: level: it is 95",
    ),
    "an interval not known": (
        {"unit_of_event": [0], "time_of_event": [1], "end": [5], "interval": "exact"},
        "argument: interval: 'exact' is not known. Give one of normal, log",
    ),
    "units that came late, for Nelson's variance": (
        {
            "unit_of_event": [],
            "time_of_event": [],
            "end": [5, 5],
            "start": [0, 2],
            "variance": "unbiased",
        },
        "row 1: start: it is not that of the others. Take the robust variance",
    ),
    "a variance not known": (
        {"unit_of_event": [0], "time_of_event": [1], "end": [5], "variance": "best"},
        "argument: variance: 'best' is not known",
    ),
}


@pytest.mark.parametrize("why", REFUSED)
def test_bad_rows_are_refused_with_their_place(why):
    """A figure that cannot be is refused, with its row, its column and what is wrong."""
    given_, message = REFUSED[why]
    with pytest.raises(BadLives) as refused:
        mean_cumulative(**given_)
    assert str(refused.value).startswith(message)


def test_no_units_are_too_few():
    """Without a unit there is no curve."""
    with pytest.raises(TooFewLives, match="there are none"):
        mean_cumulative([], [], [])


@st.composite
def recurrences(draw):
    """Draw units with starts, ends and clusters, and events of theirs, many at one age."""
    count = draw(st.integers(1, 8))
    starts = draw(st.lists(st.sampled_from([0, 0, 0, 1, 2, 4]), min_size=count, max_size=count))
    ends = [start + draw(st.integers(1, 6)) for start in starts]
    cluster = draw(st.lists(st.integers(0, 3), min_size=count, max_size=count))
    rows = draw(st.lists(st.tuples(st.integers(0, count - 1), st.floats(0.01, 1)), max_size=20))
    unit = [row for row, _ in rows]
    time = [starts[row] + np.ceil((ends[row] - starts[row]) * share) for row, share in rows]
    cost = draw(st.lists(st.integers(0, 5), min_size=len(rows), max_size=len(rows)))
    return unit, time, ends, starts, cluster, cost


def defined_variances(unit, time, ends, starts, cluster, cost):
    """Give the robust variance at each age straight from its definition, cluster by cluster."""
    ages = sorted(set(time))
    residual, variances = dict.fromkeys(cluster, 0.0), []
    for age in ages:
        at_risk = [start < age <= end for start, end in zip(starts, ends, strict=True)]
        sizes = [
            sum(c for u, t, c in zip(unit, time, cost, strict=True) if (u, t) == (row, age))
            for row in range(len(ends))
        ]
        count = sum(at_risk)
        for row, is_watched in enumerate(at_risk):
            if is_watched:
                residual[cluster[row]] += (sizes[row] - sum(sizes) / count) / count
        variances.append(sum(one**2 for one in residual.values()))
    return variances


@given(recurrences())
def test_the_robust_variance_is_its_definition(rows):
    """Worked out by sums over changes, the variance is that of residuals cluster by cluster."""
    unit, time, ends, starts, cluster, cost = rows
    curve = mean_cumulative(unit, time, ends, start=starts, cluster=cluster, cost=cost)
    assert curve.se**2 == pytest.approx(defined_variances(*rows), abs=1e-10)


def nelsons_variances(unit, time, ends, cost):
    """Give Nelson's variance at each age from sample variances and covariances of all pairs."""
    ages = sorted(set(time))
    sizes = np.zeros((len(ends), len(ages)))
    np.add.at(sizes, (unit, [ages.index(age) for age in time]), cost)
    at_risk = [np.array(ends) >= age for age in ages]
    total, variances = 0.0, []
    for later, is_watched in enumerate(at_risk):
        count = is_watched.sum()
        for earlier in range(later + 1 if count > 1 else 0):
            pair = np.cov(sizes[is_watched, earlier], sizes[is_watched, later])[0, 1]
            total += pair / at_risk[earlier].sum() * (1 if earlier == later else 2)
        variances.append(max(total, 0.0))
    return variances


@given(recurrences())
def test_the_unbiased_variance_is_its_definition(rows):
    """Worked out by sums, Nelson's variance is that of sample covariances of all pairs of ages."""
    unit, time, ends, _, _, cost = rows
    curve = mean_cumulative(unit, time, ends, cost=cost, variance="unbiased")
    assert curve.se**2 == pytest.approx(nelsons_variances(unit, time, ends, cost), abs=1e-9)


def test_of_units_watched_alike_the_unbiased_variance_has_n_less_1():
    """Where no unit leaves, Nelson's variance is the robust one times n / (n - 1)."""
    robust, other = (
        mean_cumulative([0, 0, 1, 3], [2, 4, 3, 3], [9] * 5, variance=variance)
        for variance in ("robust", "unbiased")
    )
    assert other.se**2 == pytest.approx(robust.se**2 * 5 / 4)


@given(recurrences())
def test_the_order_of_rows_does_not_matter(rows):
    """Events and units in another order give the same curve."""
    unit, time, ends, starts, cluster, cost = rows
    back = len(ends) - 1
    turned = mean_cumulative(
        [back - row for row in unit[::-1]], time[::-1], ends[::-1],
        start=starts[::-1], cluster=cluster[::-1], cost=cost[::-1],
    )  # fmt: skip
    curve = mean_cumulative(unit, time, ends, start=starts, cluster=cluster, cost=cost)
    assert turned.mcf == pytest.approx(curve.mcf)
    assert turned.se == pytest.approx(curve.se, abs=1e-7)


@given(recurrences(), st.sampled_from([0.001, 24.0, 365.25]))
def test_the_unit_of_measure_does_not_matter(rows, factor):
    """Ages in another measure give the same curve at those ages."""
    unit, time, ends, starts, cluster, cost = rows
    curve = mean_cumulative(unit, time, ends, start=starts, cluster=cluster, cost=cost)
    scaled = mean_cumulative(
        unit, np.array(time) * factor, np.array(ends) * factor,
        start=np.array(starts) * factor, cluster=cluster, cost=cost,
    )  # fmt: skip
    assert scaled.mcf == pytest.approx(curve.mcf)
    assert scaled.se == pytest.approx(curve.se, abs=1e-7)
    assert scaled.time == pytest.approx(curve.time * factor)


@given(recurrences())
def test_every_figure_is_in_its_range(rows):
    """The curve never falls, no error is below 0, and each age has a unit at risk."""
    unit, time, ends, starts, _, cost = rows
    curve = mean_cumulative(unit, time, ends, start=starts, cost=cost, interval="log")
    assert (np.diff(curve.mcf) >= 0).all()
    assert (curve.at_risk >= 1).all()
    assert (curve.low <= curve.mcf).all()
    assert (curve.mcf <= curve.high).all()
    assert curve.count.sum() == len(time)
    assert curve.at(curve.time).at_risk.tolist() == curve.at_risk.tolist()
