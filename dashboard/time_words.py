"""What the page of time says over its charts: the finding, in one line each."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.labour_say import LabourSay
from ledger.figures.labour_shapes import (
    FEWEST_RATIOS,
    FoundLater,
    JobWaterfall,
    LabourBy,
    LabourRow,
    LabourVariances,
)

BY: dict[LabourBy, str] = {"tier": "tier", "task": "task", "month": "month", "kind": "kind of bike"}
CHANGED = 0.05
"""How far a median has to be from 1 to be called over or under the quote."""
TOO_FEW = "Too few jobs to judge how minutes compare with the quote"


def spread_title(rows: Sequence[LabourRow], by: LabourBy, say: LabourSay) -> str:
    """Give which row runs furthest over its quote, or that none does."""
    judged = [row for row in rows if not row.ratio.is_too_few and row.ratio.median is not None]
    if not judged:
        return TOO_FEW
    worst = max(judged, key=lambda row: row.ratio.median or 0.0)
    median = worst.ratio.median or 0.0
    if median < 1 + CHANGED:
        return f"By {BY[by]}, half the jobs keep to their quote or within 5\u00a0% of it"
    return f"Furthest over: {worst.label}; half took over {say.times(median)} the quote"


def spread_note(by: LabourBy) -> str:
    """Give what the chart shows."""
    of = "a task in a job" if by == "task" else "a job"
    return (
        f"Minutes worked over minutes quoted, of {of}. Dot: half are below it. Thick: the middle "
        "half. Thin: eight in ten. Dashed line: as quoted. Press one for its jobs."
    )


def over(row: LabourRow, say: LabourSay) -> str:
    """Give the share over by more than 20 %, with its interval."""
    ratio = row.ratio
    if ratio.share_over is None or ratio.is_too_few:
        return f"too few to judge: under {FEWEST_RATIOS} jobs"
    if ratio.share_over_low is None or ratio.share_over_high is None:
        return say.share(ratio.share_over)
    low, high = say.share(ratio.share_over_low), say.share(ratio.share_over_high)
    return f"95\u00a0% sure: {say.spread(low, high)}"


def variances_title(found: LabourVariances, say: LabourSay) -> str:
    """Give what wages came to beside the standard."""
    if not found.count:
        return "Of no job are there quoted minutes, minutes worked on them, and a wage"
    size = say.money(abs(found.total_minor))
    if not found.total_minor:
        return "Wages came to just what the quoted minutes allow"
    way = "more" if found.total_minor > 0 else "less"
    return f"Wages came to {size} {way} than the quoted minutes allow"


def variances_split(found: LabourVariances, say: LabourSay) -> str:
    """Give which part of it is for time and which for wages; nothing where there is none."""
    if not found.count:
        return ""
    return (
        f"{say.more(found.efficiency_minor)} for the minutes, {say.more(found.rate_minor)} for "
        f"who worked them, in {say.count(found.count, 'job')}. "
    )


def effective(row: LabourRow, say: LabourSay) -> str:
    """Give what an hour at the bench brought in as labour, beside the posted rate."""
    if row.effective_rate_minor is None:
        return ""
    got = f"An hour at the bench brought in {say.money(row.effective_rate_minor)} of labour"
    if row.posted_rate_minor is None:
        return f"{got}; no posted rate is told."
    return f"{got}, against a posted rate of {say.money(row.posted_rate_minor)}."


def found_later_title(found: FoundLater, say: LabourSay) -> str:
    """Give how often work is found after the quote."""
    if not found.count_jobs:
        return "No work was found after the first quote"
    return f"In {say.share(found.share)} of jobs more work was found after the first quote"


def job_title(found: JobWaterfall, say: LabourSay, *, is_money: bool) -> str:
    """Give what became of a quote, over its chart."""
    steps = found.money if is_money else found.minutes
    if not steps:
        return "Nothing was quoted or charged" if is_money else "Nothing was quoted or worked"
    first, last = steps[0].change, steps[-1].change
    said = [say.money(one) if is_money else say.minutes(one) for one in (first, last)]
    ends = "agreed" if is_money and found.closed_at is None else "charged" if is_money else "worked"
    return f"{said[0]} quoted, {said[1]} {ends}"


def answer(answer: str | None, is_standing: bool) -> str:
    """Give what became of a quoted line, in words."""
    if not is_standing:
        return "replaced by a later quote"
    return {"yes": "yes", "no": "no", "later": "later"}.get(answer or "", "no answer: not a yes")
