"""Rows of minutes against quote: jobs, or tasks of jobs, summed by what they are compared by."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from ledger.analysis.ratios import Spread, spreads
from ledger.figures.columns import Columns
from ledger.figures.fault_arrays import NONE, Coded, Integers
from ledger.figures.job_sums import sums
from ledger.figures.labour_shapes import (
    KindMinutes,
    LabourBy,
    LabourRow,
    LabourVariances,
    Period,
    RatioSpread,
)
from ledger.figures.labour_words import LabourWords
from ledger.figures.terms_in_force import TermsInForce, day_number

KINDS = ("quoted", "found_later", "come_back", "goodwill")
_SUMMED = (
    *(f"minutes_{kind}" for kind in KINDS),
    "quoted_minutes",
    "found_later_quoted_minutes",
)
_STANDARD = ("quoted_minutes", "minutes_quoted", "standard_minor", "wages_quoted_minor",
             "efficiency_minor", "without_wage_quoted")  # fmt: skip


def months(closed_day: Integers) -> Coded:
    """Give the month of local days as codes."""
    month = closed_day.astype("datetime64[D]").astype("datetime64[M]")
    names, code = np.unique(month, return_inverse=True)
    return Coded(tuple(str(name) for name in names), code.astype(np.int64))


@dataclass(frozen=True)
class Grouped:
    """What `labour_rows` needs beside the rows themselves."""

    by: LabourBy | None
    """None for one row of everything."""
    period: Period
    terms: TermsInForce
    words: LabourWords


def labour_rows(of: Columns, key: Coded, grouped: Grouped) -> list[LabourRow]:
    """Give a row for each key that is there, those of no key last; `key` is of each row of `of`."""
    count = len(key.names) + 1
    code = np.where(key.code == NONE, count - 1, key.code)
    is_task = grouped.by == "task"
    summed = {name: sums(code, of[name], count) for name in _SUMMED}
    jobs = sums(code, np.ones(len(of)), count)
    net = None if is_task else sums(code, of["net_labour_minor"], count)
    has_later = (of["found_later_quoted_minutes"] > 0) | (of["minutes_found_later"] > 0)
    later = sums(code, has_later if is_task else of.flags("has_found_later"), count)
    quoted = np.where(of.flags("is_comparable"), of["quoted_minutes"], 0) if is_task else None
    ratios = spreads(
        of["minutes_quoted"], of["quoted_minutes"] if quoted is None else quoted, code, count
    )
    variances = _variances(of, code, count)
    return [
        _row(
            grouped,
            None if place == count - 1 else key.names[place],
            {name: int(values[place]) for name, values in summed.items()},
            (int(jobs[place]), int(later[place]), None if net is None else int(net[place])),
            _spread(ratios[place]),
            variances(place),
        )
        for place in range(count)
        if jobs[place]
    ]


def _variances(of: Columns, code: Integers, count: int) -> Callable[[int], LabourVariances]:
    is_in = of.flags("is_standard")
    rows = np.flatnonzero(is_in)
    of_rows = code[rows]
    held = {name: sums(of_rows, of[name][rows], count) for name in _STANDARD}
    jobs = sums(code, is_in, count)

    def at(place: int) -> LabourVariances:
        found = {name: int(values[place]) for name, values in held.items()}
        total = found["wages_quoted_minor"] - found["standard_minor"]
        return LabourVariances(
            count=int(jobs[place]),
            standard_minutes=found["quoted_minutes"],
            actual_minutes=found["minutes_quoted"],
            standard_minor=found["standard_minor"],
            actual_minor=found["wages_quoted_minor"],
            rate_minor=total - found["efficiency_minor"],
            efficiency_minor=found["efficiency_minor"],
            total_minor=total,
            minutes_without_wage=found["without_wage_quoted"],
        )

    return at


def _row(
    grouped: Grouped,
    key: str | None,
    summed: dict[str, int],
    counts: tuple[int, int, int | None],
    ratio: RatioSpread,
    variances: LabourVariances,
) -> LabourRow:
    jobs, later, net = counts
    minutes = KindMinutes(**{kind: summed[f"minutes_{kind}"] for kind in KINDS})
    bench = minutes.bench
    return LabourRow(
        key=key,
        label=grouped.words.label(grouped.by, key) if grouped.by else "all",
        count_jobs=jobs,
        ratio=ratio,
        minutes=minutes,
        quoted_minutes=summed["quoted_minutes"],
        found_later_quoted_minutes=summed["found_later_quoted_minutes"],
        variances=variances,
        net_labour_minor=net,
        effective_rate_minor=None if net is None or not bench else net * 60 / bench,
        posted_rate_minor=grouped.terms.posted_rate_minor(_last_day(grouped, key)),
        count_found_later=later,
        found_later_share=minutes.found_later / bench if bench else None,
        verdict=grouped.words.ratio(ratio),
    )


def _last_day(grouped: Grouped, key: str | None) -> int:
    """Give the last day of a row: of its month, as far as it is in the period."""
    until = grouped.period.until
    if grouped.by != "month" or key is None:
        return day_number(until)
    year, month = (int(part) for part in key.split("-"))
    return day_number(min(until, date(year, month, monthrange(year, month)[1])))


def _spread(of: Spread) -> RatioSpread:
    return RatioSpread(
        count=of.count,
        median=of.median,
        quarter_low=of.low_quartile,
        quarter_high=of.high_quartile,
        tenth_low=of.low_tenth,
        tenth_high=of.high_tenth,
        count_over=of.count_over,
        share_over=of.share_over,
        share_over_low=of.share_over_low,
        share_over_high=of.share_over_high,
    )
