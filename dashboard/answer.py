"""What to know before touching a bike, as HTML: the gravest first, and never that it is fine."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dashboard import markup
from dashboard.entries import Entry, not_checked, standing_notes, systems_not_looked_at
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.cli.words import CAUTION, needs_caution
from ledger.view import BikeView, OpenAdvice, OpenFault, OpenFinding, OpenJob, Reading

CORE_SYSTEMS = (
    "drivetrain",
    "front_brake",
    "rear_brake",
    "front_wheel",
    "rear_wheel",
    "steering",
    "frame",
)
"""What every bike has, so that no look at it is worth saying."""

RANK = {"unsafe": 0, "due": 1, "watch": 3}
UNJUDGED_FAULT = 2
"""Where an open fault stands that was given no verdict."""
MOST_NAMED = 7


def _matter(mark: str, what: str, why: str) -> str:
    return (
        f'<li>{mark}<span class="lk-what">{text(capital(what))}</span>'
        f'<span class="lk-why">{text(why)}</span></li>'
    )


def _waiting(word: str) -> str:
    return markup.marked("open", word)


def figure_of(reading: Reading, words: Words) -> str:
    """Give a reading's figure or interval in words."""
    if reading.value is not None:
        return words.formats.figure(reading.value, reading.unit)
    return words.formats.between(reading.value_low, reading.value_high, reading.unit)


def _reading(reading: Reading, words: Words) -> str:
    place = words.place(reading.position, reading.point)
    what = f"{place}: {words.quantity(reading.quantity)} {figure_of(reading, words)}"
    limit = words.limit(reading.position, reading.quantity, reading.limit, reading.unit)
    why = f"{limit}, measured {words.formats.day(reading.measured_at)}"
    return _matter(markup.verdict(reading.verdict), what, why)


def _fault(fault: OpenFault, words: Words) -> str:
    what = f"{words.position(fault.position)}: {words.fault(fault.fault)}"
    cause = f"cause: {words.cause(fault.cause)}, " if fault.cause else "cause not known, "
    why = f"{cause}found {words.formats.day(fault.found_at)}"
    mark = (
        markup.marked(fault.verdict, "fault", fault.verdict) if fault.verdict else _waiting("fault")
    )
    return _matter(mark, what, why)


def _finding(found: OpenFinding, words: Words) -> str:
    what = f"{words.position(found.position)}: judged {found.verdict}, nothing named"
    why = f"found {words.formats.day(found.found_at)}"
    return _matter(markup.marked(found.verdict, "finding", found.verdict), what, why)


def _advice(advice: OpenAdvice, words: Words) -> str:
    answer = f"last answer: {advice.answer}" if advice.answer else "no answer yet"
    why = f"advised {words.formats.day(advice.advised_at)}, {answer}"
    what = f"{words.position(advice.position)}: {advice.verdict}, {advice.urgency}"
    return _matter(_waiting("advice open"), what, why)


def _job(job: OpenJob, words: Words) -> str:
    named = f"{words.tier(job.tier)}, job {job.job}" if job.tier else f"job {job.job}"
    promised = f", promised {words.formats.moment(job.promised_at)}" if job.promised_at else ""
    waits = f", waiting for {job.waiting_for}" if job.waiting_for else ""
    why = f"booked in {words.formats.day(job.opened_at)}{promised}{waits}"
    return _matter(_waiting("in the shop"), named, why)


def _unchecked(entry: Entry, words: Words) -> str:
    why = entry.remark or "no reason given"
    what = words.position(entry.position or "")
    return _matter(
        markup.verdict("not checked"), what, f"{words.formats.day(entry.occurred_at)}: {why}"
    )


def _never(systems: Sequence[str], words: Words) -> str:
    what = _listed(words.system(system) for system in systems)
    return _matter(markup.verdict("not checked"), what, "no look and no reading on record")


def _note(entry: Entry, words: Words) -> str:
    mark = '<span class="lk-verdict lk-standing">note</span>'
    what = f"{words.position(entry.position or '')}: {entry.remark}"
    return _matter(mark, what, f"noted {words.formats.day(entry.occurred_at)}")


