"""The other parts of a bike's page as HTML: who it is, what is fitted and set, its readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal

from dashboard import markup
from dashboard.data import Bike, Found
from dashboard.entries import last_distance, last_looks
from dashboard.lines import named_as
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.view import BikeView, FittedPart, Setting


def identity(bike: Bike, view: BikeView, rider: str, words: Words) -> str:
    """Give the head of the page: which bike this is, and how it stands as at the date."""
    facts = {
        "Riding": words.riding(view.riding) if view.riding else "not known",
        "Distance": _distance(bike, view, words),
        "Rider": rider,
        "In the book since": words.formats.day(bike.entries[0].occurred_at),
    }
    listed = "".join(
        f"<div><dt>{text(fact)}</dt><dd>{text(said)}</dd></div>" for fact, said in facts.items()
    )
    plates = "".join(markup.tag_plate(tag) for tag in (bike.tag, *bike.other_tags))
    return (
        f'<header class="lk-identity"><h1>{text(bike.name)}</h1>{plates}{_joined(bike)}'
        f'<dl class="lk-facts">{listed}</dl></header>'
    )


def _joined(bike: Bike) -> str:
    return '<p class="lk-joined">joined: one bike</p>' if bike.other_tags else ""


def _distance(bike: Bike, view: BikeView, words: Words) -> str:
    if view.distance_km is None:
        return "not known"
    last = last_distance(bike.entries, view.as_at)
    when = (
        f", {last.data.get('source', 'read')} {words.formats.day(last.occurred_at)}" if last else ""
    )
    return f"{whole_km(view.distance_km, words)}{when}"


def wear_link(tag: str, as_at: str) -> str:
    """Give the link from a bike to how its parts wear, as at the same day."""
    where = f"wear?tag={tag}" + (f"&as_at={as_at}" if as_at else "")
    words = "How its parts wear, and when they are due"
    return f'<p class="lk-onward"><a href="{text(where)}" target="_self">{words}</a></p>'


def bench_choice(line: str, assumes: str) -> str:
    """Give the choice over a worn chain in one line, with what it assumes behind it."""
    behind = (
        f'<details class="lk-message"><summary>What this assumes</summary>'
        f'<p class="lk-note">{text(assumes)}</p></details>'
        if assumes
        else ""
    )
    return (
        '<section class="lk-bench" aria-label="The choice over the chain">'
        f"<p>{text(line)}</p>{behind}</section>"
    )


def as_at_line(day: date, is_today: bool, words: Words) -> str:
    """Give the date looked at, and what it means."""
    said = words.formats.day(day) + (", today" if is_today else "")
    return (
        f'<p class="lk-asat"><span>As at <strong>{text(said)}</strong></span>'
        "<span>what was true at the end of that day</span></p>"
    )


def bike_list(found: Sequence[Found], words: Words) -> str:
    """Give bikes as a list of links to their pages."""
    items = "".join(
        f'<li><a href="bike?tag={text(bike.tag)}" target="_self">{markup.tag_plate(bike.tag)}'
        f"<span>{text(bike.name)}</span><small>{text(_seen(bike, words))}</small></a></li>"
        for bike in found
    )
    return f'<ul class="lk-list">{items}</ul>'


def _seen(bike: Found, words: Words) -> str:
    return f"last seen {words.formats.day(bike.seen_at)}" if bike.seen_at else ""


def counted_events(shown: int, matching: int, whole: int, words: Words) -> str:
    """Give how many events are listed, of how many, newest first."""
    number = words.formats.number
    if whole == 1:
        return '<p class="lk-note">One event so far.</p>'
    said = f"{number(whole)} events"
    if matching < whole:
        said = f"{number(matching)} of {number(whole)} events match"
    if shown < matching:
        said += f", the {number(shown)} around this date shown"
    return f'<p class="lk-note">{text(said)}, newest first. Struck entries stay readable.</p>'


def _since(part: FittedPart, words: Words) -> str:
    if part.fitted_at is None:
        return "<span>found on it</span><small>since when not known</small>"
    distance = part.distance_since_fitted_km
    ridden = "distance not known" if distance is None else whole_km(distance, words)
    return f"<span>{text(words.formats.day(part.fitted_at))}</span><small>{text(ridden)}</small>"


def whole_km(distance: Decimal, words: Words) -> str:
    """Give a distance in whole kilometres, which is all a person looks for."""
    return words.formats.figure(distance.quantize(Decimal(1)), "km")


def fitted(view: BikeView, bike: Bike, words: Words) -> str:
    """Give what sits where, by system, with since when and how far, and what nobody looked at."""
    parts, looks = view.fitted, last_looks(bike.entries, view.as_at)
    if not parts:
        return markup.section("Fitted", '<p class="lk-note">No part is on record.</p>')
    touched = {words.system_of(part.position) for part in parts}
    systems = sorted(touched, key=words.order_of)
    tables = [_fitted_of(system, parts, looks, words) for system in systems]
    return markup.section("Fitted", "".join(tables))


def _fitted_of(
    system: str, parts: Sequence[FittedPart], looks: Mapping[str, datetime], words: Words
) -> str:
    rows = [
        (
            text(capital(words.position(part.position))),
            _part(part, looks.get(part.position)),
            _since(part, words),
        )
        for part in parts
        if words.system_of(part.position) == system
    ]
    heads = ("Position", "Part", "Fitted, and ridden since")
    return markup.table(capital(words.system(system)), heads, rows)


def _part(part: FittedPart, looked_at: datetime | None) -> str:
    """Give a part's name, and that nobody looked at it where it was found on the bike."""
    named = text(named_as(part.make, part.model) or "make not noted")
    is_unseen = part.fitted_at is None and looked_at is None
    return named + ('<small class="lk-unseen">never looked at</small>' if is_unseen else "")


def settings(settings_now: Sequence[Setting], bike: Bike, words: Words) -> str:
    """Give the settings nothing has voided since, also as entered where that was otherwise."""
    entered = {entry.event: entry.data for entry in bike.entries}
    note = "Later work at a position voids its settings; those are left out here."
    if not settings_now:
        return markup.section("Settings", '<p class="lk-note">None holds as at this date.</p>')
    rows = [
        (
            text(capital(words.place(item.position, item.point))),
            text(words.quantity(item.quantity)),
            _set_to(item, words.as_entered(entered.get(item.event, {}).get("after")), words),
            text(words.formats.day(item.set_at)),
        )
        for item in settings_now
    ]
    heads = ("Position", "Quantity", "Set to", "On")
    return markup.section("Settings", markup.table("", heads, rows), note)


def _set_to(item: Setting, as_entered: str, words: Words) -> str:
    small = f"<small>{text(as_entered)}</small>" if as_entered else ""
    figure = words.formats.figure(item.value, item.unit)
    return f'<span class="lk-figure">{text(figure)}</span>{small}'


def life_scale(days: Sequence[date], first: date, last: date, day: date) -> str:
    """Give the bike's time in the book as an engraved scale: a stroke for each day with events."""
    whole = max((last - first).days, 1)

    def stroke(at: date, kind: str, inner: str = "") -> str:
        left = 100 * (at - first).days / whole
        return f'<i class="{kind}" style="left:{left:.3f}%">{inner}</i>'

    strokes = "".join(stroke(at, "lk-stroke" if at <= day else "lk-stroke lk-later") for at in days)
    years = "".join(
        stroke(date(year, 1, 1), "lk-year", f"<b>{year}</b>")
        for year in range(first.year + 1, last.year + 1)
    )
    label = f"{len(days)} days with events"
    return f'<div class="lk-scale" role="img" aria-label="{label}">{years}{strokes}</div>'
