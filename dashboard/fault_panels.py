"""The page of faults' words, figures and lists as HTML."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from dashboard import fault_say as say
from dashboard import markup
from dashboard.due_panels import choices
from dashboard.fault_address import Asked
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.asking import Asker
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_behind import ComeBack, Immature, NotPutRight
from ledger.figures.fault_shapes import (
    BikeComeBacks,
    By,
    ComeBackJob,
    FaultCounts,
    Measure,
    Pareto,
    Unpaid,
)
from ledger.figures.fault_words import FaultWords
from ledger.figures.faults import BookFaults
from ledger.vocabulary import Window

COUNTED: dict[By, str] = {
    "fault": "fault",
    "position": "position",
    "system": "system",
    "model": "part model",
    "tier": "tier",
}
MEASURED: dict[Measure, str] = {"count": "come-backs", "minutes": "minutes", "cost": "cost"}
SOURCES = {
    "matched": "by itself",
    "said at booking-in": "as said at booking-in",
    "judged": "as somebody judged it",
}


def waiting() -> str:
    """Give what stands there while a book's faults are matched."""
    return '<p class="lk-note lk-wait">Matching what was found again…</p>'


def period(asked: Asked, first: datetime | None, words: Words) -> str:
    """Give the time the figures are of."""
    day = words.formats.day
    until = f"the end of {day(asked.day)}" if asked.day else "today"
    said = f"From the first fault on record, {day(first)}, " if first else "From the beginning "
    return f'<p class="lk-note">{text(f"{said}until {until}.")}</p>'


def kept(words: str) -> str:
    """Give words with each figure and its percent sign held together."""
    return words.replace(" %", "\u00a0%")


# -- the answer -------------------------------------------------------------------------------


def front(found: BookFaults) -> str:
    """Give the finding in a sentence, and its three figures."""
    words, counts, unpaid = found.words, found.counts, found.unpaid
    finds = counts.count_come_back - found.count_faultless
    is_more = finds != counts.count_did_not_hold
    again = f"; found again {words.figure(finds)} times" if is_more else ""
    tiles = (
        ("Came back", words.figure(counts.count_did_not_hold),
         f"of {words.count(counts.count_put_right, 'fault')} put right{again}",
         words.verdict(counts, None, None)),
        ("Minutes nobody paid for", words.figure(unpaid.minutes),
         f"in {words.count(found.count_jobs, 'job')}", ""),
        ("What they cost the shop", words.cost(unpaid), _of_parts(unpaid, words), ""),
    )  # fmt: skip
    told = tiles if unpaid.is_shown else tiles[:1]
    listed = "".join(_tile(*tile) for tile in told) if counts.count_put_right else ""
    tally = f'<dl class="lk-tally">{listed}</dl>' if listed else ""
    return f'<header class="lk-identity"><h1>{text(found.front)}</h1></header>{tally}'


def _tile(name: str, figure: str, of: str, sure: str) -> str:
    small = "".join(f"<small>{text(kept(said))}</small>" for said in (of, sure) if said)
    return f"<div><dt>{text(name)}</dt><dd><b>{text(figure)}</b>{small}</dd></div>"


def _of_parts(unpaid: Unpaid, words: FaultWords) -> str:
    if unpaid.minor is None:
        parts = f"; parts: {words.money(unpaid.parts_minor)}" if unpaid.parts_minor else ""
        return f"set wages with terms_set{parts}"
    parts = f"{words.money(unpaid.parts_minor)} of it in parts"
    untold = unpaid.minutes_without_wage
    return f"{parts}; {words.figure(untold, 'min')} of no told wage left out" if untold else parts


def notes(found: BookFaults) -> str:
    """Give what the figures rest on, a line each."""
    items = "".join(f"<li>{text(kept(one))}</li>" for one in found.notes)
    listed = f'<ul class="lk-conditions">{items}</ul>'
    return markup.section("What these figures rest on", listed) if items else ""


def cautions(said: Iterable[str]) -> str:
    """Give the cautions, where any are due."""
    return "".join(f'<p class="lk-caution">{text(one)}</p>' for one in said)


# -- what to show -----------------------------------------------------------------------------


def controls(asked: Asked, asker: Asker) -> str:
    """Give the links that say what come-backs are counted by, and what comes first."""
    is_all = asker.sees("money")
    by = [(said, asked.where(by=name, row="", tag=""), name == asked.by)
          for name, said in COUNTED.items() if is_all or name != "tier"]  # fmt: skip
    measures = [(said, asked.where(measure=name), name == asked.measure)
                for name, said in MEASURED.items()]  # fmt: skip
    return choices("Counted by", by) + (choices("Most", measures) if is_all else "")


