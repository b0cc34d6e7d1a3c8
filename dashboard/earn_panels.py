"""The page of earnings' figures and tables: each is shown and downloaded from the same rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dashboard.fault_address import row_of
from dashboard.labour_address import EarnAsked
from dashboard.labour_say import NONE, LabourSay
from dashboard.labour_table import Cell, Column, Table, link, word
from dashboard.markup import capital, text
from ledger.figures.margin_shapes import (
    BreakEven,
    Earning,
    JobMargin,
    MonthMargin,
    NotCarried,
    TierMargin,
    WhatIf,
)

HOURS = "h"
Money = tuple[str, Callable[[Earning], float | None]]
IN_FULL: tuple[Money, ...] = (
    ("Labour charged", lambda of: of.net_labour_minor),
    ("Parts charged", lambda of: of.net_parts_minor),
    ("Consumables charged", lambda of: of.net_consumables_minor),
    ("Other charged", lambda of: of.net_other_minor),
    ("Parts cost", lambda of: of.parts_cost_minor),
    ("Wages", lambda of: of.wages_minor),
    ("Consumables", lambda of: of.consumables_minor),
    ("Fixed charge", lambda of: of.fixed_minor),
    ("Of it for come-backs it caused", lambda of: of.caused.minor),
    ("Contribution", lambda of: of.contribution_minor),
)
"""What a download holds of an earning beside what is shown."""
COLUMNS_AFTER_MARGIN = 9
"""Of the table of tiers, before those of IN_FULL."""


def front_tiles(
    total: Earning, charge: BreakEven | None, rest: NotCarried, say: LabourSay
) -> list[tuple[str, str, str]]:
    """Give the figures the page begins with."""
    share = total.margin_share
    of = f"of {say.money(total.net_minor)} charged"
    left = "" if share is None else f"{say.share(abs(share))} {of}"
    rate = total.earned_rate_minor
    needed = "break-even not known" if charge is None else (
        f"it takes {say.money(charge.charge_minor)} to break even"
    )  # fmt: skip
    is_over, is_short = rest.not_carried_minor < 0, rest.not_carried_minor > 0
    costs = "the costs jobs carried" if is_short else "all costs"
    return [
        (f"{'Left' if total.margin_minor >= 0 else 'Lost'} after {costs}",
         say.money(abs(total.margin_minor)), left),
        ("Earned an hour at the bench", say.money(rate), needed),
        ("Fixed cost over-carried" if is_over else "Fixed cost no hour carried",
         say.money(abs(rest.not_carried_minor)),
         f"of {say.money(rest.fixed_cost_minor)} in {say.count(rest.days, 'day')}"),
    ]  # fmt: skip


# -- tables -----------------------------------------------------------------------------------


def _full_columns(say: LabourSay) -> list[Column]:
    return [say.money_column(name, is_shown=False) for name, _ in IN_FULL]


def _full_cells(of: Earning, say: LabourSay) -> list[Cell]:
    return [say.money_cell(give(of)) for _, give in IN_FULL]


def tiers_table(
    tiers: Sequence[TierMargin], total: Earning, rest: NotCarried, asked: EarnAsked, say: LabourSay
) -> Table:
    """Give what each tier earns, all of them, what no hour carried, and the shop's whole."""
    columns = (
        Column("Tier"),
        Column("Jobs", is_figure=True, room=1),
        Column("Bench hours", HOURS, is_figure=True, room=1),
        say.money_column("Charged", 2),
        say.money_column("Margin"),
        Column("Margin %", "share", is_figure=True),
        say.money_column("Contribution an hour", 1),
        say.money_column("Earned an hour", 2),
        say.money_column("Price now", 2),
        say.money_column("Lowest worthwhile price", 1),
        *(say.money_column(f"Contribution an hour, {end}", is_shown=False)
          for end in ("80 % from", "80 % to", "95 % from", "95 % to")),
        *_full_columns(say),
    )  # fmt: skip
    rows = [_tier(one, asked, say) for one in tiers]
    rows += [_whole("All", total, say), *_not_carried(total, rest, say)]
    return Table("earnings-by-tier", columns, tuple(rows))


def _tier(one: TierMargin, asked: EarnAsked, say: LabourSay) -> tuple[Cell, ...]:
    hour, price = one.contribution_per_hour, one.lowest_price
    ends = (None,) * 4 if hour is None else (hour.low_80, hour.high_80, hour.low_95, hour.high_95)
    return (
        link(capital(one.label), asked.where(row=row_of(one.tier)), one.verdict),
        *_figures(one.earning, say),
        say.money_cell(price.price_in_force_minor if price else None),
        say.money_cell(price.price_minor if price else None),
        *(say.money_cell(each) for each in ends),
        *_full_cells(one.earning, say),
    )


