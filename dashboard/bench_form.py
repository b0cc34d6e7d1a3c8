"""Short forms at the bench: what is asked, what is half typed, and what it says as an event."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

import streamlit as st

from dashboard import bench_words
from dashboard.bench_stand import Stand
from dashboard.markup import as_words, capital
from ledger.bench.walk import Ask

MOST_PRESSES = 12
"""A choice of more than so many is a list."""
YES, NO = "Yes", "No"


@dataclass(frozen=True)
class Form:
    """One form of a step, kept under a name while it is half typed."""

    stand: Stand
    name: str
    defaults: Mapping[str, Any] = field(default_factory=dict)
    """What stands in a field nobody touched."""

    def key(self, of: str) -> str:
        """Give the key of a field's widget."""
        return f"{of}-field {self.stand.name} {self.name}"

    def value(self, of: str) -> Any:
        """Give what stands in a field."""
        return st.session_state.get(self.key(of))

    def answer(self, of: str) -> Any:
        """Give the answer to a choice: the press, or what was picked from the list beside it."""
        return self.value(of) or self.value(f"other_{of}")

    def text(self, of: str) -> str:
        """Give what is typed in a field, without the spaces around it."""
        return str(self.value(of) or "").strip()

    def put(self, of: str, value: Any) -> None:
        """Put something in a field."""
        st.session_state[self.key(of)] = value

    @property
    def id(self) -> str:
        """The id of what this form will record."""
        return self.stand.event_id(self.name)

    def begin(self, *fields: str) -> dict[str, Any]:
        """Fill the fields that are not on the page yet; gives what was left half typed."""
        if all(self.key(one) in st.session_state for one in fields):
            return {}
        kept = self._not_recorded(self.stand.kept(self.name))
        self.stand.event_id(self.name, kept.get("id"))
        for one in fields:
            usual = self.defaults.get(one)
            st.session_state.setdefault(self.key(one), kept.get(one, usual))
        return {name: kept[name] for name in fields if kept.get(name) not in (None, "", [])}

    def _not_recorded(self, kept: dict[str, Any]) -> dict[str, Any]:
        """Give what was left half typed; nothing where it was recorded after all.

        A server that stopped after writing and before answering leaves such a form.
        """
        if kept.get("id") and self.stand.book.find([kept["id"]]):
            self.stand.throw_away(self.name)
            return {}
        return kept

    def keep(self, *fields: str) -> None:
        """Keep what is typed through a restart, under the id it will be recorded with."""
        typed = {one: self.value(one) for one in fields}
        is_touched = any(typed[one] != self.defaults.get(one) for one in fields)
        if is_touched:
            self.stand.keep(self.name, {**typed, "id": self.id})
        else:
            self.stand.throw_away(self.name)

    def throw_away(self, *fields: str) -> None:
        """Empty the form."""
        self.stand.throw_away(self.name)
        for one in fields:
            self.put(one, self.defaults.get(one))


# -- what is asked ------------------------------------------------------------------------------


def is_asked(ask: Ask, form: Form, fields: Sequence[str]) -> bool:
    """Say whether a question is asked, as the answers before it stand."""
    if any(form.answer(name) not in (None, "") for name in ask.skipped_if if name in fields):
        return False
    if ask.only_if is None:
        return True
    name, answers = ask.only_if
    said = form.answer(name)
    return bool(said) if not answers else str(said).casefold() in answers


def choices(stand: Stand, ask: Ask) -> dict[str, str]:
    """Give the codes that may be answered, with the words for them."""
    if ask.answer == "yes or no":
        return {YES: YES, NO: NO}
    if ask.choices:
        return {choice: capital(choice) for choice in ask.choices}
    if ask.of == "gauges":
        return {code: gauge.label for code, gauge in sorted(stand.book.gauges.items())}
    listed = getattr(stand.book.vocabulary, ask.of, {}) if ask.of not in ("", "riders") else {}
    return {code: capital(word.label) for code, word in listed.items()}


def draw(form: Form, asks: Sequence[Ask], keep: Callable[[], None]) -> None:
    """Draw the fields of a form; whatever is typed is kept at once."""
    fields = [ask.field for ask in asks]
    for ask in asks:
        if is_asked(ask, form, fields):
            draw_field(form, ask, keep)


def draw_field(form: Form, ask: Ask, keep: Callable[[], None], label: str = "") -> None:
    """Draw one field: presses for a few answers, a list for many, a line to type in else."""
    named = label or ask.words
    offered = choices(form.stand, ask)
    if ask.answer == "many":
        presses(form, ask.field, named, offered, keep, is_many=True)
    elif offered and len(offered) <= MOST_PRESSES:
        presses(form, ask.field, named, offered, keep)
    elif offered:
        pick(form, ask.field, named, offered, bench_words.LIKELY.get(ask.of, ()), keep)
    else:
        line(form, ask.field, named, keep, is_number=ask.answer in NUMBERS)


