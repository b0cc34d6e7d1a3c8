"""The wear page's words and tables as HTML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from urllib.parse import quote, urlencode

from dashboard import markup
from dashboard import wear_words as say
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.cli.words import CAUTION, needs_caution
from ledger.figures.wear import GaugeFigure, PartWear

FAMILY, SERIES, TAG, AS_AT = "family", "series", "tag", "as_at"


def address(as_at: str = "", **asked: str) -> str:
    """Give the address of the wear page that shows what is asked for."""
    given = {name: value for name, value in {**asked, AS_AT: as_at}.items() if value}
    return f"wear?{urlencode(given, quote_via=quote)}" if given else "wear"


def waiting(title: str, doing: str = "Working out how every part wears…") -> str:
    """Give what stands there while all of a book's wear is worked out: the page, and what it does.

    It shows where that takes longer than a blink.
    """
    return (
        f'<div class="lk-wait"><header class="lk-identity"><h1>{text(title)}</h1></header>'
        f'<p class="lk-note" role="status">{text(doing)}</p></div>'
    )


def as_at_note(day: date | None, words: Words) -> str:
    """Give the day a page is as at; nothing for now."""
    if day is None:
        return ""
    said = f"As at the end of {words.formats.day(day)}, from what was measured by then."
    return f'<p class="lk-note">{text(said)}</p>'


def path(*steps: tuple[str, str]) -> str:
    """Give where the page stands below others, as (words, address) from the top."""
    links = "".join(
        f'<a href="{text(where)}" target="_self">{text(words)}</a>' for words, where in steps
    )
    return f'<nav class="lk-path" aria-label="Above this page">{links}</nav>'


def facts(title: str, named: Mapping[str, str]) -> str:
    """Give the head of a page with its facts beside one another."""
    listed = "".join(
        f"<div><dt>{text(fact)}</dt><dd>{text(said)}</dd></div>" for fact, said in named.items()
    )
    return (
        f'<header class="lk-identity"><h1>{text(title)}</h1>'
        f'<dl class="lk-facts">{listed}</dl></header>'
    )


def choices(links: Sequence[tuple[str, str]], label: str) -> str:
    """Give links side by side to choose one from, as (words, address)."""
    items = "".join(
        f'<li><a href="{text(where)}" target="_self">{text(words)}</a></li>'
        for words, where in links
    )
    return f'<nav aria-label="{text(label)}"><ul class="lk-choices">{items}</ul></nav>'


def card_head(title: str, said: str, mark: str = "", level: int = 3) -> str:
    """Give a chart's title, which says the finding, and a line below it.

    `level` is 2 where the chart belongs to the page itself, 3 under another title.
    """
    head = f"<h{level}>{text(title)}</h{level}>"
    return f'<div class="lk-reading">{head}{mark}<p>{text(said)}</p></div>'


def part_list(
    parts: Sequence[PartWear], families: Mapping[str, str], words: Words, as_at: str
) -> str:
    """Give parts as links to their own wear, with the chance of being past the limit."""
    items = []
    for part in parts:
        where = address(as_at, family=families[part.series], series=part.series, tag=part.bike)
        name = f"{capital(say.part_name(part, words))}, {say.model_name(part)}"
        last = say.read(part.last, part.unit, words.formats)
        small = f"last read {last} on {words.formats.day(part.last.measured_at)}"
        items.append(
            f'<li><a href="{text(where)}" target="_self">{markup.tag_plate(part.bike)}'
            f"<span>{text(name)}<small>{text(small)}</small></span>{say.chance_mark(part)}</a></li>"
        )
    return f'<ul class="lk-list lk-parts">{"".join(items)}</ul>'


def caution(parts: Sequence[PartWear], words: Words) -> str:
    """Give the caution, where a figure shown may decide whether somebody gets hurt."""
    if any(needs_caution(words.vocabulary, part.position, part.quantity) for part in parts):
        return f'<p class="lk-caution">{text(CAUTION)}</p>'
    return ""


def part_facts(part: PartWear, words: Words, day: str) -> str:
    """Give what is foretold of a part, figure by figure."""
    formats, floor = words.formats, say.floor_of(part)
    use = say.exposure(part.exposure_now or 0.0, part.exposure_unit, formats)
    last = part.last
    rows = [
        ("Last read", f"{say.read(last, part.unit, formats)} on "
         f"{formats.day(last.measured_at)}, at "
         f"{say.exposure(last.exposure, part.exposure_unit, formats)}"),
        ("Limit", _limit(part, words)),
        ("Wears", _rate(part, words)),
        (f"By {day}", _now(part, words, use, floor)),
    ]  # fmt: skip
    listed = "".join(
        f"<div><dt>{text(name)}</dt><dd>{text(what)}</dd></div>" for name, what in rows
    )
    notes = "".join(f'<p class="lk-note">{text(said)}</p>' for said in say.remarks(part))
    bracket = "In brackets: eight times in ten it lies between these. "
    conditional = f'<p class="lk-note">{bracket}An estimate from readings, not a measurement.</p>'
    return f'<dl class="lk-told">{listed}</dl>{notes}{conditional}'


def _limit(part: PartWear, words: Words) -> str:
    if part.limit is None:
        return "no limit known"
    side = "or more" if part.direction > 0 else "or less"
    return f"{words.formats.rough(part.limit, part.unit, 4)} {side}"


def _rate(part: PartWear, words: Words) -> str:
    if part.rate is None:
        return "too little is known of such parts to say"
    return say.span(part.rate, say.per(part.exposure_unit, part.unit), words.formats)


def _now(part: PartWear, words: Words, use: str, floor: float | None) -> str:
    if part.now is None:
        return "too little is known to say"
    figure = say.span(part.now, part.unit, words.formats, floor)
    return f"{figure}, after about {use}"


def readings_table(part: PartWear, errors: Mapping[str, float], words: Words) -> str:
    """Give a part's readings, newest first, each with its gauge and what that errs by."""
    rows = [
        (
            text(words.formats.day(one.measured_at)),
            text(say.exposure(one.exposure, part.exposure_unit, words.formats)),
            f'<span class="lk-figure">{text(say.read(one, part.unit, words.formats))}</span>',
            _gauge(one.gauge, errors, part.unit, words)
            + (f'<small class="lk-unseen">{text(one.flag)}</small>' if one.flag else ""),
        )
        for one in reversed(part.readings)
    ]
    return markup.table("", ("Measured", "Use", "Figure", "With"), rows)


