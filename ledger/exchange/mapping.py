"""The mapping file: how the columns of a workshop's log become events.

It is TOML. Everything is optional but `[when]`, `[bike]`, `[actor]` and one `[[event]]`::

    [file]                         # only where detection goes wrong
    encoding = "windows-1252"
    delimiter = ";"
    sheet = "Log"                  # XLSX
    header_row = 1

    [when]
    column = "Datum"
    formats = ["%d.%m.%Y"]         # as in strptime; 2026-03-01 is always read
    time_column = "Zeit"
    time_of_day = "12:00"          # for a day without a time
    time_zone = "Europe/Berlin"    # else the book's

    [numbers]
    decimal = ","
    thousands = "."

    [money]
    currency = "EUR"               # else the book's
    tax_rate = "0.19"              # sums in the file include this tax

    [bike]
    key = ["Marke", "Kunde"]       # a new tag for each; or: tag = "Tag"
    [bike.fields]                  # what is known of a bike seen for the first time
    make = "Marke"

    [actor]
    column = "Wer"
    words = { Anna = "m1" }        # whole cells, and what they stand for
    otherwise = "m1"

    [job]                          # each row is a visit; or name the column of its number
    column = "Auftrag"

    [words.positions]              # free text: the longest word found in it counts
    "kmk" = "chain"

    [[event]]                      # in this order, for every row that has what it needs
    kind = "distance_read"
    needs = ["km"]
    [event.fields]
    odometer = { column = "km", unit = "km" }

    [[event]]
    kind = "treated"
    contains = { Arbeit = ["zentriert"] }
    [event.fields]
    treatment = { value = "trued" }
    position = { column = "Arbeit", find = "positions" }

    [[event]]
    kind = "part_fitted"           # takes off what sits there
    each = "Teile"                 # one event for each piece of this cell
    [event.fields]
    position = { column = "Teile", find = "positions" }
    model = "Teile"

A field is a column's name, or `{ column, value, otherwise, words, find, or_skip, prefix, unit,
in_hours }`.
Fields of a list are written `"lines.net_minor"`: one line a row. Without `needs`, `contains` or
`always`, an event is made where any of its columns has something in it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic_core import ErrorDetails

from ledger.errors import Problem, Refused, UnreadableInput
from ledger.events import BOOK_KINDS, event_classes, payload_class
from ledger.events.problems import nearest_words
from ledger.exchange.paths import Target, target


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Source(_Strict):
    """Where one field's text comes from."""

    column: str | None = None
    value: str | int | bool | None = None
    otherwise: str | None = None
    """Stands in for an empty cell, or for text in which nothing was found."""
    words: dict[str, str] = {}
    """Whole cells (without regard to case) and what they stand for."""
    find: str | None = None
    """The list of words to look for in the text: `positions`, or one of `[words]`."""
    prefix: str = ""
    unit: str | None = None
    """The unit of a figure that has none in its cell."""
    in_hours: bool = False
    or_skip: bool = False
    """Leaves the whole event out where no word is found, instead of rejecting the row."""

    @model_validator(mode="after")
    def _one_origin(self) -> Source:
        if (self.column is None) == (self.value is None):
            raise ValueError("needs either a column or a value")
        return self


def _named(value: Any) -> Any:
    return {"column": value} if isinstance(value, str) else value


Fields = dict[str, Source]


