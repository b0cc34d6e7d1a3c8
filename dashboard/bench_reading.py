"""One reading as it is typed: a figure, two marks, or a length over links; and its draft."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from dashboard import bench_words
from dashboard.bench_form import Form, NotRead, figure
from dashboard.bench_stand import Stand
from dashboard.formats import Formats
from ledger.bench import drafts
from ledger.bench.shapes import MeasureItem

FIGURE, MARKS, LENGTH = "figure", "marks", "length"
MODES = {FIGURE: ("value",), MARKS: ("low", "high"), LENGTH: ("value",)}
"""How a reading is entered, and the fields that hold its figures."""
TYPED = {FIGURE: "", MARKS: "", LENGTH: "mm"}
"""The unit a figure is typed in, where it is not the reading's own."""
Amounts = dict[str, dict[str, str] | None]


def usual_mode(item: MeasureItem) -> str:
    """Give how this was entered last."""
    if (item.last_entered or {}).get("over_pitches"):
        return LENGTH
    return MARKS if item.is_by_marks else FIGURE


def mode_of(stand: Stand, item: MeasureItem) -> str:
    """Give how it is entered now: as the address asks, else as last time."""
    asked = stand.asked.form
    is_known = asked in MODES and (asked != LENGTH or item.quantity == "elongation")
    return asked if is_known else usual_mode(item)


def marks_known(item: MeasureItem) -> list[Decimal]:
    """Give the marks a go/no-go gauge here is likely to have: the limit's, and those used last.

    In the unit of the entry, smallest first; none where the limit is in another unit.
    """
    found: set[Decimal] = set()
    sign = bench_words.unit(item.unit)
    if item.limit is not None and bench_words.unit(item.limit.unit) == sign:
        found |= {one for one in (item.limit.watch, item.limit.due) if one is not None}
    for of in MODES[MARKS]:
        entered = (item.last_entered or {}).get(of)
        if entered and bench_words.unit(entered["unit"]) == sign:
            found.add(Decimal(entered["value"]))
    return sorted(one.normalize() for one in found)


def chosen_marks(low: str, high: str) -> str | None:
    """Give the name of the choice that two typed marks are; None where they are none."""
    try:
        plain = [Decimal(figure(one, "Mark")) if one else None for one in (low, high)]
    except NotRead:
        return None
    return "|".join("" if one is None else f"{one.normalize():f}" for one in plain)


def mark_choices(marks: Sequence[Decimal], formats: Formats) -> dict[str, str]:
    """Give what such a gauge can say, as choices with their words."""
    if not marks:
        return {}
    said = [formats.number(one) for one in marks]
    codes = [f"{one:f}" for one in marks]
    found = {f"|{codes[0]}": f"{said[0]} does not go in"}
    for place in range(len(marks) - 1):
        words = f"{said[place]} goes in, {said[place + 1]} does not"
        found[f"{codes[place]}|{codes[place + 1]}"] = words
    return {**found, f"{codes[-1]}|": f"{said[-1]} goes in"}


def draft_of(form: Form, item: MeasureItem, mode: str) -> drafts.Draft:
    """Give the reading as it is typed; raises NotRead."""
    unit = _unit(item, mode)
    amounts: Amounts = {of: _amount(form, of, "Reading", unit) for of in MODES[mode]}
    if not any(amounts.values()):
        raise NotRead("Type the reading first, or leave it out.")
    over = _over(form, unit) if mode == LENGTH else {}
    plate = form.value("plate")
    return drafts.measured(
        form.stand.hand,
        form.id,
        item.position,
        item.quantity,
        **amounts,
        **over,
        point=form.text("point") or item.point,
        gauge=form.value("gauge"),
        limit=_amount(form, "limit", "Maker's limit", item.canonical_unit),
        has_backing_plate=None if plate is None else plate == "with",
        note=form.text("note") or None,
    )


def _unit(item: MeasureItem, mode: str) -> str:
    """Give the unit of the figures: lengths stay lengths, and a share of the pitch one."""
    if mode == LENGTH:
        return TYPED[LENGTH]
    return item.canonical_unit if usual_mode(item) == LENGTH else item.unit


def _amount(form: Form, of: str, label: str, unit: str) -> dict[str, str] | None:
    words = form.text(of)
    return drafts.amount(figure(words, label), unit) if words else None


def _over(form: Form, unit: str) -> drafts.Draft:
    """Give over how many links, and the length when new that is the reading's own zero."""
    pitches = form.text("pitches")
    if not pitches.isdecimal() or not 2 <= int(pitches) <= 200:
        raise NotRead("Over so many links: a whole number from 2 to 200, such as 20.")
    return {
        "over_pitches": int(pitches),
        "length_when_new": _amount(form, "zero", "When new", unit),
    }
