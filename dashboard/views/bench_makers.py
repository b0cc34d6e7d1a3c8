"""What a maker says of a part or a setting, entered with the work: limits, and a range."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dashboard import bench_form, bench_words
from dashboard.bench_form import Form, figure
from ledger.bench import drafts
from ledger.bench.measuring import limited_at

RANGE = {"maker_low": "Maker's least", "maker_high": "Maker's most"}


def fields_of(form: Form, step: str) -> dict[str, tuple[str, str]]:
    """Give the fields a maker's figures go to, each with its label and the unit it is in."""
    words = form.stand.words
    if step == "adjust" and form.answer("quantity"):
        unit = words.vocabulary.quantities[form.answer("quantity")].unit
        return {of: (f"{said}, {bench_words.unit(unit)}", unit) for of, said in RANGE.items()}
    if step != "fit" or not form.value("position"):
        return {}
    found = {}
    for quantity in limited_at(words.vocabulary, form.value("position")):
        unit = words.vocabulary.quantities[quantity].unit
        most = "highest " if quantity == "pressure" else "limit of "
        label = f"Maker's {most}{words.quantity(quantity)}, {bench_words.unit(unit)}"
        found[f"limit {quantity}"] = (label, unit)
    return found


def draw(form: Form, step: str, keep: Callable[[], None]) -> None:
    """Draw the lines for them."""
    for of, (label, _) in fields_of(form, step).items():
        bench_form.line(form, of, label, keep, is_number=True)


def read(form: Form, step: str) -> dict[str, Any]:
    """Give them as the payload has them; raises NotRead."""
    typed = {
        of: drafts.amount(figure(form.text(of), label), unit)
        for of, (label, unit) in fields_of(form, step).items()
        if form.text(of)
    }
    if step != "fit":
        return typed
    limits = [
        {"quantity": of.removeprefix("limit "), "limit": limit} for of, limit in typed.items()
    ]
    return {"limits": limits} if limits else {}
