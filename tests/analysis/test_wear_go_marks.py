"""Shops whose only gauge has marks: what goes in and what does not tells a rate too."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ledger.analysis.wear import fit_wear
from ledger.analysis.wear_forecast import State, at
from tests.analysis.wear_shop import GO, Plan, simulated


def looks(*bounds: tuple[float | None, float | None], km: float = 2000.0) -> dict[str, Any]:
    """Give one look a chain, new at nought, at the same distance."""
    return {
        "part": [f"chain {number}" for number in range(len(bounds))],
        "distance_km": [km] * len(bounds),
        "low": [low for low, _ in bounds],
        "high": [high for _, high in bounds],
        "start": [0.0] * len(bounds),
        "limit": [0.75] * len(bounds),
    }


def only_state(table: dict[str, Any]) -> State | None:
    """Give where the only family stands."""
    (fitted,) = fit_wear(table).families
    return fitted.state


@pytest.mark.parametrize("seed", [1, 2])
def test_marks_alone_tell_rates_whose_intervals_hold(seed: int) -> None:
    """80 % intervals of rates from go/no-go marks alone hold 70 to 90 % of the true rates."""
    shop = simulated(seed, Plan(count_parts=400, gauges=(GO,)))
    starts = [0.0] * len(shop.columns["series"])
    (fitted,) = fit_wear(shop.columns | {"start": starts}).families
    assert fitted.state is not None and set(shop.columns["value"]) == {None}
    true = np.array([shop.rates[name] for name in fitted.family.series])
    is_inside = (true >= fitted.state.rate(0.1)) & (true <= fitted.state.rate(0.9))
    assert 0.7 < is_inside.mean() < 0.9
    assert abs(np.log(fitted.state.rate(0.5) / true).mean()) < 0.1


def test_marks_alone_tell_nothing_of_parts_whose_figure_when_new_is_unknown() -> None:
    """Between marks start and rate cannot be told apart, so that no rate is made up."""
    assert only_state(looks((0.5, 0.75), (None, 0.5)) | {"start": [None, None]}) is None


def test_a_part_between_two_marks_tells_a_rate() -> None:
    """A chain new at 0 and between 0.5 and 0.75 % at 2,000 km wears 0.25 to 0.375 % a thousand."""
    state = only_state(looks((0.5, 0.75)))
    assert state is not None
    assert 0.25 < state.rate(0.5)[0] < 0.375
    assert state.rate(0.9)[0] / state.rate(0.1)[0] > 1.2


@pytest.mark.parametrize("bound", [(None, 0.5), (0.75, None), (None, None)])
def test_marks_passed_on_one_side_alone_tell_no_rate(
    bound: tuple[float | None, float | None],
) -> None:
    """Where no part, or every part, was past the mark, nothing says how fast they wear."""
    table = looks(bound, bound) | {"value": [None, None]}
    if bound == (None, None):
        table |= {"low": [-np.inf] * 2, "high": [np.inf] * 2}
    assert only_state(table) is None


def test_a_mark_passed_makes_a_part_more_worn_than_one_not_yet_passed() -> None:
    """Of two chains as old, the one past 0.75 % wears faster, and is more likely past its limit."""
    state = only_state(looks((None, 0.5), (0.75, None)))
    assert state is not None
    assert state.rate(0.5)[1] > 1.3 * state.rate(0.5)[0]
    chance = at(state, state.x).chance_above(np.array([0.75, 0.75]))
    assert chance[1] > 0.8 and chance[0] < 0.1


def test_pads_between_marks_that_shrink_are_read_as_chains_that_grow() -> None:
    """The same marks counted downwards give the same rates."""
    rising = looks((None, 0.5), (0.5, 0.75), (0.75, None))
    falling = rising | {
        "low": [None if high is None else 4 - high for high in rising["high"]],
        "high": [None if low is None else 4 - low for low in rising["low"]],
        "start": [4.0] * 3,
        "limit": [3.25] * 3,
        "direction": [-1] * 3,
    }
    one, other = only_state(rising), only_state(falling)
    assert one is not None and other is not None
    assert other.rate(0.5) == pytest.approx(one.rate(0.5), rel=1e-6)
