"""The home page's parts as HTML: today's bench, what waits, the month, who is due, seen last."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from dashboard import home_address, markup
from dashboard.home_words import MARKS, NAMES, HomeWords
from dashboard.markup import capital, text
from ledger.asking import Asker
from ledger.figures.calls import Call, DueList, Standing
from ledger.figures.due_words import DueWords, person_words
from ledger.figures.home_shapes import (
    BenchJob,
    BikeLine,
    Month,
    MonthFigure,
    MonthJob,
    MonthSpan,
    Sort,
    Waiting,
)

NO_NAME = "Make not known"
BEHIND = "The jobs behind it"
STANDING: Mapping[Standing, str] = {
    "past": "overdue",
    "unclear": "not read for too long to say",
    "coming": "due this week",
}
"""What a call is counted as, in the order they are told."""


def head(title: str) -> str:
    """Give the head of the page: its finding."""
    return f'<header class="lk-identity"><h1>{text(title)}</h1></header>'


def onward(where: str, words: str) -> str:
    """Give a link that leads on."""
    link = f'<a href="{text(where)}" target="_self">{text(words)}</a>'
    return f'<p class="lk-onward">{link}</p>'


# -- the bench --------------------------------------------------------------------------------


def bench(jobs: Sequence[BenchJob], count: int, asker: Asker, say: HomeWords) -> str:
    """Give today's bench, a job a line; those left out are counted."""
    if not count:
        note = "A job is on it from booking in until it is closed."
        return f'<p class="lk-note">{note}</p>'
    items = "".join(_job(job, asker, say) for job in jobs)
    rest = count - len(jobs)
    more = f'<p class="lk-note">{say.say.count(rest, "more job")} not shown.</p>' if rest else ""
    return f'<ol class="lk-jobs">{items}</ol>{more}'


def _job(job: BenchJob, asker: Asker, say: HomeWords) -> str:
    where = home_address.of_bike(job.bike, asker)
    small = "".join(f"<small>{text(said)}</small>" for said in (say.job(job), *say.beside(job)))
    history = ""
    if where.startswith("bench"):
        named = f"History of {job.name or job.bike}"
        history = (
            f'<a class="lk-side" href="bike?tag={text(job.bike)}" target="_self" '
            f'aria-label="{text(named)}">history</a>'
        )
    return (
        f'<li><a class="lk-job" href="{text(where)}" target="_self">{markup.tag_plate(job.bike)}'
        f'<span><span class="lk-what">{text(job.name or NO_NAME)}</span>{small}</span></a>'
        f"{markup.marked(*say.stands(job))}{history}</li>"
    )


# -- what waits -------------------------------------------------------------------------------


def decisions(found: Mapping[Sort, Sequence[Waiting]], say: HomeWords) -> str:
    """Give what waits for a decision, a sort a line, each leading to its rows."""
    waiting = [(sort, rows) for sort, rows in found.items() if rows]
    if not waiting:
        nothing = '<p class="lk-note">Nothing that is in the book waits for one.</p>'
        return markup.section("Needs a decision", nothing)
    items = "".join(_sort(sort, rows, say) for sort, rows in waiting)
    return markup.section("Needs a decision", f'<ul class="lk-waits">{items}</ul>')


def _sort(sort: Sort, rows: Sequence[Waiting], say: HomeWords) -> str:
    mark = markup.shape(MARKS.get(sort, "open"))
    return (
        f'<li><a href="{text(home_address.rows_of(sort))}" target="_self">{mark}'
        f"<span>{text(say.waits(sort, len(rows)))}<small>{text(say.oldest(rows))}</small></span>"
        "</a></li>"
    )


def waiting_rows(
    rows: Sequence[Waiting], lines: Mapping[str, BikeLine], asker: Asker, say: HomeWords
) -> str:
    """Give the rows behind a sort of what waits, each leading to its bike."""
    return _rows(((_place(one, asker), one.bike, say.row(one)) for one in rows), lines)


