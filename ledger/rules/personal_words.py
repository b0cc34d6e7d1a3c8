"""Telling an email address or a telephone number from the figures, dates and codes of a bench."""

from __future__ import annotations

import re
import unicodedata
from itertools import pairwise
from typing import Literal, NamedTuple

Looks = Literal["an email address", "a telephone number"]


class Personal(NamedTuple):
    """What in a text looks personal; `masked` says where, and repeats no more of it than that."""

    looks: Looks
    masked: str


_EMAIL = re.compile(r"(?<![\w.+-])(\w[\w.+-]*)\s?@\s?((?:[\w-]+\.)+)([^\W\d_]{2,24})(?![\w@-])")
_NO_NUMBER = re.compile(
    # Ids of things, dates and times in their usual forms: none of them is part of a number.
    r"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b"
    r"|\b(?:19|20|21)\d\d[-/. ]\d{1,2}[-/. ]\d{1,2}\b(?:[T ]\d{1,2}\b)?"
    r"|\b\d{1,2}([-/. ])\d{1,2}\1(?:19|20|21)\d\d\b"
    r"|\b\d{1,2}:\d\d(?::\d\d)?(?:\.\d+)?\b",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"(?<![\w.,:/#-])(?:\+\s?|\()?\d(?:[\d\s().\-\u2010-\u2013/]*\d)?(?![\w,:%°])")
_GROUPS = re.compile(r"\d+")
_SAID = re.compile(
    r"\b(?:(?:tele)?(?:phone|fon|fax)|tel|tlf|mobile|mob|handy|gsm|sms|call|bel|bellen|anrufen"
    r"|whats ?app|signal|ring (?:her|him|them))\b",
    re.IGNORECASE,
)
_SAID_MARK = re.compile(_SAID.pattern + r"[.:=]+", re.IGNORECASE)
"""Such a word that stands right before the number, with nothing but a mark between."""
_NEAR = 24
"""So many characters before a number may say that it is for calling."""
_FEWEST, _MOST = 7, 15
"""Digits of a number that can be called; ITU-T E.164 allows 15."""


def personal_in(text: str, *, is_numbered: bool = False) -> Personal | None:
    """Give the first thing in a text that looks like an email address or a telephone number.

    `is_numbered`: the field is for a number of the maker's (a serial, say), so that only what can
    be nothing else counts: an international form.
    """
    if len(text) < _FEWEST - 1:
        return None
    text = unicodedata.normalize("NFKC", text)
    return _email_in(text) or _telephone_in(text, is_numbered)


def _email_in(text: str) -> Personal | None:
    if "@" not in text:
        return None
    for found in _EMAIL.finditer(text):
        local, domain, top = found.groups()
        labels = domain.rstrip(".").split(".")
        # `M5@4.Nm` is a torque.
        if not any(label.isdigit() and len(label) < 3 for label in labels):
            return Personal("an email address", f"{local[0]}…@….{top}")
    return None


def _telephone_in(text: str, is_numbered: bool) -> Personal | None:
    if sum(map(str.isdigit, text)) < _FEWEST:
        return None
    kept = _NO_NUMBER.sub(lambda found: "\x00" * len(found[0]), text.replace("_", " "))
    kept = _SAID_MARK.sub(lambda found: found[0].rstrip(".:=") + " ", kept)
    for found in _NUMBER.finditer(kept):
        before = kept[max(found.start() - _NEAR, 0) : found.start()]
        is_said = not is_numbered and _is_said(before)
        if _is_telephone(found[0], is_said=is_said, is_numbered=is_numbered):
            return Personal("a telephone number", f"…{_GROUPS.findall(found[0])[-1][-2:]}")
    return None


def _is_said(before: str) -> bool:
    """Tell whether what stands before a number says it is for calling, with no figure between."""
    said = list(_SAID.finditer(before))
    return bool(said) and not any(map(str.isdigit, before[said[-1].end() :]))


def _is_telephone(number: str, *, is_said: bool, is_numbered: bool) -> bool:
    groups = _GROUPS.findall(number)
    digits = "".join(groups)
    if not _FEWEST <= len(digits) <= _MOST or _is_list(groups, number):
        return False
    if number.startswith("+"):
        return digits[0] != "0" and len(digits) >= 8
    if is_numbered:
        return False
    if is_said:
        return True
    if len(groups) == 1:
        return _is_run(digits)
    if digits.startswith("00"):
        return len(digits) >= 10 and "." not in number and len(groups[0]) <= 6
    if digits.startswith("0"):
        return 9 <= len(digits) <= 12 and min(map(len, groups)) >= 2 and len(groups[0]) <= 6
    return _is_north_american(number)


def _is_run(digits: str) -> bool:
    """Tell digits without a gap that are for calling from serials and what stands under bar codes.

    National ones have ten or eleven digits after one nought, international ones more after two:
    a bar code has eight, twelve, thirteen or fourteen, the last of which follows from the others.
    """
    if digits.startswith("00"):
        return 11 <= len(digits) <= _MOST and digits[2] != "0" and not _is_bar_code(digits)
    return digits.startswith("0") and len(digits) in (10, 11) and len(set(digits)) > 2


def _is_bar_code(digits: str) -> bool:
    """Tell whether the last digit is the check digit of the others (GS1 General Specifications)."""
    if len(digits) not in (8, 12, 13, 14):
        return False
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(digits[-2::-1]))
    return (total + int(digits[-1])) % 10 == 0


def _is_north_american(number: str) -> bool:
    """Tell whether it is three, three and four digits, written as one number."""
    return bool(
        re.fullmatch(
            r"(?:1[-. ])?\([2-9]\d\d\)\s?\d{3}[- .]\d{4}"
            r"|(?:1[-. ])?[2-9]\d\d([-.])\d{3}\1\d{4}",
            number,
        )
    )


def _is_list(groups: list[str], number: str) -> bool:
    """Tell whether these are figures beside each other: decimals, or counted one by one."""
    if "." in number and re.search(r"\s", number):
        return True
    if len(groups) < 3 or number.startswith("+"):
        return False
    steps = {int(after) - int(one) for one, after in pairwise(groups)}
    return len(set(map(len, groups))) == 1 and len(steps) == 1 and abs(steps.pop()) <= 10
