"""Rules about people: their contacts stand in the register, never in an event."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import get_args

from pydantic import BaseModel

from ledger.events import Event
from ledger.events.types import Sealed
from ledger.rules.facts import BookFacts
from ledger.rules.personal_words import personal_in
from ledger.rules.rule import Finding, warns
from ledger.state import BikeState

_NEVER = frozenset({"key", "photo", "sealed", "value", "canonical", "unit", "currency"})
"""Fields whose form leaves no room for a contact."""
_NUMBERED = frozenset({"serial", "frame_number", "part", "replaces"})
"""Fields for a number that somebody else gave the thing."""
RIGHT = "Contacts belong in the register (lockring riders add), where they can be forgotten"


def _may_hold(annotation: object) -> bool:
    """Tell whether a field's type has room for text, in itself or further down."""
    if annotation is str:
        return True
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation is not Sealed and bool(_fields(annotation))
    return any(map(_may_hold, get_args(annotation)))


@cache
def _fields(model: type[BaseModel]) -> tuple[str, ...]:
    fields = model.model_fields.items()
    return tuple(
        name for name, field in fields if name not in _NEVER and _may_hold(field.annotation)
    )


def _texts(value: object, field: str) -> Iterator[tuple[str, str]]:
    """Give every text in a payload that is in the clear, with its field."""
    if isinstance(value, tuple):
        within = ((f"{field}[{index}]", inner) for index, inner in enumerate(value))
    elif isinstance(value, BaseModel) and not isinstance(value, Sealed):
        within = ((f"{field}.{name}", getattr(value, name)) for name in _fields(type(value)))
    else:
        return
    for where, inner in within:
        if isinstance(inner, str):
            yield where, inner
        elif inner is not None:
            yield from _texts(inner, where)


@warns(
    "personal_data",
    "an email address or a telephone number in a field of an event: contacts belong in the "
    "register, where they can be forgotten",
)
def personal_data(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a contact in an event, and repeat no more of it than where it stands."""
    entered = [("job", event.job or ""), ("actor", event.actor), *_texts(event.data, "data")]
    for field, text in entered:
        name = field.rpartition(".")[2].partition("[")[0]
        found = personal_in(text, is_numbered=name in _NUMBERED)
        if found is not None:
            yield Finding(field, f"{found.masked} looks like {found.looks}", RIGHT)


RULES = (personal_data,)