def _figures(of: Earning, say: LabourSay) -> tuple[Cell, ...]:
    return (
        say.count_cell(of.count_jobs),
        say.hours_cell(of.bench_minutes),
        say.money_cell(of.net_minor),
        say.money_cell(of.margin_minor),
        say.share_cell(of.margin_share),
        say.money_cell(of.contribution_per_hour_minor),
        say.money_cell(of.earned_rate_minor),
    )


def _whole(name: str, of: Earning, say: LabourSay) -> tuple[Cell, ...]:
    none = [say.money_cell(None)] * 6
    return (word(name), *_figures(of, say), *none, *_full_cells(of, say))


def _not_carried(total: Earning, rest: NotCarried, say: LabourSay) -> list[tuple[Cell, ...]]:
    """Give the fixed cost no hour carried, and what is left with it."""
    blank = Cell(None, "")
    after = COLUMNS_AFTER_MARGIN + len(IN_FULL)
    made = []
    for name, minor in (
        ("Fixed cost no hour carried", -rest.not_carried_minor),
        ("The shop's whole", total.margin_minor - rest.not_carried_minor),
    ):
        made.append((word(name), blank, blank, blank, say.money_cell(minor), *[blank] * after))
    return [tuple(row) for row in made]


def jobs_table(jobs: Sequence[JobMargin], asked: EarnAsked, say: LabourSay) -> Table:
    """Give the jobs behind a tier, least margin first, each leading to its own steps."""
    columns = (
        Column("Job"),
        Column("Bike", room=1),
        Column("Closed", room=1),
        Column("Bench", "min", is_figure=True),
        say.money_column("Charged"),
        say.money_column("Parts", 2),
        say.money_column("Wages", 2),
        say.money_column("Consumables", 2),
        say.money_column("Fixed charge", 2),
        say.money_column("Margin"),
        Column("Charged to", room=2),
        say.money_column("Caused elsewhere", is_shown=False),
    )
    rows = tuple(
        (
            link(job.job, asked.to_job(job.job), "came back" if job.is_come_back else ""),
            link(job.bike, asked.of_bike(job.bike)),
            say.day_cell(job.closed_at),
            say.minutes_cell(job.bench_minutes),
            *(say.money_cell(minor) for minor in (
                job.net_minor, job.parts_cost_minor, job.wages_minor, job.consumables_minor,
                job.fixed_minor, job.margin_minor)),
            word(say.tier(job.caused_tier) if job.caused_minor else ""),
            say.money_cell(job.caused_minor),
        )
        for job in jobs
    )  # fmt: skip
    return Table(f"earnings-jobs-{asked.row.strip('~') or 'none'}", columns, rows)


def months_table(months: Sequence[MonthMargin], say: LabourSay) -> Table:
    """Give what was earned month by month."""
    columns = (
        Column("Month"),
        Column("Jobs", is_figure=True, room=1),
        Column("Bench hours", HOURS, is_figure=True, room=1),
        say.money_column("Charged"),
        say.money_column("Margin"),
        Column("Margin %", "share", is_figure=True),
        say.money_column("Contribution an hour", 1),
        say.money_column("Earned an hour", 2),
        *_full_columns(say),
    )
    rows = tuple(
        (Cell(one.month, text(capital(one.label))), *_figures(one.earning, say),
         *_full_cells(one.earning, say))
        for one in months
    )  # fmt: skip
    return Table("earnings-by-month", columns, rows)


def what_if_table(found: WhatIf, say: LabourSay) -> Table:
    """Give each tier as it was and as it would have been."""
    columns = (
        Column("Tier"),
        Column("Price", "share", room=2),
        Column("Minutes", "share", room=2),
        say.money_column("Margin was"),
        say.money_column("Would have been"),
        say.money_column("Contribution an hour was", 2),
        say.money_column("Would have been, an hour", 1),
        say.money_column("Earned an hour", 2),
    )
    rows = tuple(
        (
            word(capital(row.label)),
            Cell(round(row.price_change, 4), text(say.change(row.price_change))),
            Cell(round(row.minutes_change, 4), text(say.change(row.minutes_change))),
            say.money_cell(row.margin_minor),
            say.money_cell(row.margin_after_minor),
            say.money_cell(row.contribution_per_hour_minor),
            say.money_cell(row.contribution_per_hour_after_minor),
            say.money_cell(row.earned_rate_after_minor),
        )
        for row in found.rows
        if row.margin_minor or row.contribution_per_hour_minor is not None
    )
    return Table("what-if", columns, rows)


def choice_label(tier: TierMargin, say: LabourSay) -> str:
    """Give a tier as it is offered by name."""
    hour = tier.contribution_per_hour
    each = NONE if hour is None or tier.is_too_few else f"{say.money(hour.value)} an hour"
    return f"{capital(tier.label)}: {say.count(tier.earning.count_jobs, 'job')}, {each}"