def window_line(window: WindowAsked | None, words: FaultWords) -> str:
    """Give what counts as come back."""
    if window is None:
        return '<p class="lk-note">Come back: found again within the shop\'s own window.</p>'
    return f'<p class="lk-note">{text(words.windows(window))}</p>'


def nothing_measured(told: Pareto, unpaid: Unpaid) -> str:
    """Give why there is nothing to draw, and what to do about it."""
    if told.measure == "cost" and unpaid.minor is None:
        said = ("No wage is told, so no minute costs anything here: set wages with "
                "lockring record terms_set, or look at minutes.")  # fmt: skip
    elif told.measure == "count":
        said = "Nothing that was put right is known to have come back."
    else:
        said = f"No {'minutes are' if told.measure == 'minutes' else 'cost is'} on record for them."
    return f'<p class="lk-note">{text(said)}</p>'


def pareto_table(told: Pareto, words: FaultWords) -> str:
    """Give the Pareto as a table, folded: every row, with how sure its rate is."""
    is_shown = all(row.unpaid.is_shown for row in told.rows)
    heads = (capital(say.WHAT[told.by]), "Found", "Put right", "Did not hold", "Come-backs",
             *(("Minutes", "Cost") if is_shown else ()),
             "So far", "Repairs that came back")  # fmt: skip
    rows = [
        (
            text(capital(row.label)),
            *(text(words.figure(count)) for count in _counts(row.counts)),
            *_taken(row.unpaid, words),
            f"{100 * row.cumulative_share:.0f}\u00a0%",
            text(kept(row.verdict)),
        )
        for row in told.rows
    ]
    note = words.counted_at(told.by)
    said = f'<p class="lk-note">{text(note)}</p>' if note else ""
    return folded("The same as a table", headed(heads, rows) + said)


def _taken(unpaid: Unpaid, words: FaultWords) -> tuple[str, ...]:
    """Give the cells of what was unpaid; none where it is not shown."""
    if not unpaid.is_shown:
        return ()
    return text(words.figure(unpaid.minutes)), text(words.cost(unpaid))


def _counts(counts: FaultCounts) -> tuple[int, int, int, int]:
    return (
        counts.count_found,
        counts.count_put_right,
        counts.count_did_not_hold,
        counts.count_come_back,
    )


