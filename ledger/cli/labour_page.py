"""Minutes against quote for people: the finding first, the table under it, the jobs behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.labour_forms import jobs_asked
from ledger.cli.labour_options import key_words
from ledger.cli.labour_words import MoneyWords
from ledger.cli.output import say, say_table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from ledger.book import Book
    from ledger.cli.labour_forms import Asked
    from ledger.figures.labour import BookLabour
    from ledger.figures.labour_shapes import (
        FoundLater,
        JobWaterfall,
        LabourJob,
        LabourRow,
        QuotedLine,
        WaterfallStep,
    )
    from ledger.figures.margin import BookMargin

TITLES = {"tier": "tier", "task": "task", "month": "month", "kind": "kind of bike"}
SIGNS = (
    "Wages of the minutes worked on what was quoted, beside the standard: the quoted minutes at "
    "the mean wage. Above nought, more was spent than the standard allows."
)
MORE = (
    "The jobs behind a row: --jobs --key KEY with --by; one job step by step: --job JOB; other "
    "rows: --by task, month or kind; everything: --json, --xlsx."
)


def say_labour(book: Book, found: BookLabour, asked: Asked) -> None:
    """Print minutes against quote: the finding, rows by what was asked, what was found later."""
    words = MoneyWords(book.settings)
    say_front(words, found)
    if not found.total.count_jobs:
        say("Minutes come from the clock (labour_started, labour_stopped) or labour_logged.")
        return
    _say_rows(found, asked, words)
    _say_found_later(found.found_later, words, asked.limit)
    if asked.has_jobs:
        _say_jobs(found, asked, words)
    say(MORE)


def say_front(words: MoneyWords, found: BookLabour | BookMargin) -> None:
    """Print the finding, what it is of, and what it rests on."""
    say(found.front)
    say()
    say(f"Jobs closed {words.days(found.period)}, as at {words.day(found.as_at)}.")
    for note in found.notes:
        say(f"- {note}")
    say()


# -- rows -------------------------------------------------------------------------------------


def _say_rows(found: BookLabour, asked: Asked, words: MoneyWords) -> None:
    rows = [(row, key_words(row.key)) for row in found.by(asked.by)]
    rows += [(found.total, "")] if len(rows) > 1 or asked.by == "task" else []
    title = TITLES[asked.by]
    say_table(
        f"Minutes against quote, by {title}; ratio is actual over quoted, the middle half of jobs",
        (title, "!key", ">jobs", ">quoted", ">worked on it", ">at the bench", ">found late",
         "ratio", "in words"),
        [_minutes(row, key, words) for row, key in rows],
    )  # fmt: skip
    told = [(row, key) for row, key in rows if row.variances.count or row.net_labour_minor]
    say_table(
        f"What the minutes cost and brought in, by {title}",
        (title, "!key", ">wages", ">standard", ">for the minutes", ">for who worked",
         ">variance", ">brought in an hour", ">posted rate"),
        [_money(row, key, words) for row, key in told],
    )  # fmt: skip
    if told:
        say(SIGNS)
        say()


def _minutes(row: LabourRow, key: str, words: MoneyWords) -> tuple[str, ...]:
    return (
        row.label,
        key,
        words.whole(row.count_jobs),
        words.whole(row.quoted_minutes),
        words.whole(row.minutes.quoted),
        words.whole(row.minutes.bench),
        words.share(row.found_later_share),
        words.ratio(row.ratio),
        row.verdict,
    )


def _money(row: LabourRow, key: str, words: MoneyWords) -> tuple[str, ...]:
    cost = row.variances
    costs = (
        cost.actual_minor,
        cost.standard_minor,
        cost.efficiency_minor,
        cost.rate_minor,
        cost.total_minor,
    )
    return (
        row.label,
        key,
        *(words.money(minor) if cost.count else "" for minor in costs),
        words.money(row.effective_rate_minor),
        words.money(row.posted_rate_minor),
    )


def _say_found_later(found: FoundLater, words: MoneyWords, limit: int | None) -> None:
    say(found.line)
    say()
    say_table(
        "Found after the first quote, by task",
        ("task", ">jobs", ">minutes answered yes", ">minutes worked"),
        [
            (one.label, words.whole(one.count_jobs), words.whole(one.quoted_minutes),
             words.whole(one.minutes))
            for one in found.rows[:limit]
        ],
    )  # fmt: skip
    say_left(words, len(found.rows), limit)


def say_left(words: MoneyWords, count: int, limit: int | None) -> None:
    """Say how many rows of a list were not shown."""
    if limit is not None and count > limit:
        say(f"Not listed: {words.figure(count - limit)} more. --limit 0 lists everything.")
        say()


def _say_jobs(found: BookLabour, asked: Asked, words: MoneyWords) -> None:
    jobs = jobs_asked(found, asked)
    say_table(
        f"Jobs{asked.behind}, the furthest over the quote first",
        ("!job", "!bike", "tier", "!closed", ">quoted", ">worked on it", ">found later",
         ">come-back", ">goodwill", ">ratio", ">variance"),
        [_job(job, words) for job in jobs],
    )  # fmt: skip
    if asked.limit is not None and len(jobs) == asked.limit:
        say("--limit 0 lists every job.")
        say()


def _job(job: LabourJob, words: MoneyWords) -> tuple[str, ...]:
    minutes = job.minutes
    kinds = (minutes.quoted, minutes.found_later, minutes.come_back, minutes.goodwill)
    return (
        job.job,
        job.bike,
        job.tier_label,
        words.day(job.closed_at),
        words.whole(job.quoted_minutes),
        *(words.whole(one) for one in kinds),
        "" if job.ratio is None else words.figure(round(job.ratio, 2)),
        words.money(job.total_variance_minor),
    )


# -- one job ----------------------------------------------------------------------------------


def say_job(book: Book, one: JobWaterfall) -> None:
    """Print one job from quoted to actual, in minutes and money, and its quoted lines."""
    words = MoneyWords(book.settings)
    closed = "still open" if one.closed_at is None else f"closed {words.day(one.closed_at)}"
    say(one.front)
    say()
    say(f"Job {one.job} of bike {one.bike}, {one.tier_label}, {closed}.")
    for note in one.notes:
        say(f"- {note}")
    say()
    _say_steps("Minutes, from quoted to the bench", one.minutes, words.whole)
    _say_steps("Money before tax, from quoted to charged", one.money, words.money)
    say_table(
        "Lines quoted, and the answers",
        ("!quote", "!line", "what", "form", ">minutes", ">net", "answer", "!answered", ">charged",
         "remark"),
        [_line(line, words) for line in one.lines],
    )  # fmt: skip


def _say_steps(title: str, steps: Sequence[WaterfallStep], said: Callable[[int], str]) -> None:
    say_table(
        title,
        ("step", ">change", ">so far", "behind it"),
        [
            (
                step.label,
                _change(step, said),
                said(step.stop),
                step.note,
            )
            for step in steps
        ],
    )


def _change(step: WaterfallStep, said: Callable[[int], str]) -> str:
    if step.kind in ("start", "end"):
        return ""
    return f"{'+' if step.change > 0 else ''}{said(step.change)}"


def _line(line: QuotedLine, words: MoneyWords) -> tuple[str, ...]:
    remarks = (
        "found later" if line.is_found_later else "",
        "" if line.is_standing else "a later quote took its place",
    )
    return (
        line.quote,
        line.line,
        f"{line.label} ({line.line_type})",
        line.form,
        words.whole(line.minutes),
        words.money(line.net_minor),
        line.answer or "no answer",
        "" if line.answered_at is None else words.day(line.answered_at),
        words.money(line.charged_minor),
        ", ".join(one for one in remarks if one),
    )
