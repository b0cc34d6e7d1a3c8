"""Amounts as people type them: `72 psi`, `0,5 mm`, `12 1/16 in`."""

from __future__ import annotations

import re
from fractions import Fraction

from ledger.events.types import Amount
from ledger.vocabulary.units import UnitProblem, rounded

_GLYPHS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_AMOUNT = re.compile(
    r"(?P<sign>[-+−]?)\s*"
    r"(?:(?:(?P<whole>\d{1,12})[\s-]+)?(?P<over>\d{1,6})/(?P<under>\d{1,6})"
    r"|(?P<figure>\d[\d ]*(?:[.,]\d+)*|[.,]\d+))"
    r"\s*(?P<unit>.*)"
)
_RIGHT = "Write a figure and its unit, such as '72 psi', '0.5 mm' or '12 1/16 in'"


def _fraction(found: re.Match[str]) -> Fraction:
    if int(found["under"]) == 0:
        raise UnitProblem("a fraction over zero", _RIGHT)
    return int(found["whole"] or 0) + Fraction(int(found["over"]), int(found["under"]))


def _decimal(figure: str) -> str:
    """Give a decimal figure with a point, whichever mark it was typed with."""
    plain = figure.replace(" ", "")
    if "," in plain and "." in plain:
        point = max(",.", key=plain.rfind)
        plain = plain.replace("." if point == "," else ",", "")
    if plain.count(",") > 1 or plain.count(".") > 1:
        raise UnitProblem(f"{figure!r} has more than one decimal mark", _RIGHT)
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", figure):
        both = f"{figure.replace(',', '.')} or {figure.replace(',', '')}"
        raise UnitProblem(f"{figure!r} can be read in two ways", f"Write {both}")
    return plain.replace(",", ".")


def _text(figure: Fraction) -> str:
    exact = rounded(figure, 9)
    if Fraction(exact) != figure:
        raise UnitProblem(f"{figure} has no exact decimal form", "Write it as a decimal figure")
    return f"{exact.normalize():f}"


def parse_amount(text: str) -> Amount:
    """Give the amount somebody typed, its value as exact decimal text and its unit as typed.

    Fractions of an inch and decimal commas are understood. Raises UnitProblem for text that is
    no figure, has no unit, or can be read in two ways.
    """
    typed = re.sub("[½¼¾⅛⅜⅝⅞]", lambda glyph: f" {_GLYPHS[glyph[0]]}", text).strip()
    found = _AMOUNT.fullmatch(typed)
    if found is None:
        raise UnitProblem(f"{text!r} is not a figure", _RIGHT)
    figure = _fraction(found) if found["over"] else Fraction(_decimal(found["figure"]))
    unit = found["unit"].strip()
    if not unit:
        raise UnitProblem(f"{text.strip()!r} has no unit", _RIGHT)
    if len(unit) > 16 or re.search(r"\d[.,]?\d|^[.,/]|\s\d", unit) or figure >= 10**12:
        raise UnitProblem(f"{text!r} is not a figure with a unit", _RIGHT)
    return Amount(value=_text(-figure if found["sign"] in ("-", "−") else figure), unit=unit)