def headed(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Give a table whose heads are seen, and stand before each cell on a telephone."""
    table = markup.table("", heads, rows)
    return table.replace("lk-table", "lk-table lk-headed lk-prose", 1)


def folded(summary: str, inner: str) -> str:
    """Give something folded under a line that says what it is."""
    return f'<details class="lk-message"><summary>{text(summary)}</summary>{inner}</details>'


# -- the bikes behind a row -------------------------------------------------------------------


def of_bike(one: BikeComeBacks, backs: Sequence[ComeBack], words: FaultWords) -> str:
    """Give what came back on one bike: each fault, when and by what work it was put right."""
    items = "".join(f"<li>{_came_back(back, words)}</li>" for back in backs)
    count = words.count(one.count_come_back, "come-back")
    is_told = one.count_come_back and one.unpaid.is_shown
    took = f", {words.took(one.unpaid)}" if is_told else ""
    right = f"after {words.count(one.count_put_right, 'repair')}"
    head = f'<p class="lk-what">{text(f"{count} {right}{took}")}</p>'
    return f'{head}<ul class="lk-backs">{items}</ul>'


def _came_back(back: ComeBack, words: FaultWords) -> str:
    what = f"{words.place(back.position)}, {words.fault(back.fault, back.cause)}"
    right = f"put right {words.day(back.put_right_at)} ({back.put_right_by})"
    said = f"{right}, found again {words.day(back.again_at)}, {after(back.days, back.km, words)}"
    took = "" if back.minutes is None else f"; {text(cost(back.minutes, back.minor, words))}"
    return f"{text(capital(what))}<small>{text(said)}{took}</small>"


def after(days: float, km: float | None, words: FaultWords) -> str:
    """Give how long after the repair a fault was found again."""
    said = f"{words.count(round(days), 'day')} later"
    return f"{said}, distance not known" if km is None else f"{said}, {words.rough(km, 'km')}"


def cost(minutes: int, minor: int | None, words: FaultWords) -> str:
    """Give what a come-back took."""
    if not minutes and not minor:
        return "no unpaid work on record"
    worked = words.figure(minutes, "min")
    return f"{worked}, wages not told" if minor is None else f"{worked}, {words.money(minor)}"


# -- jobs -------------------------------------------------------------------------------------


def jobs(found: Sequence[ComeBackJob], asked: Asked, words: FaultWords) -> str:
    """Give jobs that came back, each with what it answers, how it is linked, and what it took."""
    is_shown = all(job.unpaid.is_shown for job in found)
    took = ("Took",) if is_shown else ()
    heads = ("Job", "Bike", "Answers", "Came back", *took, "Is that wrong?")
    return headed(heads, [_job(job, asked, words) for job in found])


def _job(job: ComeBackJob, asked: Asked, words: FaultWords) -> tuple[str, ...]:
    opened = words.day(job.opened_at) if job.opened_at else "not opened"
    answers = (job.answers or "work of no job") if job.is_come_back else "no come-back"
    what = "; ".join(f"{words.place(place)}, {words.fault(fault)}" for place, fault in job.faults)
    where = asked.where(tag=job.bike, row="")
    took = f"{words.figure(job.unpaid.minutes, 'min')}, {words.cost(job.unpaid)}"
    return (
        f"{text(job.job)}<small>{text(opened)}</small>",
        f'<a href="{text(where)}" target="_self">{text(job.bike)}</a>',
        f"{text(answers)}<small>{text(SOURCES[job.source])}</small>",
        text(capital(what) if what else job.remark),
        *((text(took),) if job.unpaid.is_shown else ()),
        say_otherwise(job),
    )


def say_otherwise(job: ComeBackJob) -> str:
    """Give the commands that record what somebody knows better of a link, folded."""
    said = ["That it is no come-back:"] if job.is_come_back else []
    said += [f"That it answers {'another' if job.is_come_back else 'a'} job (put it for JOB):"]
    lines = "".join(
        f'<p class="lk-note">{text(words)}<br><code>{text(command)}</code></p>'
        for words, command in zip(said, job.say_otherwise, strict=True)
    )
    undo = "A judgement is taken back by another one, or by lockring strike with its event's id."
    return folded("Say otherwise", f'{lines}<p class="lk-note">{text(undo)}</p>')


# -- not put right, not to be judged ----------------------------------------------------------


def not_put_right(
    title: str, found: Sequence[NotPutRight], count: int, asked: Asked, words: FaultWords
) -> str:
    """Give faults that were carried over a job, or gone without work: counted, the newest named."""
    head = f"{title}: {words.figure(count)}"
    if not found:
        return f'<p class="lk-note">{text(head)}.</p>'
    heads = ("Bike", "Fault", "Found", "Ended", "Jobs since")
    rows = [
        (
            _bike_link(one.bike, asked),
            text(capital(f"{words.place(one.position)}, {words.fault(one.fault, one.cause)}"))
            + (f"<small>{text(one.verdict)}</small>" if one.verdict else ""),
            text(words.day(one.found_at)),
            text(words.day(one.ended_at) if one.ended_at else "still open"),
            text(words.figure(one.count_jobs_carried)),
        )
        for one in found
    ]
    return folded(head, headed(heads, rows) + _of(len(found), count, words))


def immature(found: Sequence[Immature], count: int, asked: Asked, words: FaultWords) -> str:
    """Give the repairs that cannot be judged yet: counted, the newest named."""
    head = f"Repairs that cannot be judged yet: {words.figure(count)}"
    if not found:
        return f'<p class="lk-note">{text(head)}.</p>'
    heads = ("Bike", "Fault", "Put right", "Followed for", "Of a window of")
    rows = [
        (
            _bike_link(one.bike, asked),
            text(capital(f"{words.place(one.position)}, {words.fault(one.fault)}")),
            text(words.day(one.put_right_at)),
            text(words.count(int(one.days_followed), "day")),
            text(words.window(Window(one.window_days, round(one.window_km)))),
        )
        for one in found
    ]
    return folded(head, headed(heads, rows) + _of(len(found), count, words))


def _bike_link(tag: str, asked: Asked) -> str:
    where = asked.where(tag=tag, row="")
    return f'<a href="{text(where)}" target="_self">{text(tag)}</a>'


def _of(shown: int, count: int, words: FaultWords) -> str:
    if shown >= count:
        return ""
    said = f"The newest {words.figure(shown)} of {words.figure(count)} are listed."
    return f'<p class="lk-note">{text(said)}</p>'
