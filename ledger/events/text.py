"""Where free text stands in each kind of event, so that all of it is sealed, always."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel

from ledger.events.types import Sealed

Change = Callable[[str, Any], Any]
"""(field path such as `lines[0].description`, text) -> what stands there afterwards."""


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from _models_in(argument)


@cache
def text_fields(model: type[BaseModel]) -> tuple[tuple[str, type[BaseModel] | None], ...]:
    """Give the fields of a payload model that hold text, or models that hold text.

    A field of free text comes with None, a nested model with its class.
    """
    found: list[tuple[str, type[BaseModel] | None]] = []
    for name, field in model.model_fields.items():
        inner = list(_models_in(field.annotation))
        if Sealed in inner:
            found.append((name, None))
        else:
            found.extend((name, nested) for nested in inner if text_fields(nested))
    return tuple(found)


def change_text(model: type[BaseModel], data: dict[str, Any], change: Change) -> dict[str, Any]:
    """Give a payload (as plain JSON types) with every free text in it changed.

    `model` is the payload's class; the path handed to `change` starts below `data`.
    """
    return _change(model, data, change, "")


def _change(
    model: type[BaseModel], data: dict[str, Any], change: Change, at: str
) -> dict[str, Any]:
    changed = dict(data)
    for name, nested in text_fields(model):
        value = data.get(name)
        if value is None:
            continue
        path = f"{at}{name}"
        if nested is None:
            changed[name] = change(path, value)
        elif isinstance(value, (list, tuple)):
            changed[name] = [
                _change(nested, item, change, f"{path}[{index}].")
                for index, item in enumerate(value)
            ]
        else:
            changed[name] = _change(nested, value, change, f"{path}.")
    return changed