NUMBERS = ("amount", "whole", "money", "rate")


def presses(
    form: Form,
    of: str,
    label: str,
    offered: Mapping[str, str],
    keep: Callable[[], None],
    *,
    is_many: bool = False,
) -> None:
    """Offer answers as presses; one, or several."""
    st.pills(
        as_words(label),
        list(offered),
        selection_mode="multi" if is_many else "single",
        format_func=lambda code: as_words(offered[code]),
        key=form.key(of),
        on_change=keep,
        wrap=True,
    )


def pick(
    form: Form,
    of: str,
    label: str,
    offered: Mapping[str, str],
    likely: Sequence[str],
    keep: Callable[[], None],
) -> None:
    """Offer the likely answers as presses, and every other one as a list."""
    first = {code: offered[code] for code in likely if code in offered}
    if first:
        presses(form, of, label, first, keep)
    if form.value(of) is None:
        rest = {code: said for code, said in offered.items() if code not in first}
        listed(form, f"other_{of}", f"{label}: another" if first else label, rest, keep)


def listed(
    form: Form, of: str, label: str, offered: Mapping[str, str], keep: Callable[[], None]
) -> None:
    """Offer many answers as a list that letters narrow."""
    if form.value(of) not in offered:
        form.put(of, None)
    st.selectbox(
        as_words(label),
        list(offered),
        index=None,
        format_func=lambda code: offered[code],
        key=form.key(of),
        on_change=keep,
        placeholder="Choose",
    )


def line(
    form: Form,
    of: str,
    label: str,
    keep: Callable[[], None],
    *,
    is_number: bool = False,
    placeholder: str = "",
    is_live: bool = False,
) -> None:
    """Offer a line to type in; a figure gets the keys for figures."""
    kind = "number" if is_number else "words"
    with st.container(key=f"{kind}-{of} {form.name}"):
        st.text_input(
            as_words(label),
            key=form.key(of),
            on_change=keep,
            placeholder=placeholder,
            live="300ms" if is_live else False,
        )


# -- what it says as an event ------------------------------------------------------------------


class NotRead(Exception):
    """A field that cannot be read; the message says what would be right."""


def payload(form: Form, asks: Sequence[Ask], unit: str = "") -> dict[str, Any]:
    """Give the answers as payload fields; raises NotRead."""
    fields = [ask.field for ask in asks]
    found: dict[str, Any] = {}
    for ask in asks:
        if not is_asked(ask, form, fields):
            continue
        value = form.answer(ask.field)
        if value in (None, "", []) or (isinstance(value, str) and not value.strip()):
            if ask.is_needed:
                raise NotRead(f"{ask.words}: this is needed.")
            continue
        found[ask.field] = read(form.stand, ask, value, unit)
    return found


def read(stand: Stand, ask: Ask, value: Any, unit: str) -> Any:
    """Give what stands in a field as the payload has it; raises NotRead."""
    if ask.answer == "yes or no":
        return value == YES
    if ask.answer in ("choice", "reference", "many"):
        return value
    words = str(value).strip()
    if ask.answer == "amount":
        return {"value": figure(words, ask.words), "unit": unit}
    if ask.answer == "whole":
        if not words.isdecimal() or len(words) > 7:
            raise NotRead(f"{ask.words}: write a whole number, such as 30.")
        return int(words)
    if ask.answer == "money":
        return minor(words, stand.book.settings.minor_digits, ask.words)
    if ask.answer == "rate":
        return rate(words, ask.words)
    return words


def figure(words: str, label: str) -> str:
    """Give a typed figure with a point; raises NotRead."""
    plain = words.replace(",", ".").replace("−", "-").replace(" ", "")
    try:
        known = Decimal(plain)
    except InvalidOperation:
        known = Decimal("NaN")
    if not known.is_finite() or "e" in plain.casefold():
        raise NotRead(f"{label}: {words} is no figure. Write one such as 0.5.")
    return plain


def minor(words: str, digits: int, label: str) -> int:
    """Give an amount of money in minor units; raises NotRead."""
    exact = Decimal(figure(words, label)).scaleb(digits)
    if exact != exact.to_integral_value() or abs(exact) > 10**12:
        raise NotRead(f"{label}: at most {digits} digits after the point, such as 79.50.")
    return int(exact)


def rate(words: str, label: str) -> str:
    """Give a percentage as a fraction, `0.21` for 21; raises NotRead."""
    share = Decimal(figure(words.replace("%", ""), label)) / 100
    if not 0 <= share <= 1:
        raise NotRead(f"{label}: between 0 and 100 %.")
    return f"{share.normalize():f}"
