"""The page of time's figures and tables: each table is shown and downloaded from the same rows."""

from __future__ import annotations

import re
from collections.abc import Sequence

from dashboard import time_words as words
from dashboard.fault_address import row_of
from dashboard.fault_panels import kept
from dashboard.labour_address import TimeAsked
from dashboard.labour_say import NONE, LabourSay
from dashboard.labour_table import Cell, Column, Table, link, word
from dashboard.markup import capital, text
from ledger.figures.labour_shapes import (
    FoundLater,
    JobWaterfall,
    LabourBy,
    LabourJob,
    LabourRow,
)

MINUTES = "min"
SENTENCES = re.compile(r"(?<=[a-z)]\.) (?=[A-Z])")
"""Between two sentences, never inside a figure."""


def tally(tiles: Sequence[tuple[str, str, str]]) -> str:
    """Give figures beside one another: what each is, the figure, and of what it is."""
    listed = "".join(
        f"<div><dt>{text(name)}</dt><dd><b>{text(figure)}</b><small>{text(of)}</small></dd></div>"
        for name, figure, of in tiles
    )
    return f'<dl class="lk-tally">{listed}</dl>' if listed else ""


def head(said: str, tiles: Sequence[tuple[str, str, str]]) -> str:
    """Give the answer: its first sentence large, the others below it, then its figures."""
    first, *others = SENTENCES.split(said)
    more = f'<p class="lk-lead">{text(" ".join(others))}</p>' if others else ""
    return f'<header class="lk-identity"><h1>{text(first)}</h1></header>{more}{tally(tiles)}'


def front_tiles(total: LabourRow, say: LabourSay) -> list[tuple[str, str, str]]:
    """Give the three figures the page begins with."""
    ratio, minutes = total.ratio, total.minutes
    too_few = ratio.median is None or ratio.is_too_few
    middle = "too few jobs to judge" if too_few else (
        f"half are over it; the middle half {say.times(ratio.quarter_low)} to "
        f"{say.times(ratio.quarter_high)}"
    )  # fmt: skip
    unpaid = minutes.come_back + minutes.goodwill
    kinds = f"{say.hours(minutes.found_later)} found later, {say.hours(unpaid)} unpaid"
    return [
        ("Worked over quoted", NONE if too_few else say.times(ratio.median), middle),
        ("Over by more than 20\u00a0%",
         NONE if too_few else say.share(ratio.share_over), words.over(total, say)),
        ("At the bench", say.hours(minutes.bench), kinds),
    ]  # fmt: skip


# -- tables -----------------------------------------------------------------------------------


def rows_table(rows: Sequence[LabourRow], asked: TimeAsked, say: LabourSay) -> Table:
    """Give minutes against quote, a row a tier, task, month or kind of bike."""
    columns = (
        Column(capital(words.BY[asked.by])),
        Column("Jobs", is_figure=True),
        Column("Over quoted, median", "times", is_figure=True),
        Column("Over by 20 %", "share", is_figure=True, room=1),
        *(Column(name, MINUTES, is_figure=True, room=2)
          for name in ("Quoted", "Worked on it", "Found later", "Come-back", "Goodwill")),
        *(Column(f"Ratio, {name}", "times", is_shown=False)
          for name in ("tenth", "quarter", "three quarters", "nine tenths")),
        *(Column(f"Over by 20 %, {name}", "share", is_shown=False) for name in ("from", "to")),
    )  # fmt: skip
    return Table(f"time-by-{asked.by}", columns, tuple(_row(row, asked, say) for row in rows))


def _row(row: LabourRow, asked: TimeAsked, say: LabourSay) -> tuple[Cell, ...]:
    ratio, minutes = row.ratio, row.minutes
    where = asked.where(row=row_of(row.key), job="")
    kinds = (row.quoted_minutes, minutes.quoted, minutes.found_later, minutes.come_back,
             minutes.goodwill)  # fmt: skip
    spread = (ratio.tenth_low, ratio.quarter_low, ratio.quarter_high, ratio.tenth_high)
    return (
        link(capital(row.label), where, row.verdict),
        say.count_cell(row.count_jobs),
        say.ratio_cell(ratio.median),
        say.share_cell(ratio.share_over),
        *(say.minutes_cell(each) for each in kinds),
        *(say.ratio_cell(each) for each in spread),
        say.share_cell(ratio.share_over_low),
        say.share_cell(ratio.share_over_high),
    )


