"""Events as a book's files hold them, made without checking again what was checked when recorded.

What is stored was written by a validated event, so that only its types have to be made: an
instant of a text, a tuple of a list, a payload of an object. That takes a tenth of the time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin

from pydantic import BaseModel

from ledger.events import event_classes, parse_event
from ledger.events.kinds import Event
from ledger.events.upcast import upcast

__all__ = ["Counted", "counted_event", "stored_event"]

Make = Callable[[Any], Any]
_AS_IT_IS = (str, int, bool)
_new, _set = object.__new__, object.__setattr__


class _Unlike(Exception):
    """Not what this can make; validation makes it, or tells what is wrong with it."""


def stored_event(raw: dict[str, Any]) -> Event:
    """Give the event that the plain JSON types of a stored event describe, as the newest version.

    It is the one `parse_event` gives of them; where their shape is another, raises what that does.
    """
    newest = upcast(raw)
    with suppress(_Unlike, KeyError, TypeError, ValueError, AttributeError):
        return cast("Event", _made(event_classes()[newest["kind"]], newest))
    return parse_event(raw)


@dataclass(frozen=True, slots=True)
class Counted:
    """A stored event that counts, and of which nothing else is asked."""

    id: str
    seq: int
    occurred_at: datetime
    kind: str = "counted"


def counted_event(raw: Mapping[str, Any]) -> Event:
    """Give a stored event as one that only counts: no kind, and no payload."""
    moment = datetime.fromisoformat(raw["occurred_at"])
    return cast("Event", Counted(raw["id"], raw["seq"], moment))


def _made(shape: type[BaseModel], raw: Mapping[str, Any]) -> BaseModel:
    """Give an instance of a class of events or payloads, with the fields that are told."""
    defaults, needed, makers, count = _plan(shape)
    fields = {**defaults, **raw}
    if len(fields) != count or not needed <= raw.keys():
        raise _Unlike
    for name, make in makers:
        if (value := raw.get(name)) is not None:
            fields[name] = make(value)
    made = _new(shape)
    _set(made, "__dict__", fields)
    _set(made, "__pydantic_fields_set__", set(raw))
    _set(made, "__pydantic_extra__", None)
    _set(made, "__pydantic_private__", None)
    return made


@cache
def _plan(
    shape: type[BaseModel],
) -> tuple[dict[str, Any], frozenset[str], tuple[tuple[str, Make], ...], int]:
    """Give defaults, fields that must be told, what makes those that are no plain text, count."""
    fields = shape.model_fields
    defaults = {name: one.default for name, one in fields.items() if not one.is_required()}
    if any(one.default_factory is not None for one in fields.values()):
        raise _Unlike
    makers = {name: _maker(one.annotation) for name, one in fields.items()}
    return (
        defaults,
        frozenset(fields.keys() - defaults.keys()),
        tuple((name, make) for name, make in makers.items() if make is not None),
        len(fields),
    )


def _maker(annotation: Any) -> Make | None:
    """Give what makes a value of a type from plain JSON types; None where it is one already."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    if annotation in _AS_IT_IS or origin is Literal:
        return None
    if annotation is datetime:
        return datetime.fromisoformat
    if origin is Annotated:
        return _maker(arguments[0])
    if origin in (Union, UnionType):
        return _maker_of_either([one for one in arguments if one is not NoneType])
    if origin is tuple and arguments[1:] == (...,):
        inner = _maker(arguments[0])
        return tuple if inner is None else lambda items: tuple(map(inner, items))
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return lambda raw: _made(annotation, raw)
    raise _Unlike


def _maker_of_either(choices: list[Any]) -> Make | None:
    makers = [_maker(one) for one in choices]
    if len(makers) == 1 or not any(makers):
        return makers[0]
    objects = [make for make in makers if make is not None]
    if len(objects) != 1 or len(makers) != 2:
        raise _Unlike
    return lambda value: objects[0](value) if isinstance(value, dict) else value
