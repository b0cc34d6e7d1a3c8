"""What the page of earnings says over its charts and tables: the finding, in one line each."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.labour_say import LabourSay, listed
from dashboard.markup import capital
from ledger.figures.margin_shapes import (
    BreakEven,
    Capacity,
    Dearer,
    Held,
    MonthMargin,
    TierMargin,
)
from ledger.figures.margin_words import WAITED

HOURLY = (
    "Dot: what an hour leaves after parts, wages and consumables, before fixed cost; thick: 80 %, "
    "thin: 95 % of resamplings by bike. Diamond: what it earned after parts alone. Dashed line: "
    "what it takes to break even. Press one for its jobs."
)
MONTHLY = (
    "Bar: what was left after all costs, dashed where it was lost. Line across: before fixed cost."
)
WEEKLY = "Dark: quoted work and work found later. Light on top: unpaid. Dashed line: hours open."


def tiers_title(tiers: Sequence[TierMargin], charge: BreakEven | None, say: LabourSay) -> str:
    """Give which tiers earn less an hour than it takes, or which leaves most."""
    judged = [one for one in tiers if not one.is_too_few and one.contribution_per_hour]
    if not judged:
        return "Too few jobs to judge what a tier earns"
    if charge is not None:
        below = [capital(one.label) for one in judged if _is_below(one, charge)]
        said = say.money(charge.charge_minor)
        if below:
            earn = "earns" if len(below) == 1 else "earn"
            return f"{listed(below)} {earn} less than the {said} an hour it takes to break even"
        return f"Every tier earns the {said} an hour it takes to break even"
    best = max(judged, key=_hour)
    return f"{capital(best.label)} leaves most an hour at the bench"


def _is_below(tier: TierMargin, charge: BreakEven) -> bool:
    rate = tier.earning.earned_rate_minor
    return rate is not None and rate < charge.charge_minor


def _hour(tier: TierMargin) -> float:
    return tier.contribution_per_hour.value if tier.contribution_per_hour else 0.0


def months_title(months: Sequence[MonthMargin]) -> str:
    """Give in how many months something was left."""
    worked = [one for one in months if one.earning.count_jobs]
    lost = sum(one.earning.margin_minor < 0 for one in worked)
    if not worked:
        return "No job was closed in any month"
    if not lost:
        return f"Something was left after all costs in each of {len(worked)} months with work"
    return f"In {lost} of {len(worked)} months more went out than came in"


def break_even_note(found: BreakEven | None, say: LabourSay) -> str:
    """Give what the break-even charge is made of, or why there is none."""
    if found is None:
        return (
            "No break-even charge: tell sellable hours, fixed cost and wages with "
            "lockring record terms_set."
        )
    paid = f"{say.figure(found.paid_hours)} paid hours a week"
    told = paid if found.is_paid_hours_told else f"{paid} (not told: taken as the sellable ones)"
    of = "" if found.is_wage_of_stretches else ", plain, for no minute was worked"
    return (
        f"{told} at {say.money(found.mean_wage_minor)} an hour (the mean wage{of}), "
        f"{say.money(found.fixed_cost_week_minor)} fixed cost a week, over "
        f"{say.figure(found.sellable_hours)} sellable hours; and "
        f"{say.money(found.consumables_minor)} of consumables an hour."
    )


def capacity_title(found: Capacity, say: LabourSay) -> str:
    """Give how far ahead the bench is booked, and how often it was full."""
    told = [one for one in found.weeks if one.open_minutes]
    full = sum(one.bench_minutes >= (one.open_minutes or 0) for one in told)
    weeks = f"all open hours, or more, were worked in {full} of {len(told)} weeks"
    if found.weeks_ahead is None:
        return f"{say.hours(found.minutes_ahead)} of work is booked ahead"
    ahead = say.count_of(round(found.weeks_ahead, 1), "week")
    return f"{ahead} booked ahead; {weeks}"


def held_title(found: Held) -> str:
    """Give what jobs waited longest for."""
    if not found.rows:
        return "No job was held in these days"
    return f"Jobs waited longest for {WAITED[found.rows[0].waiting_for]}"


def held_now(found: Held, say: LabourSay) -> str:
    """Give how many jobs are held now."""
    now = sum(row.count_now for row in found.rows)
    return f"{say.count(now, 'job')} held now."


def dearer_title(found: Dearer, say: LabourSay) -> str:
    """Give how often advice that was not taken came back dearer."""
    if not found.rows:
        return "No advice that was turned down came back dearer"
    times = say.count(len(found.rows), "time")
    return f"Advice not taken came back dearer {times}: {say.money(found.dearer_minor)} more"
