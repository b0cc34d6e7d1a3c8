"""Intervals of lines: where they will be, where they cross, and how often that is right."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.lines import Line
from ledger.analysis.pooled_lines import pooled_lines
from ledger.analysis.unfit import CannotFit
from tests.analysis.pooled_parts import true_lines, wearing_parts

figures = st.floats(-1e3, 1e3)


def line(intercept=1.0, slope=0.5, sds=(0.2, 0.05), correlation=0.0, scatter=0.0, free=50) -> Line:
    cross = correlation * sds[0] * sds[1]
    covariance = np.array([[sds[0] ** 2, cross], [cross, sds[1] ** 2]])
    return Line(intercept, slope, covariance, scatter, free)


def test_interval_of_a_line_is_student_t():
    """Eighty per cent at x = 2 is t with the free figures times the line's own deviation."""
    # t of 0.9 with 10 degrees of freedom is 1.372 in every table
    band = line(sds=(0.3, 0.2), free=10).forecast(2.0)
    assert band.value == pytest.approx(2.0)
    assert band.high - band.value == pytest.approx(1.372 * 0.5, abs=5e-4)
    assert band.value - band.low == pytest.approx(band.high - band.value)


def test_next_reading_adds_the_scatter_of_readings():
    """The interval of the next reading holds the scatter of readings beside the line's."""
    one = line(sds=(0.3, 0.0), scatter=0.16)
    narrow, wide = one.forecast([0.0, 9.0]), one.forecast([0.0, 9.0], is_reading=True)
    ratio = (wide.high - wide.value) / (narrow.high - narrow.value)
    assert ratio == pytest.approx([0.5 / 0.3] * 2)


def test_crossing_of_a_line_known_exactly_is_one_point():
    """A line without uncertainty crosses where it crosses."""
    found = line(sds=(0.0, 0.0)).crossing(3.0)
    assert (found.at, found.low, found.high) == pytest.approx((4.0, 4.0, 4.0))


@given(figures, st.floats(0.01, 10), st.floats(0, 5), st.floats(0, 0.005), figures)
def test_ends_of_a_crossing_are_where_the_band_meets_the_threshold(a, b, sd, sd_slope, threshold):
    """At either end of the interval the edge of the line's own interval is at the threshold."""
    one = line(a, b, (sd, sd_slope), 0.3)
    found = one.crossing(threshold)
    for end in (end for end in (found.low, found.high) if math.isfinite(end)):
        band = one.forecast(end)
        nearest = min(abs(band.low - threshold), abs(band.high - threshold))
        assert nearest < 1e-6 * (1 + abs(a) + abs(threshold) + abs(b * end))


@given(*[st.floats(-1e200, 1e200)] * 3, *[st.floats(0, 1e200)] * 2, st.floats(-1, 1))
@settings(max_examples=300)
def test_a_crossing_is_never_nan_and_in_order(a, b, threshold, sd, sd_slope, correlation):
    """However flat, steep or unsure a line is, its crossing lies within its interval."""
    found = line(a, b, (sd / 1e60, sd_slope / 1e60), correlation).crossing(threshold)
    assert not any(math.isnan(figure) for figure in (found.at, found.low, found.high))
    assert found.low <= found.at <= found.high


def test_a_slope_that_may_be_zero_leaves_the_crossing_open():
    """A line that may be level crosses from some point on, or anywhere at all."""
    found = line(1.0, 0.05, (0.1, 0.05)).crossing(2.0)
    assert found.at == pytest.approx(20.0)
    assert 0 < found.low < 20 and found.high == math.inf
    anywhere = line(1.0, 0.01, (1.0, 0.5)).crossing(1.1)
    assert (anywhere.low, anywhere.high) == (-math.inf, math.inf)
    level = line(1.0, 0.0, (0.1, 0.0)).crossing(2.0)
    assert level.at == math.inf == level.high


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda one: one.forecast(math.nan), "not a finite number"),
        (lambda one: one.forecast(1.0, level=1.0), "between 0 and 1"),
        (lambda one: one.crossing(math.inf), "Give a finite figure"),
        (lambda one: one.crossing(1.0, level=0.0), "between 0 and 1"),
    ],
)
def test_what_a_line_cannot_tell_is_refused(ask, message):
    """Figures that are not finite and levels outside 0 to 1 are named."""
    with pytest.raises(CannotFit, match=message):
        ask(line())


@pytest.mark.parametrize("spread", [(0.2, 0.3), (0.0, 0.3)])
def test_eighty_per_cent_intervals_hold_eighty_per_cent(spread):
    """Over simulated books of 40 parts, lines and next readings lie within as often as said."""
    hits = np.array([_hits(seed, spread) for seed in range(60)])
    lines, readings, crossings = hits.mean(axis=(0, 2))
    assert 0.77 < lines < 0.83
    assert 0.77 < readings < 0.83
    assert 0.76 < crossings < 0.84


def _hits(seed: int, spread: tuple[float, float]) -> np.ndarray:
    """Say for each of 40 parts whether its line at 4, a reading there and its crossing held."""
    found = pooled_lines(*wearing_parts(seed, 40, spread=spread))
    scatter = np.random.default_rng([seed, 3]).normal(size=40) * 0.15
    hits = []
    for part, (intercept, slope) in enumerate(true_lines(seed, 40, spread)):
        truth = intercept + 4.0 * slope
        band, later = found.forecast(part, 4.0), found.forecast(part, 4.0, is_reading=True)
        crossing = found.crossing(part, 3.0)
        is_later_held = later.low <= truth + scatter[part] <= later.high
        is_crossing_held = crossing.low <= (3.0 - intercept) / slope <= crossing.high
        hits.append([band.low <= truth <= band.high, is_later_held, is_crossing_held])
    return np.array(hits).T
