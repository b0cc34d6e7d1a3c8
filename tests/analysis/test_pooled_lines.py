"""What a pooled fit promises whatever the order, the unit and the zero of its columns."""

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.pooled_lines import RANDOM, PooledLines, pooled_lines
from ledger.analysis.unfit import CannotFit
from tests.analysis.pooled_parts import wearing_parts

seeds = st.integers(0, 2**32 - 1)
kinds = st.sampled_from(sorted(RANDOM))


def same(one: PooledLines, other: PooledLines, *, rel: float = 1e-4) -> bool:
    """Say whether two fits have the same parts with the same lines and uncertainties."""
    return set(one.parts) == set(other.parts) and all(
        _figures(one, part) == pytest.approx(_figures(other, part), rel=rel, abs=1e-5)
        for part in one.parts
    )


def _figures(fitted: PooledLines, part: object) -> list[float]:
    line = fitted.line_of(part)
    return [line.intercept, line.slope, *line.covariance.ravel(), line.residual_variance]


@given(seeds, kinds)
@settings(max_examples=15)
def test_order_of_rows_does_not_matter(seed, random):
    """Shuffled rows give every part the same line."""
    readings = wearing_parts(seed, 20)
    order = np.random.default_rng(seed).permutation(len(readings.x))
    shuffled = [column[order] for column in readings]
    one, other = (pooled_lines(*each, random=random) for each in (readings, shuffled))
    assert same(one, other)
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-6)


@given(seeds, kinds, st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
@settings(max_examples=15)
def test_units_only_scale_the_lines(seed, random, unit_of_x, unit_of_y):
    """Kilometres for miles, or millimetres for inches, leave every line where it was."""
    part, x, y = wearing_parts(seed, 20)
    one = pooled_lines(part, x, y, random=random)
    other = pooled_lines(part, unit_of_x * x, unit_of_y * y, random=random)
    assert other.slope * unit_of_x / unit_of_y == pytest.approx(one.slope, rel=1e-5)
    for label in one.parts[:5]:
        before, after = one.forecast(label, 2.5), other.forecast(label, 2.5 * unit_of_x)
        assert after.value / unit_of_y == pytest.approx(before.value, rel=1e-4)
        assert after.low / unit_of_y == pytest.approx(before.low, rel=1e-4, abs=1e-4)
    shift = (len(x) - 2) * np.log(unit_of_y) + np.log(unit_of_x)
    assert other.log_likelihood + shift == pytest.approx(one.log_likelihood, abs=1e-5)


@given(seeds, st.floats(-1e3, 1e3))
@settings(max_examples=15)
def test_zero_of_x_does_not_matter_where_intercepts_vary(seed, moved):
    """Lines foretell the same whether distance counts from fitting or from elsewhere."""
    part, x, y = wearing_parts(seed, 20)
    one, other = pooled_lines(part, x, y), pooled_lines(part, x + moved, y)
    for label in one.parts[:5]:
        before, after = one.forecast(label, 2.5), other.forecast(label, 2.5 + moved)
        assert after.low == pytest.approx(before.low, rel=1e-4, abs=1e-4)
        assert after.high == pytest.approx(before.high, rel=1e-4, abs=1e-4)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-5)


def test_effects_that_do_not_vary_are_zero():
    """With slopes alone varying every intercept is the common one, and the other way round."""
    readings = wearing_parts(1)
    slopes, ends = (pooled_lines(*readings, random=kind) for kind in ("slope", "intercept"))
    assert np.all(slopes.effects[:, 0] == 0) and np.any(slopes.effects[:, 1] != 0)
    assert np.all(ends.effects[:, 1] == 0) and np.any(ends.effects[:, 0] != 0)
    assert slopes.random_covariance[0, 0] == 0 and ends.random_covariance[1, 1] == 0


def test_a_part_with_one_reading_is_drawn_to_the_common_line():
    """One far reading moves a part's slope part of the way that the reading alone would say."""
    part, x, y = wearing_parts(2, spread=(0.0, 0.3))
    found = pooled_lines([*part, 99], [*x, 2.0], [*y, 0.2 + 2.0 * 2.0], random="slope")
    assert found.slope + 0.2 < found.line_of(99).slope < 2.0


def test_a_new_part_has_the_common_line_and_all_its_spread():
    """A part not yet read lies about the common line by what parts differ and that is unsure."""
    found = pooled_lines(*wearing_parts(3))
    line = found.line_of(None)
    assert (line.intercept, line.slope) == (found.intercept, found.slope)
    assert line.covariance == pytest.approx(found.random_covariance + found.fixed_covariance)


def test_arrow_columns_and_lists_are_read_as_arrays_are():
    """Arrow columns, chunked or of decimals, and plain lists give the same lines."""
    part, x, y = wearing_parts(4)
    plain = pooled_lines(part, x, y)
    names = pa.chunked_array([[f"p{label}" for label in part]])
    arrow = pooled_lines(names, pa.array(x), pa.chunked_array([y[:50], y[50:]]))
    assert arrow.parts == tuple(f"p{label}" for label in plain.parts)
    assert np.array_equal(arrow.effects, plain.effects)
    assert same(plain, pooled_lines(part.tolist(), x.tolist(), y.tolist()), rel=1e-12)


GOOD = {"part": ["a", "a", "b", "b", "c", "c"], "x": [0, 1, 0, 2, 1, 3], "y": [0, 1, 0, 3, 2, 2]}


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"y": [0, 1, 0, 3, float("nan"), 2]}, r"row 4 \(counted from 0\): y: it is nan"),
        ({"x": [0, 1, float("inf"), 2, 1, 3]}, r"row 2 \(counted from 0\): x: it is inf"),
        ({"y": pa.array([0.0, 1, 0, None, 2, 2])}, r"row 3 \(counted from 0\): y"),
        ({"part": ["a", "a", None, "b", "c", "c"]}, r"row 2 \(counted from 0\): part: it is miss"),
        ({"part": ["a", 1, "b", "b", "c", "c"]}, "labels of one type"),
        ({"x": [0, 1, 0, 2, 1]}, "one number for each row"),
        ({"y": ["much"] * 6}, "a number in every row"),
        ({"part": ["a"] * 6}, "two parts or more"),
        ({"part": [], "x": [], "y": []}, "two parts or more"),
        ({"x": [7.0] * 6}, "all are equal"),
        ({"part": list("abcdef")}, "cannot be told from"),
        ({"x": [0, 1, 0, 1, 0, 1]}, "cannot be told from"),
        ({"random": "wheel"}, "One of"),
    ],
)
def test_columns_that_cannot_be_fitted_are_refused(changed, message):
    """The row and the field that are wrong are named, and what would be right."""
    with pytest.raises(CannotFit, match=message):
        pooled_lines(**{**GOOD, **changed})


def test_a_part_that_was_not_read_is_named():
    """Asking for an unknown part says so."""
    with pytest.raises(CannotFit, match="part 1234"):
        pooled_lines(*wearing_parts(5)).line_of(1234)


@pytest.mark.slow
def test_100_000_parts_give_their_truth_closely():
    """From 100,000 parts of one to three readings every variance comes back within 2 %."""
    readings = wearing_parts(6, 100_000)
    found = pooled_lines(*readings)
    assert found.residual_variance == pytest.approx(0.15**2, rel=0.02)
    assert np.diag(found.random_covariance) == pytest.approx([0.04, 0.09], rel=0.02)
