"""The jobs behind a tier's margin."""

from __future__ import annotations

from typing import Any

import numpy as np

from ledger.figures.columns import Columns
from ledger.figures.margin_rows import WORKED, contribution
from ledger.figures.margin_shapes import JobMargin

_UNPAID = ("unpaid_wages_minor", "unpaid_consumables_minor", "unpaid_fixed_minor",
           "unpaid_parts_minor")  # fmt: skip
_NET = ("net_labour_minor", "net_part_minor", "net_consumable_minor", "net_other_minor")


def job_margins(jobs: Columns, limit: int | None) -> tuple[JobMargin, ...]:
    """Give jobs with their margins, least first; at most so many."""
    margin = contribution(jobs) - jobs["fixed_minor"]
    order = np.lexsort((jobs["closed_day"], margin))[:limit]
    rows = jobs.at(order)
    return tuple(_job(row, int(margin[place])) for row, place in zip(rows, order, strict=True))


def _job(row: dict[str, Any], margin_minor: int) -> JobMargin:
    return JobMargin(
        bike=row["bike"],
        job=row["job"],
        tier=row["tier"],
        caused_tier=row["caused_tier"] if row["is_come_back"] else None,
        is_come_back=row["is_come_back"],
        closed_at=row["closed_at"],
        bench_minutes=sum(row[name] for name in WORKED),
        net_minor=sum(row[name] for name in _NET),
        parts_cost_minor=row["parts_cost_minor"],
        wages_minor=row["wages_minor"],
        consumables_minor=row["consumables_minor"],
        fixed_minor=row["fixed_minor"],
        caused_minor=sum(row[name] for name in _UNPAID),
        margin_minor=margin_minor,
        minutes_without_wage=row["minutes_without_wage"],
        count_lines_without_cost=row["count_lines_without_cost"],
    )
