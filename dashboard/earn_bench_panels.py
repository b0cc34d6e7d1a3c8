"""The bench's tables on the page of earnings: weeks, open work, holds, and advice not taken."""

from __future__ import annotations

from dashboard.labour_address import EarnAsked
from dashboard.labour_say import LabourSay
from dashboard.labour_table import Cell, Column, Table, link, word
from dashboard.markup import capital, text
from ledger.figures.margin_shapes import Capacity, Dearer, Held
from ledger.figures.margin_words import WAITED

MINUTES, DAYS = "min", "days"


def weeks_table(found: Capacity, say: LabourSay) -> Table:
    """Give bench hours sold against open, week by week."""
    columns = (
        Column("Week of"),
        Column("Worked", "h", is_figure=True),
        Column("Quoted and found later", "h", is_figure=True),
        Column("Open", "h", is_figure=True),
        Column("Week", is_shown=False),
    )
    rows = tuple(
        (
            say.day_cell(one.starts_on),
            say.hours_cell(one.bench_minutes),
            say.hours_cell(one.charged_minutes),
            say.hours_cell(one.open_minutes),
            word(one.week),
        )
        for one in found.weeks
    )
    return Table("bench-weeks", columns, rows)


def open_table(found: Capacity, asked: EarnAsked, say: LabourSay) -> Table:
    """Give the open jobs with what is left of each, promised ones first."""
    columns = (
        Column("Job"),
        Column("Bike", room=1),
        Column("Tier", room=1),
        Column("Opened", room=2),
        Column("Promised"),
        Column("Waits for", room=1),
        Column("Left", MINUTES, is_figure=True),
    )
    rows = tuple(
        (
            link(one.job, asked.to_job(one.job), "" if one.is_quoted else "not quoted yet"),
            link(one.bike, asked.of_bike(one.bike)),
            word(one.tier_label),
            say.day_cell(one.opened_at),
            say.day_cell(one.promised_at, none="no day"),
            word(WAITED[one.waiting_for] if one.waiting_for else ""),
            say.minutes_cell(one.minutes_left),
        )
        for one in found.open_jobs
    )
    return Table("open-jobs", columns, rows)


def held_table(found: Held, say: LabourSay) -> Table:
    """Give days held by what was waited for."""
    columns = (
        Column("Waited for"),
        Column("Days", DAYS, is_figure=True),
        Column("Holds", is_figure=True),
        Column("The middle one", DAYS, is_figure=True),
        Column("Held now", is_figure=True),
    )
    rows = tuple(
        (
            Cell(row.waiting_for, text(capital(WAITED[row.waiting_for]))),
            _days(row.days, say),
            say.count_cell(row.count_holds),
            _days(row.median_days, say),
            say.count_cell(row.count_now),
        )
        for row in found.rows
    )
    return Table("held", columns, rows)


def held_jobs_table(found: Held, asked: EarnAsked, say: LabourSay) -> Table:
    """Give holds one by one, longest first."""
    columns = (
        Column("Job"),
        Column("Bike", room=1),
        Column("Waited for"),
        Column("From", room=1),
        Column("To", room=1),
        Column("Days", DAYS, is_figure=True),
    )
    rows = tuple(
        (
            link(one.job, asked.to_job(one.job)),
            link(one.bike, asked.of_bike(one.bike)),
            word(WAITED[one.waiting_for]),
            say.day_cell(one.held_at),
            say.day_cell(one.ended_at, none="still held"),
            _days(one.days, say),
        )
        for one in found.jobs
    )
    return Table("holds", columns, rows)


def dearer_table(found: Dearer, asked: EarnAsked, say: LabourSay) -> Table:
    """Give advice not taken that came back dearer, most first."""
    columns = (
        Column("Advised"),
        Column("Bike"),
        Column("Answer", room=2),
        Column("On", room=1),
        say.money_column("Would have cost", 1),
        say.money_column("Came to"),
        say.money_column("Dearer by"),
        Column("In job", room=2),
        Column("Days later", DAYS, is_figure=True, room=2),
    )
    rows = tuple(
        (
            word(capital(one.place), "" if one.is_same_position else "in its system"),
            link(one.bike, asked.of_bike(one.bike)),
            word(one.answer or "never answered"),
            say.day_cell(one.advised_at),
            say.money_cell(one.price_minor),
            say.money_cell(one.later_minor),
            say.money_cell(one.dearer_minor),
            link(one.job, asked.to_job(one.job)),
            say.count_cell(one.days),
        )
        for one in found.rows
    )
    return Table("advice-dearer", columns, rows)


def _days(days: float, say: LabourSay) -> Cell:
    return Cell(round(days, 2), text(say.figure(round(days, 1))))
