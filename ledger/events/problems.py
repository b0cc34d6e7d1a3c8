"""What pydantic finds wrong with an entry, said so that the person who entered it can mend it."""

from __future__ import annotations

import difflib
import types
from collections.abc import Iterable, Sequence
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ledger.errors import Problem
from ledger.events import event_classes
from ledger.events import types as t

_RIGHT = {
    "missing": "Enter it",
    "bool_type": "Write true or false",
    "bool_parsing": "Write true or false",
    "int_type": "Write a whole number",
    "int_parsing": "Write a whole number",
    "int_from_float": "Write a whole number",
    "datetime_parsing": "Write a date and time such as 2026-03-01T09:12:00+01:00",
    "datetime_from_date_parsing": "Write a date and time such as 2026-03-01T09:12:00+01:00",
    "datetime_type": "Write a date and time such as 2026-03-01T09:12:00+01:00",
    "too_long": "Enter fewer",
    "string_too_short": "Enter it, or leave the field out",
    "string_type": "Write text",
    "model_type": "Write an object with its fields",
    "model_attributes_type": "Write an object with its fields",
    "tuple_type": "Write a list",
}

_SHAPES = (
    (t.DecimalText, "Write a decimal number as text, such as '72.5'"),
    (t.Currency, "Write an ISO 4217 code such as 'EUR'"),
    (t.Day, "Write a day such as 2026-03-01"),
    (t.BikeTag, "Write a bike tag: 8 of 0-9 and A-Z without I, L, O and U"),
    (t.EventId, "Write a UUID of version 7 (RFC 9562), or leave it out to have one made"),
    (t.Code, "Write a word of the vocabulary, such as 'elongation'"),
    (t.Position, "Write a position such as 'chain' or 'rear_brake.pads'"),
    (t.Ref, "Write an id of letters, digits and . _ : - (at most 64)"),
    (t.ShopCode, "Write a shop code of small letters, digits and dashes"),
    (t.PlainText, "Write words, without control characters"),
    (t.Digest, "Write a SHA-256 in 64 hexadecimal digits"),
)


def _pattern(annotated: Any) -> str:
    found = (getattr(part, "pattern", None) for part in annotated.__metadata__)
    return next(str(pattern) for pattern in found if pattern)


_PATTERNS = {_pattern(annotated): right for annotated, right in _SHAPES}


def nearest_words(word: str, known: Iterable[str]) -> str:
    """Give `Did you mean 'chain'?`, or the first few known words where none is near."""
    known = sorted(known)
    near = difflib.get_close_matches(word, known, n=3, cutoff=0.6)
    if near:
        return "Did you mean " + " or ".join(f"'{found}'" for found in near) + "?"
    few = ", ".join(known[:8])
    return f"Known are {few}{' …' if len(known) > 8 else ''}" if known else "None is known yet"


def problems_of(error: ValidationError, label: str) -> list[Problem]:
    """Give one Problem a mistake in an entry; `label` says which entry it is."""
    told = error.errors(include_url=False)
    mistakes = [_problem(details, label) for details in told if not _is_other_choice(details, told)]
    return list(dict.fromkeys(mistakes))


def _is_other_choice(details: ErrorDetails, told: Sequence[ErrorDetails]) -> bool:
    """Tell whether text that is wrong as text is only said not to be sealed text either."""
    return (
        details["type"].startswith("model_")
        and isinstance(details["input"], str)
        and any(
            other["type"].startswith("string_") and other["loc"][:-1] == details["loc"][:-1]
            for other in told
        )
    )


def _field(location: tuple[int | str, ...]) -> str:
    steps = [step for step in location if step not in event_classes()]
    steps = [step for step in steps if not (isinstance(step, str) and _is_union_step(step))]
    path = ""
    for step in steps:
        path += f"[{step}]" if isinstance(step, int) else f".{step}" if path else step
    return path or "event"


def _is_union_step(step: str) -> bool:
    """Tell pydantic's names of union members (`constrained-str`, `Sealed`) from field names."""
    return "-" in step or "[" in step or step[:1].isupper()


def _problem(details: ErrorDetails, label: str) -> Problem:
    kind, location = details["type"], details["loc"]
    return Problem(
        event=label,
        field=_field(location),
        wrong=_wrong(kind, details),
        right=_right(kind, details),
        rule=f"entry_{kind}",
    )


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _wrong(kind: str, details: ErrorDetails) -> str:
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        return "is not a field here"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return f"{_shown((details.get('ctx') or {}).get('tag', 'nothing'))} is not a kind of event"
    if kind == "value_error":
        return details["msg"].removeprefix("Value error, ").split(";")[0]
    if kind.startswith("model_"):
        return f"{_shown(details['input'])} is not an object"
    return f"{_shown(details['input'])} cannot stand here"


def _right(kind: str, details: ErrorDetails) -> str:
    context = details.get("ctx") or {}
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return nearest_words(str(context.get("tag", "")), event_classes())
    if kind == "extra_forbidden":
        return nearest_words(str(details["loc"][-1]), _fields_beside(details["loc"]))
    if kind == "literal_error":
        return f"Choose {context.get('expected', 'one of the known words')}"
    if kind == "string_pattern_mismatch":
        pattern = str(context.get("pattern", ""))
        return _PATTERNS.get(pattern, f"Write it as {details['msg'].split(' pattern ')[-1]}")
    if kind == "value_error" and ";" in details["msg"]:
        text = details["msg"].split(";", 1)[1].strip()
        return text[:1].upper() + text[1:]
    if kind == "value_error":
        return "Mend it, and enter it again"
    return _RIGHT.get(kind, details["msg"])


def _fields_beside(location: tuple[int | str, ...]) -> list[str]:
    """Give the field names that are known where an unknown one stood."""
    model: Any = event_classes().get(str(location[0]))
    for step in location[1:-1]:
        if isinstance(step, int) or (isinstance(step, str) and _is_union_step(step)):
            continue
        field = model.model_fields.get(step) if model else None
        model = _model_in(field.annotation) if field else None
    return list(model.model_fields) if model else []


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (Union, types.UnionType, tuple) or get_args(annotation):
        inner = (_model_in(argument) for argument in get_args(annotation))
        return next((model for model in inner if model), None)
    return None
