"""Money of jobs: what was charged, line by line, and what was offered."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Flags, Integers, codes_in, flags
from ledger.figures.job_quotes import is_yes
from ledger.figures.job_sums import Column, sums, whole

LINE_TYPES = ("labour", "part", "consumable", "other")
_LABOUR, _PART = 0, 1


def charged(
    lines: pa.Table, job: Integers, tier: pa.ChunkedArray, is_come_back: Flags
) -> dict[str, Integers]:
    """Give by job the sums of rows of `charged_lines`; `job` (N,) is the row of each one's job.

    `tier` and `is_come_back` (J,) are of the jobs. Labour costs wages, so what a labour line says
    it cost is in no sum.
    """
    count, kind = len(is_come_back), codes_in(lines["line_type"], LINE_TYPES)
    paid, spent = whole(lines["net"]), whole(lines["cost"])
    is_goods, is_goodwill = kind != _LABOUR, flags(lines["is_goodwill"])
    is_given = is_goods & (is_goodwill | ((paid == 0) & (spent > 0)))
    is_untold = (kind == _PART) & flags(pc.is_null(lines["cost"]))
    is_tier = _has_code(lines, tier, job) & ~is_goods & ~is_goodwill
    columns = {
        f"net_{name}_minor": sums(job[kind == code], paid[kind == code], count)
        for code, name in enumerate(LINE_TYPES)
    }
    columns["tax_minor"] = sums(job, whole(lines["tax"]), count)
    columns["parts_cost_minor"] = sums(job[is_goods], spent[is_goods], count)
    columns["given_away_minor"] = sums(job[is_given], spent[is_given], count)
    columns["unpaid_parts_minor"] = np.where(is_come_back, columns["given_away_minor"], 0)
    columns["count_lines_without_cost"] = sums(job, is_untold, count)
    columns["tier_line_minor"] = sums(job[is_tier], paid[is_tier], count)
    columns["count_tier_lines"] = sums(job, is_tier, count)
    return columns


def _has_code(lines: pa.Table, tier: pa.ChunkedArray, job: Integers) -> Flags:
    """Say of each line whether its code is the tier of its own job."""
    own = tier.combine_chunks().take(pa.array(job, mask=job == NONE))
    return flags(pc.equal(lines["code"], own))


def offered(lines: pa.Table, job: Integers, count: int) -> dict[str, Column]:
    """Give by job (count,) the sums of rows of `quote_lines`; `job` (N,) is each one's job."""
    net, later = whole(lines["net"]), flags(lines["is_found_later"])
    is_standing, yes = flags(lines["is_standing"]), is_yes(lines)
    named = {
        "quoted_net_yes_minor": yes & ~later,
        "found_later_net_yes_minor": yes & later,
        "found_later_net_not_yes_minor": is_standing & later & ~yes,
    }
    columns: dict[str, Column] = {
        name: sums(job[rows], net[rows], count) for name, rows in named.items()
    }
    columns["has_found_later"] = sums(job, is_standing & later, count) > 0
    columns["is_quoted"] = sums(job, is_standing, count) > 0
    return columns
