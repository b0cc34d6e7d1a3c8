"""Which gears a rider lives in, from readings of single sprockets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.gears import gears, teeth_of
from ledger.analysis.unfit import CannotFit


@pytest.mark.parametrize(
    ("point", "teeth"), [("19T", 19), ("9 t", 9), ("21", 21), ("outer", None), (None, None)]
)
def test_a_point_names_a_tooth_count_or_none(point: str | None, teeth: int | None) -> None:
    """`19T` is nineteen teeth; anything else is no sprocket."""
    assert teeth_of(point) == teeth


def test_shares_by_hand() -> None:
    """Over 5,000 km 0.3, 0.5 and 0.2 mm on three sprockets are shares of 30, 50 and 20 %."""
    found = gears([15, 19, 13], [0.3, 0.5, 0.2], 5000, 0.0)
    assert list(found.teeth) == [13, 15, 19]
    assert found.share == pytest.approx([0.2, 0.3, 0.5])
    assert found.rate == pytest.approx([0.04, 0.06, 0.1])
    assert found.rate_high == pytest.approx(found.rate)


def test_readings_of_one_sprocket_are_put_together() -> None:
    """The rate is all wear over all distance, not a mean of rates."""
    found = gears([15, 15, 17], [0.1, 0.5, 0.3], [1000, 5000, 6000], 0.0)
    assert found.rate == pytest.approx([0.1, 0.05])
    assert list(found.count) == [2, 1]


def test_one_sprocket_alone_has_no_share() -> None:
    """A share of all wear is not known where only one sprocket was read."""
    found = gears([17], [0.4], [5000], [0.05])
    assert np.isnan(found.share).all()
    assert found.rate_low[0] < 0.08 < found.rate_high[0]


def test_nothing_read_gives_nothing() -> None:
    """No readings, no gears."""
    assert len(gears([], [], [], []).teeth) == 0


def test_the_interval_holds_the_true_share_as_often_as_it_says() -> None:
    """Of 400 cassettes read with a gauge's error, 75 to 85 % of 80 % intervals hold the truth."""
    rng = np.random.default_rng(2)
    true = np.array([0.2, 0.5, 0.3])
    held = 0
    for seed in range(400):
        read = true * 0.8 + rng.normal(0, 0.05, 3)
        found = gears([13, 15, 17], read, 4000, 0.05, count_samples=400, seed=seed)
        held += int(np.sum((found.share_low <= true) & (true <= found.share_high)))
    assert held / 1200 == pytest.approx(0.8, abs=0.05)


@settings(max_examples=50, deadline=None)
@given(
    rows=st.lists(
        st.tuples(st.integers(10, 40), st.floats(0, 2), st.floats(100, 20_000)),
        min_size=1, max_size=12,
    ),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_shares_sum_to_one_in_any_order(rows: list[tuple[int, float, float]], seed: int) -> None:
    """Whatever order readings come in, the rates are the same and the shares are of one whole."""
    order = np.random.default_rng(seed).permutation(len(rows))
    teeth, wear, km = (np.array(column) for column in zip(*rows, strict=True))
    found = gears(teeth, wear, km, 0.05, count_samples=50)
    mixed = gears(teeth[order], wear[order], km[order], 0.05, count_samples=50)
    assert mixed.rate == pytest.approx(found.rate)
    assert np.isnan(found.share).all() or found.share.sum() == pytest.approx(1)


def test_a_reading_without_distance_is_named() -> None:
    """The error says which reading and what would be right."""
    with pytest.raises(CannotFit, match=r"reading 1: .*distance above 0"):
        gears([13, 15], [0.1, 0.2], [1000, 0], 0.05)
