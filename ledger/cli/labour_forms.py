"""Minutes against quote as plain JSON types, and as tables for a spreadsheet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ledger.cli.labour_options import key_words
from ledger.cli.labour_plain import (
    about,
    amount,
    heading,
    heading_lines,
    plain,
    sheet,
    single,
)
from ledger.figures.labour_shapes import (
    LABOUR_BY,
    FoundLaterRow,
    LabourBy,
    LabourJob,
    LabourRow,
    QuotedLine,
    WaterfallStep,
)

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.exchange.sheets import Sheet
    from ledger.figures.labour import BookLabour
    from ledger.figures.labour_shapes import JobWaterfall


@dataclass(frozen=True, slots=True)
class Asked:
    """What of a book's minutes is shown."""

    by: LabourBy
    is_all_jobs: bool
    row: tuple[str | None] | None
    """The key of the row whose jobs are listed; None: of no one row."""
    limit: int | None
    """Rows of a list; None for all."""

    @property
    def has_jobs(self) -> bool:
        """Whether jobs are listed."""
        return self.is_all_jobs or self.row is not None

    @property
    def behind(self) -> str:
        """Say whose the listed jobs are; nothing where they are all of them."""
        return "" if self.row is None else f" of {self.by} {key_words(self.row[0])}"


def jobs_asked(found: BookLabour, asked: Asked) -> tuple[LabourJob, ...]:
    """Give the jobs behind the row asked for, or all of them."""
    if asked.row is None:
        return found.jobs(limit=asked.limit)
    return found.jobs(asked.by, asked.row[0], asked.limit)


def labour_json(book: Book, found: BookLabour, asked: Asked) -> dict[str, Any]:
    """Give all figures of minutes against quote; `jobs` is null where they are not asked for."""
    return {
        **heading(book, found),
        "cover": plain(found.cover),
        "total": plain(found.total),
        "by": {by: plain(found.by(by)) for by in LABOUR_BY},
        "found_later": plain(found.found_later),
        "jobs": plain(jobs_asked(found, asked)) if asked.has_jobs else None,
    }


def job_json(book: Book, found: BookLabour, one: JobWaterfall) -> dict[str, Any]:
    """Give one job from quoted to actual."""
    of = heading(book, found)
    for name in ("period", "finding", "notes"):
        del of[name]
    return {**of, **plain(one)}


# -- tables -----------------------------------------------------------------------------------


def table(book: Book, found: BookLabour, asked: Asked) -> Sheet:
    """Give the one table asked for: the jobs, else the rows."""
    return _jobs(book, found, asked) if asked.has_jobs else _rows(book, found, asked.by)


def tables(book: Book, found: BookLabour, asked: Asked) -> list[Sheet]:
    """Give every table, what they are of first; the jobs where they are asked for."""
    settings = book.settings
    later = sheet("found later", FoundLaterRow, found.found_later.rows, settings)
    some = [_about(book, found), *(_rows(book, found, by) for by in LABOUR_BY), later]
    return [*some, _jobs(book, found, asked)] if asked.has_jobs else some


def _rows(book: Book, found: BookLabour, by: LabourBy) -> Sheet:
    return sheet(f"by {by}", LabourRow, (*found.by(by), found.total), book.settings)


def _jobs(book: Book, found: BookLabour, asked: Asked) -> Sheet:
    return sheet(f"jobs{asked.behind}", LabourJob, jobs_asked(found, asked), book.settings)


def _about(book: Book, found: BookLabour) -> Sheet:
    cover, later = single(found.cover), single(found.found_later, "found later.")
    return about("about", [*heading_lines(book, found), *cover, *later], book.settings)


def job_tables(book: Book, one: JobWaterfall) -> list[Sheet]:
    """Give one job's steps in minutes and in money, and its quoted lines."""
    settings = book.settings
    minutes = sheet("minutes", WaterfallStep, one.minutes, settings)
    lines = sheet("quoted lines", QuotedLine, one.lines, settings)
    return [minutes, _money_steps(book, one), lines]


def _money_steps(book: Book, one: JobWaterfall) -> Sheet:
    """Give the steps in money; their figures are amounts, which their names cannot tell."""
    steps = sheet("money", WaterfallStep, one.money, book.settings)
    amounts = ("change", "start", "stop")
    places = [steps.columns.index(name) for name in amounts]
    rows = [list(row) for row in steps.rows]
    for row, step in zip(rows, one.money, strict=True):
        for place, name in zip(places, amounts, strict=True):
            row[place] = amount(getattr(step, name), book.settings)
    currency = book.settings.currency
    heads = (f"{name} ({currency})" if name in amounts else name for name in steps.columns)
    return replace(steps, columns=tuple(heads), rows=tuple(tuple(row) for row in rows))