class _WithFields(_Strict):
    fields: Fields = {}

    @field_validator("fields", mode="before")
    @classmethod
    def _columns_by_name(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return {name: _named(source) for name, source in value.items()}


class FileForm(_Strict):
    """What of the file's form is not to be detected."""

    encoding: str | None = None
    delimiter: Annotated[str | None, Field(min_length=1, max_length=1)] = None
    sheet: str | None = None
    header_row: Annotated[int | None, Field(ge=1)] = None


class When(_Strict):
    """Which column says when a row happened."""

    column: str
    formats: tuple[str, ...] = ()
    time_column: str | None = None
    time_of_day: Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")] = "12:00"
    time_zone: str | None = None

    @field_validator("formats")
    @classmethod
    def _one_reading(cls, formats: tuple[str, ...]) -> tuple[str, ...]:
        for form in formats:
            _refuse_bad_form(form)
            other = swapped(form)
            if other in formats and other != form:
                raise ValueError(
                    f"'{form}' and '{other}' read the same text as two days; keep the right one"
                )
        return formats


def _refuse_bad_form(form: str) -> None:
    """Raise ValueError for a date form that nothing can be read by."""
    try:
        datetime.strptime("", form)
    except ValueError as error:
        if "directive" in str(error) or "stray" in str(error):
            raise ValueError(
                f"'{form}' is not a form of dates; write one such as %d.%m.%Y"
            ) from None
    except re.error:
        raise ValueError(f"'{form}' has a part twice; write one such as %d.%m.%Y") from None
    if not any(year in form for year in ("%Y", "%y", "%c", "%x")):
        raise ValueError(f"'{form}' has no year; write one such as %d.%m.%Y")


def swapped(form: str) -> str:
    """Give a date form with day and month the other way round."""
    return form.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")


class Numbers(_Strict):
    """How figures are written."""

    decimal: Annotated[str, Field(pattern=r"^[.,]$")] = "."
    thousands: Annotated[str, Field(pattern=r"^[.,' ]?$")] = ""

    @model_validator(mode="after")
    def _two_signs(self) -> Numbers:
        if self.decimal == self.thousands:
            raise ValueError("decimal and thousands are the same sign")
        return self


class Money(_Strict):
    """Which money sums are in, and the tax they include as a fraction."""

    currency: Annotated[str | None, Field(pattern=r"^[A-Z]{3}$")] = None
    tax_rate: Annotated[str, Field(pattern=r"^(0(\.\d{1,6})?|1)$")] = "0"


class BikeKey(_WithFields):
    """How a row's bike is told."""

    tag: str | None = None
    key: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _one_way(self) -> BikeKey:
        if (self.tag is None) == (not self.key):
            raise ValueError("needs either tag (a column of tags) or key (columns that tell bikes)")
        return self


class Job(_Strict):
    """Each row is one visit, by the number in a column if one is named."""

    column: str | None = None


class EventRule(_WithFields):
    """One event that a row gives rise to."""

    kind: str
    needs: tuple[str, ...] = ()
    contains: dict[str, tuple[str, ...]] = {}
    lacks: dict[str, tuple[str, ...]] = {}
    always: bool = False
    """Made for every row, whatever its cells hold."""
    each: str | None = None
    """A column whose cell is a list: one event a piece, which `contains` is held against too."""
    split: tuple[str, ...] = (",", ";", "+", "\n")


class Mapping(_Strict):
    """The whole mapping file."""

    file: FileForm = FileForm()
    when: When
    numbers: Numbers = Numbers()
    money: Money = Money()
    bike: BikeKey
    actor: Source
    job: Job | None = None
    words: dict[str, dict[str, str]] = {}
    event: Annotated[tuple[EventRule, ...], Field(min_length=1, max_length=200)]

    @field_validator("actor", mode="before")
    @classmethod
    def _column_by_name(cls, value: Any) -> Any:
        return _named(value)


def read_mapping(path: Path) -> Mapping:
    """Give the mapping in a file; raises UnreadableInput, or Refused with every problem."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UnreadableInput(f"The mapping {path} cannot be read: {error}.") from error
    return parse_mapping(text, path.name)


def parse_mapping(text: str, name: str = "mapping") -> Mapping:
    """Give the mapping in TOML text; `name` is what problems call it."""
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise UnreadableInput(f"{name} is not TOML: {error}.") from error
    try:
        mapping = Mapping.model_validate(raw)
    except ValidationError as error:
        raise Refused(_entry_problems(error, name)) from error
    problems = list(_payload_problems(mapping, name))
    if problems:
        raise Refused(problems)
    return mapping


def _entry_problems(error: ValidationError, name: str) -> Iterator[Problem]:
    found = error.errors(include_url=False)
    # Where one event is wrong, pydantic also counts the list of events as empty.
    wrong_events = any(details["loc"][:1] == ("event",) for details in found if details["loc"][1:])
    for details in found:
        if details["type"] == "too_short" and details["loc"] == ("event",) and wrong_events:
            continue
        steps = [str(step + 1) if isinstance(step, int) else step for step in details["loc"]]
        wrong, right = _entry_words(details)
        yield Problem(name, ".".join(steps) or "file", wrong, right, "mapping_entry")


def _entry_words(details: ErrorDetails) -> tuple[str, str]:
    """Give what is wrong with an entry and what would be right."""
    kind = details["type"]
    if kind == "extra_forbidden":
        word = str(details["loc"][-1])
        return "is not known here", nearest_words(word, _known_beside(details["loc"]))
    if kind == "missing":
        return "is missing", "Add it to the mapping file"
    if kind in ("model_type", "model_attributes_type"):
        return "is not a column's name or a table", 'Write "Column" or { column = "Column" }'
    return details["msg"].removeprefix("Value error, "), "Mend it in the mapping file"


def _known_beside(location: tuple[int | str, ...]) -> list[str]:
    models: dict[str, type[BaseModel]] = {
        "file": FileForm,
        "when": When,
        "numbers": Numbers,
        "money": Money,
        "bike": BikeKey,
        "actor": Source,
        "job": Job,
        "event": EventRule,
    }
    if len(location) == 1:
        return list(Mapping.model_fields)
    model = Source if "fields" in location[:-1] else models.get(str(location[0]), Mapping)
    return list(model.model_fields)


def _payload_problems(mapping: Mapping, name: str) -> Iterator[Problem]:
    """Find kinds, fields and word lists that the mapping names and nobody knows."""
    yield from _source_problems(mapping, mapping.actor, f"{name}: actor", "actor", None)
    yield from _fields_problems(mapping, "bike_registered", mapping.bike.fields, f"{name}: bike")
    for number, rule in enumerate(mapping.event, start=1):
        label = f"{name}: event {number}"
        kinds = event_classes().keys() - BOOK_KINDS
        if rule.kind not in kinds:
            wrong = f"'{rule.kind}' is not a kind of event a row can give"
            yield Problem(label, "kind", wrong, nearest_words(rule.kind, kinds), "mapping_kind")
        else:
            yield from _fields_problems(mapping, rule.kind, rule.fields, f"{label} ({rule.kind})")


def _fields_problems(mapping: Mapping, kind: str, fields: Fields, label: str) -> Iterator[Problem]:
    for path, source in fields.items():
        found = target(payload_class(kind), path)
        if isinstance(found, Target):
            yield from _source_problems(mapping, source, label, path, found)
        else:
            right = nearest_words(found.step, found.known)
            yield Problem(label, path, "is not a field of this kind", right, "mapping_field")


def _source_problems(
    mapping: Mapping, source: Source, label: str, path: str, found: Target | None
) -> Iterator[Problem]:
    if source.find not in (None, "positions", *mapping.words):
        right = nearest_words(source.find or "", ["positions", *mapping.words])
        yield Problem(label, path, f"there is no list '{source.find}'", right, "mapping_words")
    if source.unit is not None and found is not None and found.form != "amount":
        right = "Leave unit out: only figures with a unit take one"
        yield Problem(label, path, "is no figure with a unit", right, "mapping_unit")
