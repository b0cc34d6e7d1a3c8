"""How far past its limit a chain was when seen."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ledger.analysis.beyond import how_far_beyond
from ledger.analysis.unfit import CannotFit


def test_a_chain_at_twice_its_limit_by_hand() -> None:
    """0.5 points over at 0.25 points per 1,000 km is 2,000 km ago; the rate's interval bounds it.

    The 80 % interval of a log-normal rate is its median times or over exp(1.2816 sd).
    """
    found = how_far_beyond(1.0, 0.5, math.log(0.25), 0.2)
    spread = math.exp(1.2815516 * 0.2)
    assert found.over[0] == pytest.approx(0.5)
    assert found.km[0] == pytest.approx(2000)
    assert found.km_low[0] == pytest.approx(2000 / spread, rel=0.01)
    assert found.km_high[0] == pytest.approx(2000 * spread, rel=0.01)


def test_many_readings_are_told_as_each_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """They are worked out some at a time."""
    monkeypatch.setattr("ledger.analysis.beyond._READINGS_AT_ONCE", 2)
    values = [0.4, 0.6, 0.8, 1.0, 1.2]
    found = how_far_beyond(values, 0.5, math.log(0.25), 0.2, error=0.05)
    for place, value in enumerate(values):
        alone = how_far_beyond(value, 0.5, math.log(0.25), 0.2, error=0.05)
        for name in ("over", "km", "km_low", "km_high"):
            assert getattr(found, name)[place] == getattr(alone, name)[0]
    assert len(how_far_beyond([], 0.5, 0.0, 0.2).km_low) == 0


def test_the_gauges_error_alone_gives_a_normal_interval() -> None:
    """With a rate that is known, 0.1 over give or take 0.05 is 400 km give or take 256."""
    found = how_far_beyond(0.6, 0.5, math.log(0.25), 0.0, error=0.05)
    assert found.km_low[0] == pytest.approx(400 - 1.2815516 * 200, rel=0.02)
    assert found.km_high[0] == pytest.approx(400 + 1.2815516 * 200, rel=0.02)


def test_short_of_the_limit_is_negative_and_falling_wear_counts_downwards() -> None:
    """A pad 0.2 mm past its lowest thickness is over; a chain short of its limit is not."""
    found = how_far_beyond([0.8, 0.4], [1.0, 0.5], np.log([0.5, 0.2]), 0.1, direction=[-1, 1])
    assert found.over == pytest.approx([0.2, -0.1])
    assert found.km == pytest.approx([400, -500])
    assert np.all(found.km_low <= found.km)
    assert np.all(found.km <= found.km_high)


def test_no_readings_give_none() -> None:
    """Nothing seen is nothing beyond."""
    assert len(how_far_beyond([], [], [], []).km_low) == 0


def test_a_negative_error_is_named() -> None:
    """An error below nought is refused with what would be right."""
    with pytest.raises(CannotFit, match="sds of 0 or more"):
        how_far_beyond(1.0, 0.5, 0.0, -0.1)
