"""Small pieces of HTML of the bench page; text from the book is escaped here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dashboard.markup import as_words, capital, shape, tag_plate, text, verdict
from dashboard.words import Words
from ledger.bench.shapes import BikeAtBench, FoundBike, Holder, StandingNote


def printed(tag: str) -> str:
    """Give a tag as it is printed."""
    return f"{tag[:4]} {tag[4:]}"


def refused(words: str) -> str:
    """Give why nothing was recorded, beside the field it is about."""
    return f'<p class="lk-refused" role="alert">{shape("due")}<span>{text(words)}</span></p>'


def wild(words: str) -> str:
    """Give that an address asks for what is not there."""
    return f'<p class="lk-told-line" role="status">{text(words)}</p>'


def heard(words: str) -> str:
    """Give what was just recorded."""
    said = f"<span>{text(capital(words))}</span>"
    return f'<p class="lk-in-book" role="status"><b>In the book</b> {said}</p>'


def item(kicker: str, title: str, mark: str, small: str = "") -> str:
    """Give the head of the one open item; `mark` tells the page's script when it is another."""
    under = f'<p class="lk-item-small">{text(small)}</p>' if small else ""
    return (
        f'<header class="lk-item" data-item="{text(mark)}" tabindex="-1">'
        f'<p class="lk-kicker">{text(kicker)}</p>'
        f"<h1>{text(capital(title))}</h1>{under}</header>"
    )


def beside(facts: Iterable[tuple[str, str, str]]) -> str:
    """Give what stands beside an entry: its name, the figure, and a smaller line under it."""
    rows = "".join(
        f"<div><dt>{text(name)}</dt><dd>{text(said)}{_small(small)}</dd></div>"
        for name, said, small in facts
        if said
    )
    return f'<dl class="lk-beside">{rows}</dl>'


def _small(words: str) -> str:
    return f"<small>{text(words)}</small>" if words else ""


def notes(found: Sequence[tuple[str, StandingNote]], words: Words) -> str:
    """Give the standing notes of a position, by the name it has."""
    if not found:
        return ""
    said = "".join(
        f"<li><b>{text(capital(place))}</b> {text(note.text or 'a note whose key is gone')}"
        f"<small>{text(note.actor)}, {text(words.formats.day(note.noted_at))}</small></li>"
        for place, note in found
    )
    return f'<ul class="lk-standing" aria-label="Standing notes">{said}</ul>'


def judged(word: str | None, told: Sequence[str], *, is_refused: bool = False) -> str:
    """Give the verdict on what is typed, and what recording it would warn of or refuse."""
    said = "".join(f"<p>{text(one)}</p>" for one in told)
    mark = "" if is_refused else verdict(word)
    return f'<div class="lk-judged" role="status">{mark}{said}</div>'


def listed(title: str, rows: Sequence[str], kind: str = "") -> str:
    """Give short lines under a small heading; nothing where there are none."""
    if not rows:
        return ""
    lines = "".join(f"<li>{text(row)}</li>" for row in rows)
    return f'<div class="lk-lines {kind}"><h2>{text(title)}</h2><ul>{lines}</ul></div>'


def rows(found: Sequence[tuple[str, str, str | None]]) -> str:
    """Give name, what is said, and a verdict, one line each."""
    lines = "".join(
        f"<li><span>{text(capital(name))}</span><span>{text(said)}</span>"
        f"{verdict(word) if word is not None else '<i></i>'}</li>"
        for name, said, word in found
    )
    return f'<ul class="lk-rows-of">{lines}</ul>'


def caution(words: str) -> str:
    """Give a caution in one line."""
    return f'<p class="lk-bench-caution">{text(words)}</p>'


def note(words: str) -> str:
    """Give a remark."""
    return f'<p class="lk-note">{text(words)}</p>'


def bike_head(bike: BikeAtBench, name: str, small: str) -> str:
    """Give which bike is on the stand."""
    plates = "".join(tag_plate(tag) for tag in (bike.tag, *bike.other_tags))
    return (
        f'<a class="lk-stand" href="bike?tag={text(bike.tag)}" target="_self">'
        f'<span class="lk-plates">{plates}</span>'
        f'<span class="lk-which"><b>{text(name)}</b><small>{text(small)}</small></span></a>'
    )


def clock(minutes: str, said: str, seconds: int | None = None) -> str:
    """Give the minutes of whoever works on this job; with `seconds`, the page counts on from it."""
    going = "" if seconds is None else f' data-seconds="{seconds}"'
    return (
        f'<p class="lk-clock-now"><b{going}>{text(minutes)}</b> min<small>{text(said)}</small></p>'
    )


def holders(others: Sequence[Holder], words: Words) -> str:
    """Give who else is at this bike, and where."""
    said = []
    for one in others:
        at = ", ".join(words.position(position) for position, _ in one.at[:3])
        where = f" at {at}" if at else ""
        clock = "clock runs" if one.running_since else f"last {words.formats.time(one.last_at)}"
        said.append(
            f"<li><b>{text(one.mechanic)}</b>{text(where)}<small>{text(clock)}</small></li>"
        )
    return (
        f'<ul class="lk-holders" aria-label="Also at this bike">{"".join(said)}</ul>'
        if said
        else ""
    )


def bike_label(one: FoundBike, name: str, small: str) -> str:
    """Give one bike of a search as what is pressed: its tag, its name, what else is known."""
    tags = ", ".join(map(printed, (one.tag, *one.other_tags)))
    bench = " · **on the bench**" if one.open_job else ""
    return f"`{tags}` **{as_words(name)}**{bench}  \n{as_words(small)}"


def photo(picture: str, said: str, caption: str) -> str:
    """Give one small photo (JPEG as base64) with what it is of; empty where it cannot be shown."""
    words = f"{said}: {caption}" if caption else said
    image = (
        f'<img src="data:image/jpeg;base64,{picture}" alt="{text(words)}">'
        if picture
        else '<span class="lk-gone">Not shown: its key or its file is gone</span>'
    )
    return f"<figure>{image}<figcaption>{text(words)}</figcaption></figure>"


def entry(words: str, small: str) -> str:
    """Give one entry of the job."""
    return f'<p class="lk-entry">{text(words)}<small>{text(small)}</small></p>'
