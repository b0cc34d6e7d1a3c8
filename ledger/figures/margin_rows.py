"""What jobs earned, summed by tier or month; come-back work in the tier that caused it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ledger.analysis.bootstrap import ratio_of_sums
from ledger.figures.columns import Columns
from ledger.figures.fault_arrays import NONE, Flags, Floats, Integers, codes_in
from ledger.figures.job_sums import sums
from ledger.figures.margin_shapes import Caused, Earning, Estimate

WORKED = ("minutes_quoted", "minutes_found_later", "minutes_come_back", "minutes_goodwill")
COSTS = ("wages_minor", "consumables_minor", "fixed_minor")
_NETS = {"net_labour_minor": "net_labour_minor", "net_parts_minor": "net_part_minor",
         "net_consumables_minor": "net_consumable_minor",
         "net_other_minor": "net_other_minor"}  # fmt: skip
FEWEST_BIKES = 8
"""Fewer have no interval worth showing."""
SEED = 20


@dataclass(frozen=True, eq=False)
class Tiers:
    """Closed jobs by tier: own work, and the unpaid work of come-back jobs that each caused."""

    jobs: Columns
    names: tuple[str, ...]
    own: Integers
    """Of each job, the place of its tier in `names`; the last place more for none."""
    cause: Integers
    """Of each come-back job, that of the tier that caused it; of any other, its own."""

    @property
    def count(self) -> int:
        """How many places there are."""
        return len(self.names) + 1

    @property
    def is_come_back(self) -> Flags:
        """Which jobs came back."""
        return self.jobs.flags("is_come_back")


def tiers_of(jobs: Columns) -> Tiers:
    """Give closed jobs by tier."""
    tier, caused = jobs.taken("tier"), jobs.taken("caused_tier")
    names = tuple(sorted({*tier.unique().to_pylist(), *caused.unique().to_pylist()} - {None}))
    own, cause = (codes_in(column, names) for column in (tier, caused))
    last = len(names)
    own, cause = (np.where(code == NONE, last, code) for code in (own, cause))
    return Tiers(jobs, names, own, cause)


def bench_minutes(jobs: Columns) -> Integers:
    """Give the minutes of every kind by job."""
    return _added(jobs, WORKED)


def _added(jobs: Columns, names: Iterable[str]) -> Integers:
    found = np.zeros(len(jobs), dtype=np.int64)
    for name in names:
        found += jobs[name]
    return found


def earnings(jobs: Columns, own: Integers, cause: Integers, count: int) -> list[Earning]:
    """Give what jobs earned for each of `count` places.

    `own` is the place of each job, `cause` that of its unpaid work where it came back.
    """
    is_back = jobs.flags("is_come_back")
    moved = {name: sums(cause, jobs[f"unpaid_{name}"], count)
             for name in ("minutes", "without_wage", "parts_minor", *COSTS)}  # fmt: skip
    backs = sums(cause, is_back, count)
    counted = sums(own, np.ones(len(jobs)), count)
    nets = {shape: sums(own, jobs[name], count) for shape, name in _NETS.items()}
    untold = sums(own, jobs["count_lines_without_cost"], count)

    def kept(total: Integers, unpaid: str) -> Integers:
        return sums(own, total - jobs[f"unpaid_{unpaid}"], count) + moved[unpaid]

    minutes = kept(bench_minutes(jobs), "minutes")
    parts = kept(jobs["parts_cost_minor"], "parts_minor")
    wageless = kept(jobs["minutes_without_wage"], "without_wage")
    costs = {name: kept(jobs[name], name) for name in COSTS}
    return [
        Earning(
            count_jobs=int(counted[at]),
            bench_minutes=int(minutes[at]),
            **{name: int(values[at]) for name, values in nets.items()},
            parts_cost_minor=int(parts[at]),
            **{name: int(values[at]) for name, values in costs.items()},
            minutes_without_wage=int(wageless[at]),
            count_lines_without_cost=int(untold[at]),
            caused=_caused(int(backs[at]), {name: int(sum_[at]) for name, sum_ in moved.items()}),
        )
        for at in range(count)
    ]


def _caused(count_jobs: int, moved: Mapping[str, int]) -> Caused:
    return Caused(
        count_jobs=count_jobs,
        minutes=moved["minutes"],
        wages_minor=moved["wages_minor"],
        consumables_minor=moved["consumables_minor"],
        fixed_minor=moved["fixed_minor"],
        parts_minor=moved["parts_minor"],
    )


def contribution(jobs: Columns) -> Integers:
    """Give by job its net less parts, wages and consumables."""
    net = _added(jobs, _NETS.values())
    return net - jobs["parts_cost_minor"] - jobs["wages_minor"] - jobs["consumables_minor"]


def contributions_per_hour(of: Tiers) -> tuple[list[Estimate | None], bool]:
    """Give each tier's contribution a bench hour with its intervals, by bike.

    And whether there were so many bikes that they were dealt into blocks. None where no minute
    was worked.
    """
    jobs = of.jobs
    unpaid = _added(jobs, [f"unpaid_{name}_minor" for name in ("parts", "wages", "consumables")])
    backs = np.flatnonzero(of.is_come_back)
    over = np.concatenate([contribution(jobs) + unpaid, -unpaid[backs]])
    minutes = jobs["unpaid_minutes"]
    under = np.concatenate([bench_minutes(jobs) - minutes, minutes[backs]])
    bike = jobs.taken("bike")
    cluster = pa.concat_arrays([bike, bike.take(pa.array(backs))])
    group = np.concatenate([of.own, of.cause[backs]])
    found = ratio_of_sums(over, under / 60, cluster, group=group, count_groups=of.count, seed=SEED)
    ends = np.stack([found.low, found.high])
    ends[:, :, found.count_clusters < FEWEST_BIKES] = np.nan
    return [
        None if np.isnan(value) else Estimate(float(value), *_told(ends[:, :, place]))
        for place, value in enumerate(found.estimate)
    ], found.is_in_blocks


def _told(ends: Floats) -> tuple[float | None, ...]:
    """Give the low and high end of 80 %, then of 95 %; None where there is none."""
    order = (ends[0, 0], ends[1, 0], ends[0, 1], ends[1, 1])
    return tuple(None if np.isnan(end) else float(end) for end in order)
