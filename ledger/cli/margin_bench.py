"""The bench in tables: hours sold against open, days held, and advice that came back dearer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.labour_page import say_left
from ledger.cli.output import say, say_table

if TYPE_CHECKING:
    from ledger.cli.labour_words import MoneyWords
    from ledger.figures.margin_shapes import (
        Capacity,
        Dearer,
        DearerAdvice,
        Held,
        HeldBy,
        HeldJob,
        OpenWork,
        WeekSold,
    )


def say_capacity(found: Capacity, words: MoneyWords, limit: int | None) -> None:
    """Print bench hours sold against open, week by week, and the work ahead."""
    say(found.line)
    say()
    say_table(
        "Bench hours a week, the newest first",
        ("!week", "!from", ">days", ">hours worked", ">charged", ">open", ">worked of open"),
        [_week(week, words) for week in found.weeks[::-1][:limit]],
    )  # fmt: skip
    say_left(words, len(found.weeks), limit)
    say_table(
        "Work ahead: open jobs, those promised first",
        ("!job", "!bike", "tier", "!opened", "!promised", "waiting for", ">minutes left", "remark"),
        [_open(job, words) for job in found.open_jobs[:limit]],
    )  # fmt: skip
    say_left(words, len(found.open_jobs), limit)


def _week(week: WeekSold, words: MoneyWords) -> tuple[str, ...]:
    sold = week.bench_minutes / week.open_minutes if week.open_minutes else None
    return (
        week.week,
        words.day(week.starts_on),
        words.whole(week.days),
        words.hours(week.bench_minutes),
        words.hours(week.charged_minutes),
        words.hours(week.open_minutes),
        words.share(sold),
    )


def _open(job: OpenWork, words: MoneyWords) -> tuple[str, ...]:
    return (
        job.job,
        job.bike,
        job.tier_label,
        words.day(job.opened_at),
        "" if job.promised_at is None else words.day(job.promised_at),
        job.waiting_for or "",
        words.whole(job.minutes_left),
        "" if job.is_quoted else "never quoted: the usual minutes of its tier",
    )


def say_held(found: Held, words: MoneyWords, limit: int | None) -> None:
    """Print days held by what was waited for, and the longest holds."""
    say(found.line)
    say()
    say_table(
        "Days held, by what was waited for",
        ("waiting for", ">holds", ">jobs", ">now", ">days", ">median days of a hold"),
        [_held_by(row, words) for row in found.rows],
    )
    say_table(
        "Holds, the longest first",
        ("!job", "!bike", "waiting for", "!from", "!to", ">days"),
        [_held(one, words) for one in found.jobs[:limit]],
    )
    say_left(words, len(found.jobs), limit)


def _held_by(row: HeldBy, words: MoneyWords) -> tuple[str, ...]:
    counts = (row.count_holds, row.count_jobs, row.count_now)
    days = (row.days, row.median_days)
    return (
        row.waiting_for,
        *(words.whole(count) for count in counts),
        *(words.figure(round(one, 1)) for one in days),
    )


def _held(one: HeldJob, words: MoneyWords) -> tuple[str, ...]:
    ended = "still held" if one.ended_at is None else words.day(one.ended_at)
    days = words.figure(round(one.days, 1))
    return one.job, one.bike, one.waiting_for, words.day(one.held_at), ended, days


def say_dearer(found: Dearer, words: MoneyWords, limit: int | None) -> None:
    """Print advice that was not taken and came back dearer, with its cautions."""
    say(found.line)
    say()
    say_table(
        "Advice not taken that came back dearer",
        ("!bike", "place", "!advised", "answer", ">price then", "!job", "!closed", ">days",
         ">charged later", ">dearer by", "where"),
        [_dearer(row, words) for row in found.rows[:limit]],
    )  # fmt: skip
    say_left(words, len(found.rows), limit)
    for caution in found.cautions:
        say(caution)
    if found.cautions:
        say()


def _dearer(row: DearerAdvice, words: MoneyWords) -> tuple[str, ...]:
    return (
        row.bike,
        row.place,
        words.day(row.advised_at),
        row.answer or "never answered",
        words.money(row.price_minor),
        row.job,
        words.day(row.closed_at),
        words.whole(row.days),
        words.money(row.later_minor),
        words.money(row.dearer_minor),
        "the same place" if row.is_same_position else "in its system",
    )
