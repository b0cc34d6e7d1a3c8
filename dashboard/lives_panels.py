"""How long parts last, in words: the findings over the curves, and what they rest on."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard import wear_words as say
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.figures.part_lives import FamilyLives, ModelLives

FEWEST_WORN = 5
"""Parts that must have been seen worn before the lives of a model are drawn."""


def can_be_told(one: ModelLives) -> bool:
    """Say whether enough of a model's parts were seen worn for a curve to say something."""
    return one.group.count_worn >= FEWEST_WORN


def lives_title(one: ModelLives, words: Words) -> str:
    """Give what a model's lives say: by when half of them are worn."""
    position, model = one.group.group
    name = f"{capital(words.position(position or ''))}, {model or 'model not noted'}"
    half = one.group.curve.median()
    if half is None:
        return f"{name}: more than half outlast what was seen"
    return f"{name}: half are worn by {words.formats.rough(half, one.unit)}"


def lives_line(one: ModelLives, words: Words) -> str:
    """Give how much a model's curve rests on, and what the law says."""
    formats, law = words.formats, one.group.weibull
    said = f"{one.group.count_worn} of {one.group.count_lives} seen worn"
    if law is None:
        return f"{said}; too few, or too alike, for a law"
    low, high = (formats.rough(end) for end in law.shape_interval)
    shape = formats.rough(law.shape)
    return f"{said}; law of shape {shape} ({low} to {high}), {_ageing(law.shape_interval)}"


def _ageing(interval: tuple[float, float]) -> str:
    low, high = interval
    if low > 1:
        return "so they wear out"
    return "so they fail early" if high < 1 else "wearing out or chance: too few to tell"


def watched(one: ModelLives, words: Words) -> str:
    """Give how many parts were still watched at lengths of use, under their curve."""
    cells = "".join(
        f"<div><dt>{text(say.exposure(each.at, one.unit, words.formats))}</dt>"
        f"<dd>{text(words.formats.number(each.count))}</dd></div>"
        for each in one.watched
    )
    return f'<dl class="lk-watched" aria-label="Parts still watched">{cells}</dl>'


def lives_head(found: FamilyLives, unit: str, words: Words) -> str:
    """Give the title over the lives, and whose lives they are."""
    counted = [one for one in found.models if can_be_told(one)]
    few = [one for one in found.models if not can_be_told(one)]
    what = "kilometres" if unit == "km" else "days"
    number = words.formats.number
    unknown, unused = number(found.count_not_from_new), number(found.count_never_used)
    said = (
        f"Parts fitted new, in {what} of use. Worn is the first reading past the limit, or taken "
        "off as worn; in between nobody looked, so each life is known within bounds. "
        f"Not counted: {unknown} found or second hand, whose beginning nobody knows, and "
        f"{unused} not ridden since."
    )
    legend = (
        '<p class="lk-legend"><span><i class="lk-stepmark"></i>share still good, with its 95 % '
        'band</span><span><i class="lk-lawmark"></i>Weibull law, with its 95 % band</span>'
        "<span>below: parts still watched</span></p>"
    )
    legend = legend if counted else ""
    said += "" if found.models else " So no life is known from its beginning."
    notes = f'<p class="lk-note">{text(said)}</p>{_too_few(few, words)}'
    return f'<h2 class="lk-title">How long they last</h2>{notes}{legend}'


def _too_few(few: Sequence[ModelLives], words: Words) -> str:
    """Name the models of which too few were seen worn to draw anything."""
    if not few:
        return ""
    named = "; ".join(
        f"{words.position(one.group.group[0] or '')}, {one.group.group[1] or 'model not noted'} "
        f"({one.group.count_worn} of {one.group.count_lives})"
        for one in few
    )
    said = f"Seen worn too seldom to say (fewer than {FEWEST_WORN}): {named}."
    return f'<p class="lk-note">{text(said)}</p>'
