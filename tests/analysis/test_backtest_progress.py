"""The backtest tells how far it is while it runs."""

from __future__ import annotations

from wear_shop import Plan, simulated

from ledger.analysis.backtest import backtest


def test_families_are_counted_as_they_are_done() -> None:
    """From none of all to all of all, once each; and what is scored stays the same."""
    table = simulated(3, Plan(count_parts=40)).columns
    told: list[tuple[int, int]] = []
    found = backtest(table, folds=2, on_progress=lambda done, of: told.append((done, of)))
    (count,) = {of for _, of in told}
    assert count >= 1
    assert told == [(done, count) for done in range(count + 1)]
    assert found.scored.equals(backtest(table, folds=2).scored)
