"""What running chains long cost or saved each rider of a book, and what followed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ledger.analysis.costs import (
    ChainRuns,
    Differences,
    SprocketAccount,
    difference_from_changing_at_limit,
)
from ledger.analysis.unfit import CannotFit
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_lives import WORN_OUT
from ledger.figures.chain_stretches import Run, column

FOLLOWS_WITHIN = timedelta(days=365)
_MENDED = "Charge a chain on a bill, and read chains with the distance"
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
    if not runs or of.rates is None:
        raise CannotFit("chains", "price" if of.runs else "distance", _why_none(of), _MENDED)
    who = np.array([run.code for run in runs], dtype=np.int64)
    figures = ChainRuns(
        rider=who,
        distance_km=column(runs, "km"),
        start=column(runs, "start"),
        end=column(runs, "end"),
        changed_at=column(runs, "changed_at"),
        limit=column(runs, "limit"),
        price=_prices(of, runs, "chain"),
        pace=column(runs, "pace"),
        pace_log_sd=of.rates.of(who)[1],
        error=column(runs, "error"),
        is_changed=column(runs, "is_changed").astype(bool),
    )
    return difference_from_changing_at_limit(figures, [_account(of, runs, s) for s in of.seen])


def _why_none(of: ChainBook) -> str:
    if not of.runs:
        return "no chain was read twice, or read once from new, over a known distance"
    return (
        f"no chain was charged{_of_limits({run.limit for run in of.runs})}, so its price is missing"
    )


def unpriced(of: ChainBook) -> list[str]:
    """Say which parts have no price, and so are in no rider's money though they were read."""
    limits = {run.limit for run in of.runs}
    without = {limit for limit in limits if not of.price("chain", limit)}
    found = []
    if without and without != limits:
        found.append(f"what chains{_of_limits(without)} cost: none was charged")
    for sort in of.seen:
        there = _bikes_with(of, sort)
        missing = {
            run.limit
            for run in of.runs
            if run.bike in there and run.limit not in without and not of.price(sort, run.limit)
        }
        if missing:
            found.append(f"what {sort}s wear{_of_limits(missing)} cost: no {sort} was charged")
    return found


def _of_limits(limits: set[float]) -> str:
    """Give of which bikes a price is: ` on bikes with a chain limit of 0.5 or 0.75 %`."""
    return f" on bikes with a chain limit of {' or '.join(f'{one:g}' for one in sorted(limits))} %"


def _prices(of: ChainBook, runs: Sequence[Run], sort: str) -> NDArray[np.float64]:
    found = [of.price(sort, run.limit) for run in runs]
    return np.array([0.0 if one is None else one.fitted_minor for one in found])


def _account(of: ChainBook, runs: Sequence[Run], sort: str) -> SprocketAccount:
    """Give what a sort of sprocket costs each run's bike: nothing where none is on record."""
    there = _bikes_with(of, sort)
    is_there = np.array([run.bike in there for run in runs], dtype=bool)
    price = np.where(is_there, _prices(of, runs, sort), 0.0)
    return SprocketAccount(of.seen[sort], price, np.full(len(runs), of.tooth_limits[sort]))


def _bikes_with(of: ChainBook, sort: str) -> set[str]:
    parts = of.tables.parts
    has = pc.equal(pc.list_element(pc.split_pattern(parts["position"], "."), 0), sort)
    return {*parts.filter(has)["bike"].to_pylist(), *(life.bike for life in of.sprockets[sort])}


def of_rider(money: Differences | None, code: int) -> dict[str, float | None]:
    """Give one rider's figures; None for one whose distance is not known."""
    if money is None or code not in money.riders:
        return dict.fromkeys(COLUMNS)
    place = int(np.searchsorted(money.riders, code))
    found = {name: float(getattr(money, column)[place]) for name, column in COLUMNS.items()}
    return {name: one if np.isfinite(one) else None for name, one in found.items()}


def followed(of: ChainBook, sort: str) -> dict[str, int]:
    """Give by bike how many of a sort were used up after a chain was seen past its limit.

    Those that were on when it was seen, and came off within FOLLOWS_WITHIN.
    """
    late: dict[str, list[datetime]] = defaultdict(list)
    for one in of.sightings:
        if one.is_past:
            late[one.bike].append(one.at)
    found: dict[str, int] = defaultdict(int)
    parts, names = of.tables.parts, ("bike", "ended_at", "is_found", "fitted_at")
    is_sort = pc.match_substring_regex(parts["position"], rf"^{sort}(\.|$)")
    is_used_up = pc.is_in(parts["end_reason"], value_set=pa.array(sorted(WORN_OUT)))
    for row in parts.select(names).filter(pc.and_(is_sort, is_used_up)).to_pylist():
        if any(
            timedelta(0) <= row["ended_at"] - at <= FOLLOWS_WITHIN
            and (row["is_found"] or row["fitted_at"] < at)
            for at in late.get(row["bike"], ())
        ):
            found[row["bike"]] += 1
    return found
