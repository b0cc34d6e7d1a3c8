"""The page of quotes' figures, titles and tables."""

from __future__ import annotations

from dashboard.labour_say import NONE, LabourSay
from dashboard.labour_table import Cell, Column, Table, word
from dashboard.markup import capital, text
from ledger.figures.foresee_shapes import (
    BenchToday,
    Calibration,
    JobForecast,
    KmExpected,
    ServiceOrReplace,
)

MINUTES = "min"


def forecast_tiles(found: JobForecast, say: LabourSay) -> list[tuple[str, str, str]]:
    """Give the three figures a forecast begins with."""
    rate = "" if found.rate_minor is None else f" at {say.money(found.rate_minor)} an hour"
    price = (
        ("no labour rate is told", NONE)
        if found.risk_price_minor is None
        else (f"labour{rate}, net of tax", say.money(found.risk_price_minor))
    )
    return [
        ("Half take less than", say.minutes(found.p50_minutes),
         f"planned: {say.minutes(found.planned_minutes)}"),
        ("Four in five take less than", say.minutes(found.p80_minutes), "P80"),
        (f"Not enough {say.share(found.risk)} of the time", price[1], price[0]),
    ]  # fmt: skip


def chance_title(found: JobForecast, say: LabourSay) -> str:
    """Give the chance that a price asked for is not enough."""
    if found.price_minor is None:
        return ""
    price = say.money(found.price_minor)
    if found.chance_not_enough is None:
        return f"No labour rate is told, so nothing can be said of {price}"
    return f"{price} for labour is not enough {say.chance(found.chance_not_enough)} of the time"


def room_title(found: BenchToday) -> str:
    """Give whether today's bench can take it."""
    if found.is_room_p50 is None:
        return "Whether today's bench can take it is not known"
    if found.is_room_p80:
        return "Today's bench can take it"
    if found.is_room_p50:
        return "Today's bench can take it if it goes well"
    return "Today's bench cannot take it"


def minutes_title(found: JobForecast, say: LabourSay) -> str:
    """Give how the forecast stands to the plan."""
    if not found.planned_minutes:
        return f"Half of such jobs take less than {say.minutes(found.p50_minutes)}"
    over = found.p50_minutes / found.planned_minutes - 1
    if abs(over) < 0.05:
        return "Such jobs take about what is planned"
    way = "longer" if over > 0 else "less"
    return f"Such jobs take {say.share(abs(over))} {way} than planned, half the time"


def tasks_table(found: JobForecast, say: LabourSay) -> Table:
    """Give what is planned, with where its minutes come from."""
    columns = (Column("Task"), Column("Planned", MINUTES, is_figure=True), Column("As"))
    rows = tuple(
        (word(capital(one.label)), say.minutes_cell(one.minutes), word(one.source))
        for one in found.tasks
    )
    return Table("planned-tasks", columns, rows)


# -- how forecasts held -----------------------------------------------------------------------


def calibration_title(found: Calibration, say: LabourSay) -> str:
    """Give how forecasts held."""
    if found.is_too_few or found.share_under_p50 is None or found.share_under_p80 is None:
        return "Too few jobs to say how such forecasts hold"
    return (
        f"{say.share(found.share_under_p50)} took less than P50 and "
        f"{say.share(found.share_under_p80)} less than P80, foretold beforehand"
    )


def pinball(found: Calibration, say: LabourSay) -> str:
    """Give how far off forecasts are, beside the two naive ones."""
    told = (found.pinball_minutes, found.pinball_planned_minutes, found.pinball_ratio_minutes)
    if None in told:
        return ""
    own, planned, ratio = (say.figure(round(one or 0.0, 1), "min") for one in told)
    return (
        f"Mean pinball loss (how far off, the smaller the better): {own}; planned minutes as they "
        f"are: {planned}; planned minutes times the shop's median ratio: {ratio}."
    )


def folds_table(found: Calibration, say: LabourSay) -> Table:
    """Give each step in time: what was known, and how the jobs after it came out."""
    columns = (
        Column("Known until"),
        Column("Scored until"),
        Column("Jobs known", is_figure=True, room=1),
        Column("Jobs scored", is_figure=True, room=1),
        Column("Under P50", "share", is_figure=True),
        Column("Under P80", "share", is_figure=True),
    )
    rows = tuple(
        (
            say.day_cell(fold.fitted_until),
            say.day_cell(fold.scored_until),
            say.count_cell(fold.count_fitted),
            say.count_cell(fold.count_scored),
            say.share_cell(fold.share_under_p50),
            say.share_cell(fold.share_under_p80),
        )
        for fold in found.folds
    )
    return Table("forecasts-held", columns, rows)


# -- a part -----------------------------------------------------------------------------------


def costs_title(found: ServiceOrReplace, say: LabourSay) -> str:
    """Give how likely a new part is the cheaper one."""
    if found.chance_replace_cheaper is None:
        return "What is on record is not enough to set one against the other"
    return f"The chance that a new part costs less a km: {say.chance(found.chance_replace_cheaper)}"


def costs_table(found: ServiceOrReplace, say: LabourSay) -> Table:
    """Give servicing and replacing side by side."""
    columns = (
        Column("What"),
        say.money_column("Costs"),
        Column("Goes for", "km", is_figure=True),
        Column("80 % interval", room=1),
        Column("Seen", is_figure=True, room=1),
        say.money_column("Per 1,000 km"),
    )
    sides = (
        ("Service it", found.service_minor, found.service_km, found.service),
        ("Replace it", found.replace_minor, found.replace_km, found.replace),
    )
    rows = tuple(
        (
            word(name),
            say.money_cell(minor),
            _km(km.km if km else None, say),
            word(_between(km, say)),
            Cell(km.count, text(say.figure(km.count))) if km else Cell(None, NONE),
            say.money_cell(None if cost is None else 1000 * cost.minor_per_km),
        )
        for name, minor, km, cost in sides
    )
    return Table(f"service-or-replace-{found.bike}", columns, rows)


def _km(km: float | None, say: LabourSay) -> Cell:
    return Cell(None, NONE) if km is None else Cell(round(km), text(f"{say.rough(km)}\u00a0km"))


def _between(km: KmExpected | None, say: LabourSay) -> str:
    if km is None or km.low is None or km.high is None:
        return NONE
    return f"{say.rough(km.low)} to {say.rough(km.high)}\u00a0km"