def jobs_table(jobs: Sequence[LabourJob], asked: TimeAsked, say: LabourSay) -> Table:
    """Give the jobs behind a row, each leading to its own steps."""
    columns = (
        Column("Job"),
        Column("Bike", room=1),
        Column("Tier", room=2),
        Column("Closed", room=1),
        Column("Quoted", MINUTES, is_figure=True),
        Column("Worked on it", MINUTES, is_figure=True),
        Column("Over quoted", "times", is_figure=True),
        Column("Everything else", MINUTES, is_figure=True, room=2),
        say.money_column("Wages over standard", 2),
    )
    rows = tuple(
        (
            link(job.job, asked.where(job=job.job, row="")),
            link(job.bike, asked.of_bike(job.bike)),
            word(job.tier_label),
            say.day_cell(job.closed_at),
            say.minutes_cell(job.quoted_minutes),
            say.minutes_cell(job.minutes.quoted),
            say.ratio_cell(job.ratio),
            say.minutes_cell(job.minutes.bench - job.minutes.quoted),
            say.money_cell(job.total_variance_minor),
        )
        for job in jobs
    )
    return Table(f"time-jobs-{asked.by}-{asked.row.strip('~') or 'none'}", columns, rows)


def variances_table(rows: Sequence[LabourRow], by: LabourBy, say: LabourSay) -> Table:
    """Give standard-costing variances and the effective labour rate, row by row."""
    columns = (
        Column(capital(words.BY[by])),
        Column("Jobs", is_figure=True, room=1),
        Column("Standard", MINUTES, is_figure=True, room=2),
        Column("Actual", MINUTES, is_figure=True, room=2),
        say.money_column("Standard cost", is_shown=False),
        say.money_column("Actual cost", is_shown=False),
        say.money_column("Efficiency"),
        say.money_column("Rate"),
        say.money_column("Total"),
        say.money_column("Labour charged an hour", 2),
        say.money_column("Posted rate", 2),
    )
    made = []
    for row in rows:
        each = row.variances
        money = (each.standard_minor, each.actual_minor, each.efficiency_minor, each.rate_minor,
                 each.total_minor, row.effective_rate_minor, row.posted_rate_minor)  # fmt: skip
        made.append((
            word(capital(row.label)),
            say.count_cell(each.count),
            say.minutes_cell(each.standard_minutes),
            say.minutes_cell(each.actual_minutes),
            *(say.money_cell(minor) for minor in money),
        ))  # fmt: skip
    return Table(f"variances-by-{by}", columns, tuple(made))


def found_later_table(found: FoundLater, say: LabourSay) -> Table:
    """Give what was found after the first quote, by task."""
    columns = (
        Column("Task"),
        Column("Jobs", is_figure=True),
        Column("Agreed", MINUTES, is_figure=True),
        Column("Worked", MINUTES, is_figure=True),
    )
    rows = tuple(
        (
            word(capital(row.label)),
            say.count_cell(row.count_jobs),
            say.minutes_cell(row.quoted_minutes),
            say.minutes_cell(row.minutes),
        )
        for row in found.rows
    )
    return Table("found-later", columns, rows)


def lines_table(found: JobWaterfall, say: LabourSay) -> Table:
    """Give the lines of a job's quotes, with what the keeper answered and what was charged."""
    columns = (
        Column("Line"),
        Column("Answer"),
        Column("When", room=1),
        Column("Minutes", MINUTES, is_figure=True, room=2),
        say.money_column("Quoted"),
        Column("Form", room=2),
        say.money_column("Charged"),
        Column("Quote", is_shown=False),
        Column("Code", is_shown=False),
    )
    rows = tuple(
        (
            word(capital(line.label), "found after the first quote" if line.is_found_later else ""),
            word(words.answer(line.answer, line.is_standing)),
            say.day_cell(line.answered_at, none=""),
            say.minutes_cell(line.minutes),
            say.money_cell(line.net_minor),
            word(line.form),
            say.money_cell(line.charged_minor),
            word(line.quote),
            word(line.code),
        )
        for line in found.lines
    )
    return Table(f"quote-{found.job}", columns, rows)


def notes(said: Sequence[str], title: str = "What these figures rest on") -> str:
    """Give sentences a line each under a title; nothing for none."""
    if not said:
        return ""
    items = "".join(f"<li>{text(kept(one))}</li>" for one in said)
    return (
        f'<section class="lk-section"><h2>{text(title)}</h2>'
        f'<ul class="lk-conditions">{items}</ul></section>'
    )


def choice_label(row: LabourRow, say: LabourSay) -> str:
    """Give a row as it is offered by name."""
    half = "" if row.ratio.is_too_few else f", half over {say.times(row.ratio.median)}"
    return f"{capital(row.label)}: {say.count(row.count_jobs, 'job')}{half}"
