"""Questions and answers on a terminal, or by plain lines where there is none."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ledger.bench.walk import Ask
from ledger.cli.answers import Answers, Misread
from ledger.cli.output import say

if TYPE_CHECKING:
    from ledger.book import Book

SHOWN_CHOICES = 6
"""Up to this many choices stand in the question itself; `?` shows longer lists."""


class Back(Exception):
    """The person wants the question before."""


class Undo(Exception):
    """The person wants the last thing recorded struck."""


class Leave(Exception):
    """The person stops here, or the input ends."""


class Skip(Exception):
    """The person leaves a form out by not answering what it cannot do without."""


def read_line(words: str) -> str:
    """Ask in one line and give what was typed, trimmed; raises Back, Undo or Leave."""
    if sys.stdin.isatty():
        try:
            text = input(f"{words}: ")
        except EOFError:
            say()
            raise Leave from None
    else:
        print(f"{words}: ", flush=True)
        text = sys.stdin.readline()
        if not text:
            raise Leave
    text = text.strip()
    signal = {"back": Back, "undo": Undo, "quit": Leave}.get(text.lower())
    if signal is not None:
        raise signal
    return text


@dataclass(frozen=True)
class Asker:
    """Asks the questions of a form, and reads the answers as the book's words say."""

    book: Book
    answers: Answers

    def form(
        self,
        asks: tuple[Ask, ...],
        defaults: Mapping[str, str],
        quantity: str = "",
    ) -> tuple[dict[str, Any], dict[str, str]]:
        """Ask a form through; give the answers by field, as read and as typed.

        `defaults` are taken for empty answers; figures are of `quantity`, unless a question or
        an answer names another. `back` begins the form again, or leaves it by
        Back at its first question. Raises Skip where the first answer it needs is left out.
        """
        while True:
            read: dict[str, Any] = {}
            typed: dict[str, str] = dict(defaults)
            try:
                for ask in asks:
                    if _is_asked(ask, read):
                        self._one(ask, read, typed, quantity)
            except Back:
                if not read:
                    raise
                continue
            return read, typed

    def _one(self, ask: Ask, read: dict[str, Any], typed: dict[str, str], quantity: str) -> None:
        if ask.answer == "amount":
            quantity = ask.of or quantity or str(read.get("quantity", ""))
        default = typed.get(ask.field) or ask.default
        while True:
            text = read_line(self._question(ask, default, quantity)) or default
            if text == "?":
                say(self.answers.help(ask))
                continue
            if text in ("", "-"):
                if not ask.is_needed:
                    return
                if not read:
                    raise Skip
                say("  That needs an answer; `back` starts this again.")
                continue
            try:
                read[ask.field] = self.answers.read(ask, text, quantity)
            except Misread as wrong:
                say(f"  {wrong}")
                continue
            typed[ask.field] = text
            return

    def _question(self, ask: Ask, default: str, quantity: str) -> str:
        choices = self.answers.choices(ask)
        words = ask.words
        if ask.answer == "yes or no":
            words += " (yes, no)"
        elif ask.answer == "amount" and quantity:
            words += f" ({self.book.vocabulary.quantities[quantity].unit})"
        elif ask.answer == "money":
            words += f" ({self.book.settings.currency})"
        elif ask.answer == "rate":
            words += " (%)"
        elif 0 < len(choices) <= SHOWN_CHOICES:
            words += f" ({', '.join(choices.values())})"
        return f"{words} [{default}]" if default else words


def _is_asked(ask: Ask, read: Mapping[str, Any]) -> bool:
    if any(field in read for field in ask.skipped_if):
        return False
    if ask.only_if is None:
        return True
    field, answers = ask.only_if
    if field not in read:
        return False
    given = read[field]
    given = ("no", "yes")[given] if isinstance(given, bool) else given
    return not answers or given in answers
