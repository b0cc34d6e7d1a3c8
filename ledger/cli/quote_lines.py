"""Lines of a quote as they are written on a command line, or stand in a JSON file."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.errors import UnreadableInput, WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

Line = dict[str, Any]


def read_lines(
    book: Book,
    tax: str | None,
    when: datetime | None = None,
    *,
    tier: str | None,
    labour: list[str],
    part: list[str],
    other: list[str],
    path: str | None,
) -> list[Line]:
    """Give the lines of a quote in their order; raises WrongUse and UnreadableInput.

    Tax and the tier's price are those in force at `when`, now if None.
    """
    rate = usual_tax(book, when) if tax is None else _rate(tax)
    told = [] if tier is None else [_tier_line(book, tier, when)]
    told += [_labour(book, text) for text in labour]
    told += [_part(book, text) for text in part]
    told += [_other(book, text) for text in other]
    made = [{"tax_rate": rate, **line} if rate else line for line in told]
    return made + ([] if path is None else _from_file(path))


def usual_tax(book: Book, when: datetime | None = None) -> str:
    """Give the rate of tax in force at an instant (now if None) as a fraction; empty where none."""
    from ledger.figures.terms_in_force import terms_of

    told: str | None = terms_of(book).last_told(lambda terms: terms.tax_rate, _day(book, when))
    return told or ""


def _day(book: Book, when: datetime | None) -> int:
    from ledger.figures.terms_in_force import day_number

    return day_number(book.settings.local(when or datetime.now(UTC)).date())


def _rate(text: str) -> str:
    from ledger.cli.answers import Misread, read_rate

    try:
        return read_rate(text)
    except Misread as wrong:
        raise WrongUse(f"--tax: {wrong}") from None


def _tier_line(book: Book, code: str, when: datetime | None) -> Line:
    """Give the line of a tier itself, at its price and minutes in force that day."""
    from ledger.figures.terms_in_force import terms_of

    tier = terms_of(book).tier_on(code, _day(book, when))
    if tier is None:
        known = ", ".join(book.vocabulary.tiers) or "none: the terms name no tiers"
        raise WrongUse(f"--tier: there is no tier {code!r}. The shop's are {known}.")
    if tier.price_minor is None:
        raise WrongUse(f"--tier: {code} has no price in the terms. Write it with --labour.")
    line: Line = {"line_type": "labour", "code": code, "net_minor": tier.price_minor}
    return line if tier.minutes is None else {**line, "minutes": tier.minutes}


def _labour(book: Book, text: str) -> Line:
    task, minutes, price = _pieces("--labour", text, 3, 3, "task; minutes; price")
    words = minutes.removesuffix("min").strip()
    if not words.isdecimal():
        raise WrongUse(f"--labour: {minutes!r} are no minutes; write {text!r} as task; 20; 18.50.")
    net = _money(book, "--labour", price)
    return {"line_type": "labour", "code": task, "minutes": int(words), "net_minor": net}


def _part(book: Book, text: str) -> Line:
    name, price, *more = _pieces("--part", text, 2, 4, "name; price; position; cost")
    line: Line = {"line_type": "part", "code": name, "net_minor": _money(book, "--part", price)}
    if more and more[0]:
        line["position"] = more[0]
    if len(more) > 1:
        line["cost_minor"] = _money(book, "--part", more[1])
    return line


def _other(book: Book, text: str) -> Line:
    name, price = _pieces("--other", text, 2, 2, "name; price")
    return {"line_type": "other", "code": name, "net_minor": _money(book, "--other", price)}


def _pieces(flag: str, text: str, least: int, most: int, form: str) -> list[str]:
    pieces = [piece.strip() for piece in text.split(";")]
    if not least <= len(pieces) <= most or not pieces[0]:
        raise WrongUse(f"{flag} takes {form!r}, with ; between; not {text!r}.")
    return pieces


def _money(book: Book, flag: str, text: str) -> int:
    from ledger.cli.answers import Misread, read_money

    try:
        return read_money(text, book.settings.minor_digits)
    except Misread as wrong:
        raise WrongUse(f"{flag}: {wrong}") from None


def _from_file(path: str) -> list[Line]:
    """Give the lines in a JSON file, as `quote_given` has them."""
    try:
        text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8")
        # A price written with a point is no whole number of minor units, and refused as such.
        read = json.loads(text, parse_float=Decimal)
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise UnreadableInput(f"{path} cannot be read as JSON: {error}.") from None
    if not isinstance(read, list) or not all(isinstance(line, dict) for line in read):
        raise UnreadableInput(f"{path} is not a list of lines, such as [{{...}}, {{...}}].")
    return [{name: _plain(value) for name, value in line.items()} for line in read]


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, Decimal) else value
