"""Whether the repairs of a tier, or of a mechanic, come back more often than chance has it."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pyarrow as pa

from ledger.analysis.funnel import Funnel, FunnelRow, funnel_of_times, guide
from ledger.figures.fault_arrays import NONE, Coded, Integers, coded, flags, pairs
from ledger.figures.fault_estimates import LEVEL, FaultFunnel, FunnelUnit, GuidePoint
from ledger.figures.fault_following import followed_days
from ledger.figures.fault_tables import FaultTables

__all__ = ["mechanic_funnel", "tier_funnel"]

_COUNT_GUIDE = 40
_STRATA = {
    "tier": "held apart by fault",
    "mechanic": "held apart by tier and system of the bike",
}


def tier_funnel(tables: FaultTables) -> FaultFunnel:
    """Give how the repairs of each tier held, beside the other tiers' repairs of the same faults.

    Repairs of jobs without a tier (come-backs, as a rule) are a unit of their own, of key None.
    A repair counts for as long as it was followed: recent ones are not held for good. Limits are
    such that no tier of a shop where they do not differ is marked but once in twenty.
    """
    fault = coded(tables.repairs["fault"])
    return _funnel("tier", tables.repairs, "tier", fault.code)


def mechanic_funnel(tables: FaultTables, *, for_owner: bool = False) -> FaultFunnel | None:
    """Give how each mechanic's repairs held, beside the others' of the same tier and system.

    None unless it is for the owner's eyes. Strata take the mix of work out, so that nobody is
    judged by having the jobs that come back anyhow; else as `tier_funnel`.
    """
    if not for_owner:
        return None
    tier, system = coded(tables.repairs["tier"]), coded(tables.repairs["system"])
    return _funnel("mechanic", tables.repairs, "actor", pairs(tier.code + 1, system.code))


def _funnel(
    by: Literal["tier", "mechanic"], repairs: pa.Table, column: str, stratum: Integers
) -> FaultFunnel:
    unit, time_and_event = coded(repairs[column]), followed_days(repairs)
    if not len(repairs):
        return FaultFunnel(by, _STRATA[by], (), (), 0.0, LEVEL, 2.0, 1.0, "no repairs to judge")
    time, is_event = time_and_event
    # Numbers in the order of the names, null last, come back as they went in.
    number = np.where(unit.code == NONE, len(unit.names), unit.code)
    found = funnel_of_times(
        number,
        np.floor(time),
        is_event,
        stratum=stratum,
        cluster=coded(repairs["bike"]).code,
        level=LEVEL,
    )
    immature = np.bincount(number[~flags(repairs["is_mature"])], minlength=len(unit.names) + 1)
    units = tuple(_unit(row, unit, immature) for row in found.rows)
    marked = sum(one.is_marked for one in units)
    return FaultFunnel(
        by=by,
        strata=_STRATA[by],
        units=units,
        guide=_guide(found),
        pooled_rate=found.pooled_rate,
        level=found.level,
        ratio=found.ratio,
        inflation=found.inflation,
        words=_words(by, marked),
    )


def _unit(row: FunnelRow, names: Coded, immature: Integers) -> FunnelUnit:
    number = int(str(row.unit))
    return FunnelUnit(
        key=names.names[number] if number < len(names.names) else None,
        count_repairs=row.size,
        count_come_back=row.count,
        count_immature=int(immature[number]),
        expected=row.expected,
        rate=row.rate,
        adjusted_rate=row.adjusted_rate,
        size=row.worth,
        low_count=row.low_count,
        high_count=row.high_count,
        low_rate=row.low_rate,
        high_rate=row.high_rate,
        p=row.p_shop,
        mark=row.mark,
        power=row.power,
        words=row.words,
    )


def _guide(found: Funnel) -> tuple[GuidePoint, ...]:
    """Give the curve behind the units, as wide as limits that hold for the whole shop.

    Each unit's own limits are exact and need not lie on it.
    """
    sizes = np.array([row.worth for row in found.rows])
    count = np.count_nonzero(sizes > 0)
    if not 0 < found.pooled_rate < 1 or count < 2:
        return ()
    at = np.linspace(1.0, np.sqrt(1.05 * sizes.max() + 1), _COUNT_GUIDE) ** 2
    at = at[at < sizes.sum()]
    # Two units are mirror images: what is far out for one is for the other.
    each = 1 - (1 - found.level) / (1 if count == 2 else count)
    drawn = guide(
        at / found.inflation, found.pooled_rate, level=each, of_total=sizes.sum() / found.inflation
    )
    rows = zip(at.tolist(), drawn.low_rate.tolist(), drawn.high_rate.tolist(), strict=True)
    return tuple(GuidePoint(*row) for row in rows)


def _words(by: str, marked: int) -> str:
    if not marked:
        return f"no {by} differs by more than chance"
    what = by if marked == 1 else f"{by}s"
    return f"{marked} {what} differ{'s' if marked == 1 else ''} by more than chance"
