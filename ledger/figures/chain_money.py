"""What running chains long cost or saved each rider of a book, and what followed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.costs import (
    ChainRuns,
    Differences,
    SprocketAccount,
    difference_from_changing_at_limit,
)
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_lives import WORN_OUT
from ledger.figures.chain_stretches import Run, column

FOLLOWS_WITHIN = timedelta(days=365)
COLUMNS = {
    "distance_km": "distance_km",
    "spent_minor": "spent",
    "extra_chains": "extra_chains",
    "difference_minor": "difference",
    "difference_low_minor": "low",
    "difference_high_minor": "high",
}
"""Fields of a rider -> those of Differences."""


def differences(of: ChainBook) -> Differences:
    """Give what chains, cassettes and rings used up against changing chains at their limits.

    Raises CannotFit where no chain was read twice, or none was charged.
    """
    runs = [run for run in of.runs if of.price("chain", run.limit)]
    who = np.array([run.code for run in runs], dtype=np.int64)
    km, start, end = (column(runs, name) for name in ("km", "start", "end"))
    at, limit = column(runs, "changed_at"), column(runs, "limit")
    price, pace = _prices(of, runs, "chain"), column(runs, "pace")
    figures = ChainRuns(who, km, start, end, at, limit, price, pace)
    return difference_from_changing_at_limit(figures, [_account(of, runs, s) for s in of.seen])


def _prices(of: ChainBook, runs: Sequence[Run], sort: str) -> NDArray[np.float64]:
    found = [of.price(sort, run.limit) for run in runs]
    return np.array([0.0 if one is None else one.fitted_minor for one in found])


def _account(of: ChainBook, runs: Sequence[Run], sort: str) -> SprocketAccount:
    """Give what a sort of sprocket costs each run's bike: nothing where none was ever read."""
    there = {life.bike for life in of.sprockets[sort]}
    is_there = np.array([run.bike in there for run in runs], dtype=bool)
    price = np.where(is_there, _prices(of, runs, sort), 0.0)
    return SprocketAccount(of.seen[sort], price, np.full(len(runs), of.tooth_limits[sort]))


def of_rider(money: Differences | None, code: int) -> dict[str, float | None]:
    """Give one rider's figures; None for one whose distance is not known."""
    if money is None or code not in money.riders:
        return dict.fromkeys(COLUMNS)
    place = int(np.searchsorted(money.riders, code))
    return {name: float(getattr(money, column)[place]) for name, column in COLUMNS.items()}


def followed(of: ChainBook, sort: str) -> dict[str, int]:
    """Give by bike how many of a sort were used up after a chain was seen past its limit.

    Those that were on when it was seen, and came off within FOLLOWS_WITHIN.
    """
    late: dict[str, list[datetime]] = defaultdict(list)
    for one in of.sightings:
        if one.is_past:
            late[one.bike].append(one.at)
    found: dict[str, int] = defaultdict(int)
    for row in of.tables.parts.to_pylist():
        if row["position"].split(".")[0] != sort or row["end_reason"] not in WORN_OUT:
            continue
        if any(
            timedelta(0) <= row["ended_at"] - at <= FOLLOWS_WITHIN
            and (row["is_found"] or row["fitted_at"] < at)
            for at in late.get(row["bike"], ())
        ):
            found[row["bike"]] += 1
    return found
