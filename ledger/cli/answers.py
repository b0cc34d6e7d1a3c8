"""How a typed answer is read: by the kind of question, in the book's own words."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from ledger.bench.walk import Ask
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

COMMANDS = "Enter alone skips; ? shows choices; back; undo strikes the last entry; quit."
EXAMPLES = {
    "amount": "a figure; its unit may be left out, or be another one: 72 psi, 1/16 in",
    "moment": "a date and time in the shop's time zone: 2026-03-01 17:30",
    "yes or no": "yes or no",
    "whole": "a whole number",
    "money": "an amount of money: 79.50",
    "rate": "a percentage: 21",
    "reference": "an id, a part of a name, or new",
}


class Misread(Exception):
    """An answer that cannot be read; the message says what would be right."""


@dataclass(frozen=True)
class Answers:
    """Reads answers for one book."""

    book: Book
    people: Callable[[str], str | None]
    """Finds, or makes, the person an answer means; None where it was given up."""

    def choices(self, ask: Ask) -> dict[str, str]:
        """Give the codes that may be answered, with their labels."""
        if ask.choices:
            return {choice: choice for choice in ask.choices}
        if ask.of == "gauges":
            return {code: gauge.label for code, gauge in sorted(self.book.gauges.items())}
        if ask.of == "riders" or not ask.of:
            return {}
        listed = getattr(self.book.vocabulary, ask.of, {})
        return {code: word.label for code, word in listed.items()}

    def help(self, ask: Ask) -> str:
        """Give what `?` shows for a question."""
        choices = self.choices(ask)
        if choices:
            lines = [
                f"  {code}" if code == label else f"  {code}: {label}"
                for code, label in choices.items()
            ]
            return "\n".join([*lines, f"  {COMMANDS}"])
        return f"  Write {EXAMPLES.get(ask.answer, 'anything')}.\n  {COMMANDS}"

    def read(self, ask: Ask, text: str, quantity: str) -> Any:
        """Give what text means as the answer to a question; raises Misread."""
        if ask.answer == "choice":
            return self._choice(ask, text)
        if ask.answer == "many":
            return [self._choice(ask, part) for part in text.split(",") if part.strip()]
        if ask.answer == "amount":
            return self._amount(text, quantity)
        if ask.answer == "reference" and ask.of == "riders":
            return self._person(text)
        if ask.answer == "reference" and ask.of:
            return self._choice(ask, text)
        if ask.answer == "moment":
            return self._moment(text)
        if ask.answer == "money":
            return read_money(text, self.book.settings.minor_digits)
        return _PLAIN.get(ask.answer, str)(text)

    def _choice(self, ask: Ask, text: str) -> str:
        choices = self.choices(ask)
        wanted = " ".join(text.casefold().split())
        names = {code.casefold(): code for code in choices}
        names |= {label.casefold(): code for code, label in choices.items()}
        if wanted in names:
            return names[wanted]
        begun = {code for name, code in names.items() if name.startswith(wanted)}
        if len(begun) == 1:
            return begun.pop()
        if begun:
            raise Misread(f"{text!r} may be {', '.join(sorted(begun))}; write more of it.")
        if not choices:
            raise Misread("There is nothing to choose from yet; Enter alone goes on.")
        raise Misread(f"{text!r} is not one of them. {self._near(ask, text)}")

    def _near(self, ask: Ask, text: str) -> str:
        from ledger.events.problems import nearest_words

        choices = self.choices(ask)
        known = getattr(self.book.vocabulary, ask.of, None) if not ask.choices else None
        near = self.book.vocabulary.nearest(ask.of, text) if isinstance(known, Mapping) else ()
        return f"Did you mean {' or '.join(near)}?" if near else nearest_words(text, choices)

    def _amount(self, text: str, quantity: str) -> dict[str, str]:
        from ledger.vocabulary.amounts import parse_amount
        from ledger.vocabulary.units import UnitProblem, canonical

        word = self.book.vocabulary.quantities[quantity]
        if re.fullmatch(r"[-+−]?[\d\s.,/½¼¾⅛⅜⅝⅞]+", text):
            text = f"{text} {word.unit}"
        try:
            amount = parse_amount(text)
            canonical(word, amount.value, amount.unit)
        except UnitProblem as problem:
            raise Misread(f"{problem}.") from None
        return {"value": amount.value, "unit": amount.unit}

    def _person(self, text: str) -> str:
        found = self.people(text)
        if found is None:
            raise Misread("Nobody was chosen; write an id, a part of a name, or new.")
        return found

    def _moment(self, text: str) -> str:
        from ledger.cli.drafts import moment_given
        from ledger.events.types import format_moment

        try:
            return format_moment(moment_given(self.book, text))
        except WrongUse as error:
            raise Misread(str(error)) from None


def _yes_or_no(text: str) -> bool:
    if text.casefold() in ("y", "yes"):
        return True
    if text.casefold() in ("n", "no"):
        return False
    raise Misread("Write yes or no.")


def _whole(text: str) -> int:
    if not re.fullmatch(r"\d{1,7}", text):
        raise Misread("Write a whole number, such as 30.")
    return int(text)


def read_money(text: str, minor_digits: int) -> int:
    """Give an amount of money in minor units; raises Misread."""
    try:
        minor = Decimal(text.replace(",", ".").replace(" ", "")).scaleb(minor_digits)
    except InvalidOperation:
        raise Misread(f"{text!r} is not an amount of money; write 79.50.") from None
    if not minor.is_finite() or minor != minor.to_integral_value() or abs(minor) > 10**12:
        raise Misread(f"{text!r} has more digits than the currency; it has {minor_digits}.")
    return int(minor)


def read_rate(text: str) -> str:
    """Give a percentage as a fraction: `0.21` for 21 %; raises Misread."""
    try:
        rate = Decimal(text.replace("%", "").replace(",", ".").strip()) / 100
    except InvalidOperation:
        raise Misread(f"{text!r} is not a percentage; write 21.") from None
    if not rate.is_finite() or not 0 <= rate <= 1:
        raise Misread(f"{text!r} is not between 0 and 100 %.")
    return f"{rate.normalize():f}"


_PLAIN: dict[str, Callable[[str], Any]] = {
    "yes or no": _yes_or_no,
    "whole": _whole,
    "rate": read_rate,
}