def _listed(names: Iterable[str]) -> str:
    *most, last = list(dict.fromkeys(names))
    if len(most) > MOST_NAMED:
        return f"{', '.join(most[:MOST_NAMED])} and {len(most) + 1 - MOST_NAMED} more"
    return f"{', '.join(most)} and {last}" if most else last


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _named(said: str, one: str, more: str, positions: Iterable[str]) -> str:
    named = list(dict.fromkeys(positions))
    return f"{said} {one if len(named) == 1 else more}: {_listed(named)}." if named else ""


def headline(view: BikeView, words: Words) -> str:
    """Give what a mechanic reads first, the gravest first; it never says that a bike is fine."""

    def at(verdict: str, graded: Iterable[Reading | OpenFault | OpenFinding]) -> list[str]:
        return [words.position(one.position) for one in graded if one.verdict == verdict]

    unsafe = at("unsafe", [*view.readings, *view.faults_open, *view.findings_open])
    due, watched = at("due", view.readings), at("watch", view.readings)
    opened, judged = len(view.faults_open), at("due", view.findings_open)
    said = [
        f"Unsafe: {_listed(unsafe)}." if unsafe else "",
        _named("Past", "its limit", "their limits", due),
        f"Judged due: {_listed(judged)}." if judged else "",
        f"{_counted(opened, 'fault', 'faults')} open." if opened else "",
    ]
    if not view.readings:
        said.append("Nothing measured is on record.")
    elif not unsafe and not due:
        said.append("No reading on record is past its limit.")
    if watched and not unsafe:
        said.append(f"{_counted(len(watched), 'reading', 'readings')} to watch.")
    return " ".join(filter(None, said))


def _graded(view: BikeView, words: Words) -> list[str]:
    """Give readings near or past a limit, open faults and nameless findings, the gravest first."""
    readings = [reading for reading in view.readings if reading.verdict in RANK]
    rated = [
        *((RANK[one.verdict or ""], 0, one.position, _reading(one, words)) for one in readings),
        *(
            (RANK.get(one.verdict or "", UNJUDGED_FAULT), 1, one.position, _fault(one, words))
            for one in view.faults_open
        ),
        *((RANK[one.verdict], 2, one.position, _finding(one, words)) for one in view.findings_open),
    ]
    return [matter for *_, matter in sorted(rated)]


def answer(view: BikeView, entries: list[Entry], words: Words) -> str:
    """Give what to know before touching the bike, the gravest first."""
    as_at = view.as_at
    unchecked = not_checked(entries, as_at)
    said = {entry.system for entry in unchecked}
    never = [
        system
        for system in systems_not_looked_at(entries, as_at, CORE_SYSTEMS)
        if system not in said
    ]
    matters = [
        *_graded(view, words),
        *(_unchecked(entry, words) for entry in unchecked),
        *([_never(never, words)] if never else []),
        *(_job(job, words) for job in view.jobs_open),
        *(_advice(advice, words) for advice in view.advice_open),
        *(_note(note, words) for note in standing_notes(entries, as_at)),
    ]
    nothing = '<p class="lk-note">No open fault, advice, job or standing note on record.</p>'
    body = f'<ul class="lk-matters">{"".join(matters)}</ul>' if matters else nothing
    return (
        '<section class="lk-answer" aria-label="Before you touch it">'
        f'<p class="lk-headline">{text(headline(view, words))}</p>{body}</section>'
    )


def caution(view: BikeView, words: Words) -> str:
    """Give the caution, where any figure shown may decide whether somebody gets hurt."""
    shown: list[tuple[str, str | None]] = [
        *((item.position, item.quantity) for item in view.readings),
        *((item.position, item.quantity) for item in view.settings),
        *((fault.position, None) for fault in view.faults_open),
        *((found.position, None) for found in view.findings_open),
    ]
    if any(needs_caution(words.vocabulary, position, quantity) for position, quantity in shown):
        return f'<p class="lk-caution">{text(CAUTION)}</p>'
    return ""
