"""The other parts of a bike's page as HTML: who it is, what is fitted and set, its readings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from dashboard import markup
from dashboard.answer import figure_of, place_of
from dashboard.data import Bike, Found
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.queries import ShopSummary
from ledger.view import BikeView, FittedPart, Reading, Setting


def identity(bike: Bike, view: BikeView, rider: str, words: Words) -> str:
    """Give the head of the page: which bike this is, and how it stands as at the date."""
    distance = view.distance_km
    facts = {
        "Riding": words.riding(view.riding) if view.riding else "not known",
        "Distance": "not known" if distance is None else whole_km(distance, words),
        "Rider": rider,
        "In the book since": words.formats.day(bike.entries[0].occurred_at),
    }
    listed = "".join(
        f"<div><dt>{text(fact)}</dt><dd>{text(said)}</dd></div>" for fact, said in facts.items()
    )
    return (
        f'<header class="lk-identity"><h1>{text(bike.name)}</h1>{markup.tag_plate(bike.tag)}'
        f'<dl class="lk-facts">{listed}</dl></header>'
    )


def as_at_line(day: date, is_today: bool, words: Words) -> str:
    """Give the date looked at, and what it means."""
    said = words.formats.day(day) + (", today" if is_today else "")
    return (
        f'<p class="lk-asat"><span>As at <strong>{text(said)}</strong></span>'
        "<span>what was true at the end of that day</span></p>"
    )


def book_head(summary: ShopSummary, words: Words) -> str:
    """Give the head of the first page: how much the book holds and what waits in it."""
    number = words.formats.number
    facts = {
        "Bikes": summary.bikes,
        "Jobs open": summary.jobs_open,
        "Faults open": summary.faults_open,
        "Events": summary.events,
    }
    listed = "".join(
        f"<div><dt>{text(fact)}</dt><dd>{text(number(count))}</dd></div>"
        for fact, count in facts.items()
    )
    return (
        '<header class="lk-identity"><h1>Which bike?</h1>'
        f'<dl class="lk-facts">{listed}</dl></header><h2 class="lk-title">Seen last</h2>'
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


def no_readings() -> str:
    """Give what stands where the readings would."""
    said = "Nothing that is on the bike as at this date has been measured. That says nothing of it."
    return markup.section("Readings", f'<p class="lk-note">{text(said)}</p>')


def readings_head() -> str:
    """Give the title over the charts, and what their lines mean."""
    return (
        '<h2 class="lk-title">Readings against their limits</h2><p class="lk-legend">'
        "<span><i></i>limit the reading was held to</span>"
        '<span><i class="lk-fitmark"></i>part fitted</span>'
        '<span><i class="lk-datemark"></i>the date looked at</span></p>'
    )


def reading_head(reading: Reading, words: Words) -> str:
    """Give one chart's title: what it is, what was read, and its verdict in words."""
    title = capital(
        f"{place_of(reading.position, reading.point, words)}, {words.quantity(reading.quantity)}"
    )
    limit = (
        "no limit known"
        if reading.limit is None
        else f"limit {words.formats.figure(reading.limit, reading.unit)}"
    )
    said = f"{figure_of(reading, words)} on {words.formats.day(reading.measured_at)}, {limit}"
    return (
        f'<div class="lk-reading"><h3>{text(title)}</h3>{markup.verdict(reading.verdict)}'
        f"<p>{text(said)}</p></div>"
    )


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
        return '<span class="lk-unknown">found, since when not known</span>'
    distance = part.distance_since_fitted_km
    ridden = "distance not known" if distance is None else whole_km(distance, words)
    return f"<span>{text(words.formats.day(part.fitted_at))}</span><small>{text(ridden)}</small>"


def whole_km(distance: Decimal, words: Words) -> str:
    """Give a distance in whole kilometres, which is all a person looks for."""
    return words.formats.figure(distance.quantize(Decimal(1)), "km")


def fitted(parts: Sequence[FittedPart], words: Words) -> str:
    """Give what sits where, by system, with since when and how far."""
    if not parts:
        return markup.section("Fitted", '<p class="lk-note">No part is on record.</p>')
    touched = {words.system_of(part.position) for part in parts}
    systems = sorted(touched, key=words.order_of)
    tables = [_fitted_of(system, parts, words) for system in systems]
    return markup.section("Fitted", "".join(tables))


def _fitted_of(system: str, parts: Sequence[FittedPart], words: Words) -> str:
    rows = [
        (
            text(capital(words.position(part.position))),
            text(" ".join(filter(None, (part.make, part.model))) or "make not noted"),
            _since(part, words),
        )
        for part in parts
        if words.system_of(part.position) == system
    ]
    heads = ("Position", "Part", "Fitted, and ridden since")
    return markup.table(capital(words.system(system)), heads, rows)


def settings(settings_now: Sequence[Setting], words: Words) -> str:
    """Give the settings nothing has voided since."""
    note = "Later work at a position voids its settings; those are left out here."
    if not settings_now:
        return markup.section("Settings", '<p class="lk-note">None holds as at this date.</p>')
    rows = [
        (
            text(capital(place_of(item.position, item.point, words))),
            text(words.quantity(item.quantity)),
            f'<span class="lk-figure">{text(words.formats.figure(item.value, item.unit))}</span>',
            text(words.formats.day(item.set_at)),
        )
        for item in settings_now
    ]
    heads = ("Position", "Quantity", "Set to", "On")
    return markup.section("Settings", markup.table("", heads, rows), note)


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
