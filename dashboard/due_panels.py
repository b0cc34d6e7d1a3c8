"""The due page's calls as HTML: who, what, when, how sure, and the message ready to copy."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from urllib.parse import quote, urlencode

import numpy as np

from dashboard import markup
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.figures.calls import Call, DueBike, DueList, DuePart, Person
from ledger.figures.due_calls import Calls
from ledger.figures.due_words import CAUTION, DueWords, person_words
from ledger.figures.written import made

SORTS = {"date": "by week", "chance": "by chance", "rider": "by rider"}
MARKS = {
    "past": ("due", "likely past"),
    "unclear": ("not checked", "read again"),
    "coming": ("watch", "coming"),
}
"""What a part's standing is shown as: the shape, and the word."""
CHOSEN = ' aria-current="true"'
WITHIN = (7, 14, 28, 56, 91)
"""Days the page can look ahead, one link each."""


@dataclass(frozen=True)
class Asked:
    """What the address asks for."""

    within_days: int
    sort: str
    as_at: str
    """The day as the address has it; empty for today."""
    is_every: bool = False
    """Also bikes that were not seen for long."""
    bike: str = ""
    """Only the call about this bike; empty for all calls."""

    def where(self, **other: object) -> str:
        """Give the address of the due page with something else asked for."""
        every = "1" if self.is_every else ""
        asked = {"within": self.within_days, "sort": self.sort, "as_at": self.as_at, "all": every}
        asked["bike"] = self.bike
        asked |= other
        return "due?" + urlencode({name: value for name, value in asked.items() if value})

    def of_day(self, page: str, tag: str) -> str:
        """Give the address of another page of a bike, as at the same day."""
        day = f"&as_at={self.as_at}" if self.as_at else ""
        return f"{page}?tag={tag}{day}"


def choices(label: str, links: Iterable[tuple[str, str, bool]]) -> str:
    """Give links to choose one from, as (words, address, is chosen), with what they choose."""
    items = "".join(
        f'<li><a href="{text(where)}" target="_self"'
        f"{CHOSEN if is_chosen else ''}>{text(words)}</a></li>"
        for words, where, is_chosen in links
    )
    return (
        f'<nav class="lk-asked" aria-label="{text(label)}"><span>{text(label)}</span>'
        f'<ul class="lk-choices">{items}</ul></nav>'
    )


def controls(asked: Asked) -> str:
    """Give the links that say how far ahead to look, in what order, and at which bikes."""
    offered = sorted({*WITHIN, asked.within_days})
    within = [
        (f"{days} days", asked.where(within=days), days == asked.within_days) for days in offered
    ]
    sorts = [(said, asked.where(sort=name), name == asked.sort) for name, said in SORTS.items()]
    seen = [
        ("seen lately", asked.where(all=""), not asked.is_every),
        ("also those long not seen", asked.where(all="1"), asked.is_every),
    ]
    return choices("Due within", within) + choices("In order", sorts) + choices("Bikes", seen)


def narrowed(found: DueList, bike: str) -> DueList:
    """Give the list with the call, or the job on the bench, that is about one bike; all for ""."""
    if not bike:
        return found
    calls = found.calls.about(bike)
    bench = found.bench.only(bike)
    return replace(found, calls=calls, bench=bench, count_calls=len(calls), count_long_unseen=0)


def only(asked: Asked) -> str:
    """Say that one bike's call alone is shown, with the way to all of them."""
    if not asked.bike:
        return ""
    every = f'<a href="{text(asked.where(bike=""))}" target="_self">All calls</a>'
    return f'<p class="lk-note">Only about {text(asked.bike)} and its keeper. {every}</p>'


def unseen(found: DueList, say: DueWords) -> str:
    """Give how many bikes are left out because they were not seen for long; nothing for none."""
    said = say.unseen(found)
    return f'<p class="lk-note">{text(said)}.</p>' if said else ""


def sorted_calls(calls: Calls, sort: str) -> Calls:
    """Give the calls in an order: as they press, by chance of being past, or by who it is."""
    if sort == "chance":
        return calls.some(np.argsort(np.negative(calls.chances), kind="stable"))
    if sort == "rider":
        people = calls.keepers
        by_name = sorted(range(len(calls)), key=lambda at: _by_name(people[at]))
        return calls.some(np.array(by_name, np.int64))
    return calls


def _by_name(person: Person) -> tuple[int, str]:
    """Sort people with a name first, then ids, then nobody."""
    if person.rider is None:
        return 2, ""
    return (0, person.name.casefold()) if person.name else (1, person.rider)


def heading(call: Call, words: Words) -> str:
    """Give the week a call falls into, or why it falls into none."""
    first = call.first
    if first.week:
        return f"Week of {words.formats.day(first.week)}"
    return "Past its limit by now" if first.standing == "past" else "Not read for too long to say"


def call_list(calls: Sequence[Call], asked: Asked, words: Words, say: DueWords) -> str:
    """Give the calls, in weeks where they are sorted so."""
    if asked.sort != "date":
        return _listed(calls, asked, words, say)
    groups = groupby(calls, key=lambda call: heading(call, words))
    return "".join(
        f'<h2 class="lk-title">{text(week)}</h2>{_listed(list(of), asked, words, say)}'
        for week, of in groups
    )


