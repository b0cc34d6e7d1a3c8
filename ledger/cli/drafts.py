"""One event from flags: what stands on a command line becomes the plain form `append` takes."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel, TypeAdapter, ValidationError

from ledger.errors import Problem, Refused, WrongUse
from ledger.events import event_classes, payload_class
from ledger.events.types import Amount, EventId, Ref, format_moment
from ledger.vocabulary.amounts import parse_amount
from ledger.vocabulary.units import UnitProblem

if TYPE_CHECKING:
    from ledger.book import Book

VALUE_FIELDS = {"distance_read": "odometer", "adjusted": "after", "measured": "value"}
"""The payload field that `--value` fills, by kind."""
GAUGE_FIELDS = {"adjusted": "tool", "measured": "gauge", "gauge_registered": "gauge"}
NOTE_FIELDS = {"noted": "text", "advised": "advice", "job_opened": "complaint"}

Draft = dict[str, Any]


def kind_named(word: str) -> str:
    """Give the kind of event of that name; raises WrongUse with the nearest names."""
    if word in event_classes():
        return word
    near = difflib.get_close_matches(word, event_classes(), n=3, cutoff=0.5)
    hint = f" Did you mean {' or '.join(near)}?" if near else ""
    raise WrongUse(f"There is no file and no kind of event named {word!r}.{hint}")


def draft_event(
    book: Book, kind: str, envelope: dict[str, str | None], fields: dict[str, str | None]
) -> Draft:
    """Give a draft from what was given by flags; absent ones are None.

    `fields` has dotted payload paths and text as typed; each is read as its field's type says.
    Raises WrongUse for a field the kind does not have, Refused for figures that are none.
    """
    given = {name: text for name, text in envelope.items() if text is not None}
    if "occurred_at" in given:
        given["occurred_at"] = format_moment(moment_given(book, given["occurred_at"]))
    data: dict[str, Any] = {}
    problems = []
    for path, text in fields.items():
        try:
            if text is not None:
                _put(data, path.split("."), read_value(payload_class(kind), kind, path, text))
        except UnitProblem as wrong:
            problems.append(Problem(kind, f"data.{path}", wrong.wrong, wrong.right, "entry_amount"))
    if problems:
        raise Refused(problems)
    return {"kind": kind, **given, "data": data}


def actor_of(book: Book, kind: str, actor: str | None, fields: dict[str, str | None]) -> str:
    """Give who records: as given, or the only mechanic there is; raises WrongUse."""
    if actor is not None:
        return actor
    if len(book.mechanics) == 1:
        return next(iter(book.mechanics))
    if kind == "mechanic_registered" and not book.mechanics and fields.get("mechanic"):
        return str(fields["mechanic"])
    known = ", ".join(sorted(book.mechanics)) or "nobody is registered yet"
    raise WrongUse(f"Say who records with --actor ({known}).")


def moment_given(book: Book, text: str) -> datetime:
    """Give the instant of `--at`, in UTC; raises WrongUse.

    A bare day is its midday, or now where today's midday is still to come.
    """
    moment = instant(book, text)
    if len(text.strip()) > len("2026-03-01"):
        return moment
    zone, now = book.settings.zone, datetime.now(UTC)
    day = moment.astimezone(zone).date()
    midday = datetime.combine(day, time(12), zone).astimezone(UTC)
    return min(midday, now) if day == now.astimezone(zone).date() else midday


def instant(book: Book, text: str) -> datetime:
    """Give the instant a person means, a bare date being its end; raises WrongUse."""
    try:
        return book.instant(text)
    except ValueError as error:
        raise WrongUse(f"{error}.") from None


def checked_ref(flag: str, text: str) -> None:
    """Raise WrongUse where text cannot be an id."""
    try:
        TypeAdapter(Ref).validate_python(text)
    except ValidationError:
        right = "an id has letters, digits and . _ : - (at most 64)"
        raise WrongUse(f"{flag}: {text!r} cannot stand here; {right}.") from None


def event_id(text: str) -> str:
    """Give an event's id as it is stored; raises WrongUse for text that is none."""
    try:
        return str(TypeAdapter(EventId).validate_python(text.strip()))
    except ValidationError:
        raise WrongUse(
            f"{text!r} is not an event's id; `lockring history TAG --ids` shows them."
        ) from None


def named_fields(
    kind: str, position: str | None, quantity: str | None, **by_kind: str | None
) -> dict[str, str | None]:
    """Give the payload paths that --position, --quantity, --value, --gauge and --note stand for."""
    return {
        "position": position,
        "quantity": quantity,
        VALUE_FIELDS.get(kind, "value"): by_kind.get("value"),
        GAUGE_FIELDS.get(kind, "gauge"): by_kind.get("gauge"),
        NOTE_FIELDS.get(kind, "note"): by_kind.get("note"),
    }


def set_fields(pairs: Iterable[str]) -> dict[str, str | None]:
    """Give the payload paths and texts of `--set path=value`; raises WrongUse."""
    found: dict[str, str | None] = {}
    for pair in pairs:
        path, sign, text = pair.partition("=")
        if not sign or not path.strip():
            raise WrongUse(f"--set takes key=value, such as --set batch=B7; not {pair!r}.")
        found[path.strip()] = text
    return found


def read_value(model: type[BaseModel], kind: str, path: str, text: str) -> Any:
    """Give the value that text stands for in one field, as that field's type says.

    Text that fits no reading is handed on as it is, so that the refusal names the field. Raises
    UnitProblem for a figure without a unit, WrongUse for a field the kind does not have.
    """
    wanted = field_type(model, kind, path)
    adapter: TypeAdapter[Any] = TypeAdapter(wanted)
    for candidate in _readings(text):
        try:
            adapter.validate_python(candidate)
        except ValidationError:
            continue
        return candidate
    if Amount in models_in(wanted):
        parse_amount(text)
    return text


def field_type(model: type[BaseModel], kind: str, path: str) -> Any:
    """Give the type of a field; raises WrongUse where the kind has no such field."""
    name, _, rest = path.partition(".")
    field = model.model_fields.get(name)
    if field is None:
        near = difflib.get_close_matches(name, model.model_fields, n=1, cutoff=0.5)
        hint = f"; did you mean {near[0]}?" if near else "."
        fields = ", ".join(model.model_fields)
        raise WrongUse(f"{kind} has no field {path!r}{hint} It has: {fields}")
    if not rest:
        return field.rebuild_annotation()
    inner = next(models_in(field.annotation), None)
    if inner is None:
        raise WrongUse(f"{kind}: {name} has no fields of its own, so {path!r} means nothing.")
    return field_type(inner, kind, rest)


def _readings(text: str) -> Iterator[Any]:
    """Give the ways to read text, the most literal first."""
    try:
        parsed = json.loads(text)
        if not isinstance(parsed, str):
            yield parsed
    except (ValueError, RecursionError):
        pass
    yield text
    amount = amount_in(text)
    if amount is not None:
        yield amount
    if text.lower() in ("yes", "no"):
        yield text.lower() == "yes"


def amount_in(text: str) -> dict[str, str] | None:
    """Give a figure with its unit as an amount's plain form; None if it is not one."""
    try:
        amount: Amount = parse_amount(text)
    except UnitProblem:
        return None
    return {"value": amount.value, "unit": amount.unit}


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Give the models a field's type is made of."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from models_in(argument)


def _put(data: dict[str, Any], path: list[str], value: Any) -> None:
    for name in path[:-1]:
        data = data.setdefault(name, {})
        if not isinstance(data, dict):
            raise WrongUse(f"{'.'.join(path)} is given twice, once whole and once in part.")
    data[path[-1]] = value