def _gauge(gauge: str | None, errors: Mapping[str, float], unit: str, words: Words) -> str:
    error = errors.get(gauge or "not named")
    named = text(gauge or "gauge not noted")
    if not error:
        return named
    said = f"one reading errs by about {words.formats.rough(error, unit)}"
    return f"{named}<small>{text(said)}</small>"


def gauges(found: Sequence[GaugeFigure], units: Mapping[str, str], words: Words) -> str:
    """Give how each gauge errs at each family, measured from the book."""
    note = (
        "What a gauge adds is against the other gauges and the figure of a new part, none taken "
        "as right; plus or minus is one standard deviation. An error is that of one reading."
    )
    if not found:
        nothing = '<p class="lk-note">Too few readings to measure any gauge by.</p>'
        return markup.section("How the gauges err", nothing)
    rows = [
        (
            text(one.gauge),
            text(capital(say.family_name(one.family, words))),
            f'<span class="lk-figure">{text(words.formats.rough(one.error, units[one.family]))}'
            "</span>",
            text(_bias(one, units[one.family], words)),
            text(words.formats.number(one.count)),
        )
        for one in found
    ]
    heads = ("Gauge", "At", "Error of one reading", "Adds", "Readings")
    table = markup.table("", heads, rows).replace("lk-table", "lk-table lk-headed", 1)
    return markup.section("How the gauges err", table, note)


def _bias(one: GaugeFigure, unit: str, words: Words) -> str:
    if not one.bias and not one.gain:
        return "nothing to compare with"
    sign = "+" if one.bias > 0 else "\u2212"
    bias = f"{sign}{words.formats.rough(abs(one.bias), unit)}"
    if one.bias_error:
        bias += f" \u00b1 {words.formats.rough(one.bias_error)}"
    if not one.gain:
        return bias
    way = "more" if one.gain > 0 else "less"
    return f"{bias}, and shows {words.formats.rough(abs(100 * one.gain))}\u00a0% {way} wear"


def left_out(
    parts: Sequence[PartWear], families: Mapping[str, str], words: Words, as_at: str
) -> str:
    """Give the readings the figures do not rest on, each with why."""
    rows = []
    for part in parts:
        where = address(as_at, family=families[part.series], series=part.series, tag=part.bike)
        for one in part.readings:
            if one.flag:
                name = f"{part.bike}, {say.part_name(part, words)}"
                rows.append(
                    (
                        f'<a href="{text(where)}" target="_self">{text(name)}</a>',
                        text(words.formats.day(one.measured_at)),
                        f'<span class="lk-figure">'
                        f"{text(say.read(one, part.unit, words.formats))}</span>",
                        text(capital(one.flag)),
                    )
                )
    note = "They stay in the book and in every history; no rate or date here rests on them."
    if not rows:
        return markup.section("Readings left out", '<p class="lk-note">No reading had to be.</p>')
    heads = ("Part", "Measured", "Figure", "Why")
    table = markup.table("", heads, rows).replace("lk-table", "lk-table lk-headed lk-prose", 1)
    return markup.section("Readings left out", table, note)
