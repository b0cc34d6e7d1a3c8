"""Payload fields by dotted path, and what form the text for each has to be brought into."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from ledger.events.types import Amount

Form = Literal["text", "amount", "money", "minutes", "whole", "flag", "moment", "day", "decimal"]


@dataclass(frozen=True, slots=True)
class Target:
    """One field of a payload, found by its path."""

    steps: tuple[str | int, ...]
    """Names, and 0 where a step goes into the first item of a list."""
    form: Form


@dataclass(frozen=True, slots=True)
class NoTarget:
    """The step of a path that is no field, and the fields there are."""

    step: str
    known: tuple[str, ...]


@lru_cache(maxsize=1024)
def target(model: type[BaseModel], path: str) -> Target | NoTarget:
    """Find a payload's field: `odometer`, `puts_right.fault`, `lines.net_minor`."""
    steps: list[str | int] = []
    names = path.split(".")
    for index, name in enumerate(names):
        field = model.model_fields.get(name)
        if field is None:
            return NoTarget(name, tuple(model.model_fields))
        steps.append(name)
        inner = [found for found in _models(field.annotation) if found.__name__ != "Sealed"]
        if index == len(names) - 1:
            return _target(steps, name, field, inner)
        if not inner:
            return NoTarget(names[index + 1], ())
        if _is_list(field.annotation):
            steps.append(0)
        model = inner[0]
    raise AssertionError("a path has at least one step")


def _target(
    steps: list[str | int], name: str, field: FieldInfo, inner: list[type[BaseModel]]
) -> Target | NoTarget:
    if inner and inner[0] is not Amount:
        return NoTarget(name, tuple(f"{name}.{known}" for known in inner[0].model_fields))
    if _is_list(field.annotation):
        steps = [*steps, 0]
    return Target(tuple(steps), "amount" if inner else _form(name, field))


def _form(name: str, field: FieldInfo) -> Form:
    """Tell a field's form by its type, and by the ending of its name where the type is shared."""
    types = set(_plain_types(field.annotation))
    if bool in types:
        return "flag"
    if int in types:
        return "money" if name.endswith("_minor") else "minutes" if name == "minutes" else "whole"
    if datetime in types:
        return "moment"
    if name.endswith("_on"):
        return "day"
    patterns = [str(getattr(part, "pattern", "")) for part in field.metadata]
    return "decimal" if any(pattern.startswith("^-?[0-9]") for pattern in patterns) else "text"


def _is_list(annotation: Any) -> bool:
    return get_origin(annotation) is tuple or any(_is_list(part) for part in get_args(annotation))


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


def _plain_types(annotation: Any) -> Iterator[type]:
    if isinstance(annotation, type):
        yield annotation
    for part in get_args(annotation):
        yield from _plain_types(part)


def put(data: dict[str, Any], steps: tuple[str | int, ...], value: Any) -> None:
    """Set what stands at a path, making the objects and the list item on the way."""
    here: Any = data
    for step, following in pairwise(steps):
        empty: Any = [] if following == 0 else {}
        if isinstance(step, int):
            if not here:
                here.append(empty)
            here = here[0]
        else:
            here = here.setdefault(step, empty)
    last = steps[-1]
    if isinstance(last, int):
        here.append(value)
    else:
        here[last] = value
