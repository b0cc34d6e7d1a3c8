"""A fit made before is taken for what was not read since, and is what a new one would be."""

from __future__ import annotations

from typing import Any

import numpy as np

from ledger.analysis.wear import FamilyFit, fit_wear
from tests.analysis.test_wear_flags import pads, thick, with_value

CHAIN = {"position": "chain", "quantity": "elongation", "direction": 1.0, "gauge": "laser"}


def with_chains(table: dict[str, list[Any]], count: int) -> dict[str, list[Any]]:
    """Put readings of chains before all others, so that every row moves."""
    made = {name: [values[0]] * count for name, values in table.items()}
    for place in range(count):
        made["series"][place] = made["part"][place] = f"chain {place // 3}"
        made["distance_km"][place] = 900.0 + 700 * (place % 3)
        made["value"][place] = 0.1 + 0.15 * (place % 3) + 0.002 * place
    for name, value in CHAIN.items():
        made[name] = [value] * count
    return {name: [*made[name], *table[name]] for name in table}


def test_what_was_not_read_since_keeps_its_fit() -> None:
    """Twelve more readings of chains: the pads' fit is the one before, its rows moved along."""
    row = thick(pads(), 3)[0]
    table = with_value(pads(), row, 0.1)
    before = fit_wear(with_chains(table, 24))
    now = with_chains(table, 36)
    kept, anew = fit_wear(now, before), fit_wear(now)
    (old,) = [each for each in before.families if each.family.direction < 0]
    for one, other in zip(kept.families, anew.families, strict=True):
        assert_same(one, other)
        assert (one.lines is old.lines) == (one.family.direction < 0)
    (pads_kept,) = [each for each in kept.families if each.family.direction < 0]
    assert [flag.row for flag in pads_kept.flagged] == [36 + row]


def assert_same(one: FamilyFit, other: FamilyFit) -> None:
    """Hold two fits to be equal to the bit."""
    assert one.flagged == other.flagged and one.fitted_to == other.fitted_to
    np.testing.assert_array_equal(one.family.row, other.family.row)
    np.testing.assert_array_equal(one.used, other.used)
    assert one.state is not None and other.state is not None
    for name in ("x", "figure", "slope", "variance", "log_rate", "log_variance"):
        np.testing.assert_array_equal(getattr(one.state, name), getattr(other.state, name))


def test_any_figure_that_changes_is_fitted_anew() -> None:
    """One reading a little different, or another limit: nothing is taken from before."""
    table = pads()
    before = fit_wear(table)
    limits = [limit + 0.1 for limit in table["limit"]]
    for changed in (with_value(table, 5, table["value"][5] + 0.1), table | {"limit": limits}):
        (one,), (other,) = fit_wear(changed, before).families, fit_wear(changed).families
        assert one.lines is not before.families[0].lines
        assert_same(one, other)
