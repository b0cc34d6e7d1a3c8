"""What the book's rules say, in the words of the bench page: its presses, the shop's figures.

The rules speak to whoever types events; here nobody types one. A sentence that is not in the
table is shown as the rule has it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from dashboard.markup import capital
from dashboard.words import Words
from ledger.errors import Problem

SAID: tuple[tuple[str, str], ...] = (
    (
        "if the computer was replaced, say so (computer_replaced)",
        "or press “Another computer since the last reading”",
    ),
    (
        "Record the keeper's answer to the warning (advice_answered); no reply is none",
        "Record the keeper's answer at Hand back; no reply is none",
    ),
    (
        "Enter a discount as a line of its own (line_type other), quoted and agreed",
        "Enter a discount as a line of its own, “Something else”, quoted and agreed",
    ),
    (
        "Torque them to the maker's figures (adjusted, torque), or note why not",
        "Torque them to the maker's figures, or note why not",
    ),
    ("Open it first (job_opened)", "Book the bike in first"),
    (
        "Record who rides it now first (rider_changed; nobody in particular is an answer too)",
        "Say who rides it now first",
    ),
    ("Contacts belong in the register (lockring riders add)", "Contacts belong in the register"),
)
"""What a rule says, and what the page says for it."""
FIELDS = {
    "ceiling_minor": "The ceiling to ask again at",
    "net_minor": "Price before tax",
    "value_minor": "What it is worth",
    "price_minor": "Price",
    "cost_minor": "What it cost the shop",
}
"""The fields of money by what the page calls them, where the rule names none."""
_WARN_FIRST = re.compile(r"Record the warning first \(advised, verdict unsafe, at \w+\)")
_KM = re.compile(r"\b(\d+(?:\.\d+)?) km\b")
_CODE = re.compile(r"\b[A-Za-z]+(?:_[a-z]+)+\b")


def in_words(words: Words, said: str) -> str:
    """Give a rule's sentence in the words of the page."""
    for rule, page in SAID:
        said = said.replace(rule, page)
    said = _WARN_FIRST.sub("Tell the keeper first, at Hand back", said)
    said = _KM.sub(lambda found: words.formats.figure(Decimal(found[1]).normalize(), "km"), said)
    return _CODE.sub(lambda found: _position(words, found[0]), said)


def _position(words: Words, code: str) -> str:
    known = code.lower() in words.vocabulary.positions
    return words.position(code.lower()) if known else code


def lines(words: Words, problems: Iterable[Problem]) -> str:
    """Give what is wrong and what would be right, each once, every sentence with its stop."""
    told = dict.fromkeys(_line(words, one) for one in problems)
    return " ".join(told)


def _line(words: Words, one: Problem) -> str:
    wrong = in_words(words, one.wrong)
    field = FIELDS.get(one.field.rpartition(".")[2]) if one.rule == "amount_below_nought" else None
    parts = (f"{field}: {wrong}" if field else capital(wrong), in_words(words, one.right))
    return " ".join(f"{part.rstrip('.')}." for part in parts if part)
