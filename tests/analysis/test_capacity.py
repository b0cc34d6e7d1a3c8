"""A day's bench: its share of the week, less what is spoken for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.capacity import bench_today, weekday_shares, weeks_booked_ahead
from ledger.analysis.life_bounds import BadLives


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 500)), max_size=50))
def test_the_days_of_a_week_share_all_its_hours(worked):
    """Shares add up to 1, and a day nobody worked on has none."""
    days = np.array([day for day, _ in worked], dtype=np.int64)
    shares = weekday_shares(days, [minutes for _, minutes in worked])
    assert shares.sum() == pytest.approx(1)
    if sum(minutes for _, minutes in worked):
        idle = set(range(7)) - {day for day, minutes in worked if minutes}
        assert all(shares[day] == 0 for day in idle)


def test_a_shop_without_minutes_is_taken_to_work_monday_to_friday():
    """Five equal days."""
    assert weekday_shares(np.array([], dtype=np.int64), []).tolist() == [0.2] * 5 + [0.0] * 2


def test_what_is_left_of_a_day():
    """66 hours a week, a Friday with a quarter of them: 990 minutes, 300 worked, 400 promised."""
    shares = weekday_shares(np.array([4, 0]), [1, 3])
    bench = bench_today(shares, 4, 66, worked_minutes=300, promised_minutes=400)
    assert bench.open_minutes == 990
    assert bench.left_minutes == 290
    assert bench.chance_fits(np.array([100.0, 290.0, 291.0, 500.0])) == 0.5


def test_more_promised_than_fits_leaves_less_than_nothing():
    """The day is over-booked by 10 minutes, and nothing fits."""
    bench = bench_today(np.full(7, 1 / 7), 0, 7, promised_minutes=70)
    assert bench.left_minutes == pytest.approx(-10)
    assert bench.chance_fits(np.array([1.0])) == 0


def test_weeks_booked_ahead_count_no_job_below_nought():
    """120 left on one job and 60 too many worked on another: 120 of 600 minutes a week."""
    assert weeks_booked_ahead([120, -60], 10) == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: weekday_shares(np.array([7]), [1]), "there is no such day"),
        (lambda: weekday_shares(np.array([1]), [-1]), "minutes"),
        (lambda: bench_today(np.ones(6), 0, 10), "weekday"),
        (lambda: weeks_booked_ahead([1], 0), "sellable_hours"),
    ],
)
def test_what_is_no_week_is_refused(call, message):
    """An eighth day, minutes below 0 and a week without hours are named."""
    with pytest.raises(BadLives, match=message):
        call()