def _place(one: Waiting, asker: Asker) -> str:
    is_at_work = one.sort in ("late", "quote", "clock")
    return home_address.of_bike(one.bike, asker) if is_at_work else f"bike?tag={one.bike}"


def job_rows(jobs: Sequence[MonthJob], lines: Mapping[str, BikeLine], say: HomeWords) -> str:
    """Give the jobs behind a figure of the month, each leading to its bike."""
    return _rows(((f"bike?tag={one.bike}", one.bike, say.job_row(one)) for one in jobs), lines)


def _rows(rows: Iterable[tuple[str, str, str]], lines: Mapping[str, BikeLine]) -> str:
    items = "".join(
        f'<li><a href="{text(where)}" target="_self">{markup.tag_plate(tag)}'
        f"<span>{text(_name(lines, tag))}<small>{text(capital(said))}</small></span></a></li>"
        for where, tag, said in rows
    )
    return f'<ul class="lk-list lk-rows">{items}</ul>'


def _name(lines: Mapping[str, BikeLine], tag: str) -> str:
    return (lines[tag].name if tag in lines else None) or NO_NAME


# -- the month --------------------------------------------------------------------------------


def month(of: Month, say: HomeWords) -> str:
    """Give the month's figures with their change, each leading to its rows."""
    cells = "".join(_figure(one, of.span, say) for one in of.figures)
    tally = f'<dl class="lk-tally lk-month">{cells}</dl>'
    return markup.section(say.month_title(of.span), tally, say.month_note(of.span))


def _figure(one: MonthFigure, span: MonthSpan, say: HomeWords) -> str:
    small = "".join(
        f"<small>{text(said)}</small>" for said in (say.rests_on(one), say.change(one)) if said
    )
    where = text(home_address.of_figure(one.name, span))
    return (
        f"<div><dt>{text(NAMES[one.name])}</dt><dd><b>{text(say.value(one))}</b>{small}"
        f'<a href="{where}" target="_self">{BEHIND}'
        f'<span class="lk-heard-only"> {text(NAMES[one.name])}</span></a></dd></div>'
    )


# -- due this week ----------------------------------------------------------------------------


def due(found: DueList, most: int, say: DueWords) -> str:
    """Give whom to call: how many are overdue and how many due this week, and the most pressing
    of each, `most` at most; each leads to their own rows.
    """
    where = f"due?within={found.within_days}"
    if not found.calls:
        inner = '<p class="lk-note">Nothing that was measured is due within a week.</p>'
        return markup.section("Due this week", inner + onward("due", "Further ahead"))
    apart = {sort: found.calls.of_standing(sort) for sort in STANDING}
    apart = {sort: calls for sort, calls in apart.items() if len(calls)}
    more = any(len(calls) > most for calls in apart.values())
    words = f"All {say.figure(found.count_calls)} calls" if more else "Whom to call, and about what"
    counted = [f"{say.figure(len(calls))} {STANDING[sort]}" for sort, calls in apart.items()]
    lists = "".join(
        f'<p class="lk-note">{text(capital(STANDING[sort]))}</p><ul class="lk-waits">'
        f"{''.join(_call(call, where, say) for call in calls[:most])}</ul>"
        for sort, calls in apart.items()
    )
    return markup.section(f"To call: {', '.join(counted)}", lists + onward(where, words))


def _call(call: Call, where: str, say: DueWords) -> str:
    part, person = call.first, call.keeper
    who = person.name or capital(person_words(person))
    kind = {"past": "due", "unclear": "not checked", "coming": "watch"}[part.standing]
    why = f"{capital(part.place)}: {say.when(part)}"
    theirs = f"{where}&bike={call.bikes[0].bike}"
    return (
        f'<li><a href="{text(theirs)}" target="_self">{markup.shape(kind)}'
        f"<span>{text(who)}<small>{text(why)}</small></span></a></li>"
    )