def _listed(calls: Sequence[Call], asked: Asked, words: Words, say: DueWords) -> str:
    return f'<ol class="lk-calls">{"".join(_call(c, asked, words, say) for c in calls)}</ol>'


def _call(call: Call, asked: Asked, words: Words, say: DueWords) -> str:
    bikes = "".join(_bike(bike, asked, words, say) for bike in call.bikes)
    return f'<li class="lk-call"><h3>{text(_who(call.keeper))}</h3>{bikes}{_message(call)}</li>'


def _who(person: Person) -> str:
    return capital(person_words(person)) if person.rider is None else person_words(person)


def _bike(bike: DueBike, asked: Asked, words: Words, say: DueWords) -> str:
    parts = "".join(_part(part, say) for part in bike.parts)
    name = made(bike.make, bike.model) or "make not known"
    seen = f"{_seen(bike)} {words.formats.day(bike.last_seen_at)}"
    ridden = bike.rider.rider not in (None, bike.keeper.rider)
    rider = f", ridden by {person_words(bike.rider)}" if ridden else ""
    return (
        f'<div class="lk-owed"><a href="{text(asked.of_day("bike", bike.bike))}" target="_self">'
        f"{markup.tag_plate(bike.bike)}</a><p>{text(name)}<small>{text(seen + rider)}"
        f'<a href="{text(asked.of_day("wear", bike.bike))}" target="_self">its wear</a>'
        f'</small></p><ul class="lk-matters">{parts}</ul></div>'
    )


def _seen(bike: DueBike) -> str:
    return "last entry" if bike.jobs else "not seen since"


def _part(part: DuePart, say: DueWords) -> str:
    what = capital(f"{part.place}, {made(part.make, part.model) or 'make not noted'}")
    why = f"{say.reading(part)}, {say.limit(part)}; {say.when(part)} ({say.sure(part)})"
    return (
        f'<li>{_mark(part)}<span class="lk-what">{text(what)}</span>'
        f'<span class="lk-why">{text(why)}</span></li>'
    )


def _mark(part: DuePart) -> str:
    kind, said = MARKS[part.standing]
    return markup.marked(kind, "past limit" if part.was_past else said)


def _message(call: Call) -> str:
    if call.message is None:
        return ""
    rows = call.message.count("\n") + 2 + len(call.message) // 90
    return (
        '<details class="lk-message"><summary>The message, ready to copy</summary>'
        f'<textarea readonly rows="{rows}" aria-label="Message">{text(call.message)}</textarea>'
        f"{_send(call.keeper, call.message)}</details>"
    )


def _send(person: Person, message: str) -> str:
    """Give links that open the message in the mail or text program of this machine."""
    links = []
    if person.email:
        links.append((f"mailto:{quote(person.email)}?body={quote(message)}", "Write it as a mail"))
    if person.phone:
        number = quote(person.phone.replace(" ", ""))
        links.append((f"sms:{number}?body={quote(message)}", "Write it as a text"))
    made_links = "".join(f'<a href="{text(where)}">{words}</a>' for where, words in links)
    return f'<p class="lk-send">{made_links}</p>' if links else ""


def bench(bikes: Sequence[DueBike], asked: Asked, words: Words, say: DueWords) -> str:
    """Give the bikes that have a job open: told to the mechanic, not called about."""
    if not bikes:
        return ""
    items = "".join(
        f'<li class="lk-call"><h3>{text(_jobs(bike, words))}</h3>'
        f"{_bike(bike, asked, words, say)}</li>"
        for bike in bikes
    )
    note = "They are in the shop now: tell the mechanic, do not call."
    return markup.section("On the bench", f'<ol class="lk-calls">{items}</ol>', note)


def _jobs(bike: DueBike, words: Words) -> str:
    return "; ".join(
        f"Job {job.job}, booked in {words.formats.day(job.opened_at)}" for job in bike.jobs
    )


def note(asked: Asked) -> str:
    """Give what a due date rests on."""
    said = (
        "Every date is an estimate: from what was read, how such parts usually wear, and how far "
        "each bike is usually ridden. In brackets: eight times in ten it lies between these days. "
        f"A part is here where it is more likely past its limit than not, or reaches it within "
        f"{asked.within_days} days."
    )
    return f'<p class="lk-note">{text(said)}</p>'


def caution(found: DueList) -> str:
    """Give the caution, where anything due may decide whether somebody gets hurt."""
    if found.calls.decides_safety or found.bench.decides_safety:
        return f'<p class="lk-caution">{text(CAUTION)}</p>'
    return ""


def counted(found: DueList, number: Callable[[int], str]) -> tuple[str, dict[str, str]]:
    """Give the page's finding and its facts."""
    calls = found.calls
    facts = {
        "Past a limit by now": number(calls.standings.count("past")),
        "Not read for too long": number(calls.standings.count("unclear")),
        "Coming": number(calls.standings.count("coming")),
        "May be written to": number(sum(keeper.may_contact for keeper in calls.keepers)),
        "On the bench": number(len(found.bench)),
    }
    noun = "call" if len(calls) == 1 else "calls"
    title = f"{number(len(calls))} {noun} to make" if calls else "Nobody to call"
    return title, facts
