"""How one field of a payload gets its value from the cells of a row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ledger.errors import Problem, Refused
from ledger.events import payload_class
from ledger.events.types import format_moment
from ledger.exchange import figures, mapping
from ledger.exchange.figures import NotReadable, shown
from ledger.exchange.mapping import Source
from ledger.exchange.paths import Target, put, target
from ledger.exchange.words import WordList, plain_form, standard_position
from ledger.settings import local_moment

Cells = Sequence[str]
_HAS_LINES = frozenset({"quote_given", "job_closed"})
_YES = frozenset({"yes", "y", "true", "1", "x", "ja", "oui", "wahr", "vrai"})
_NO = frozenset({"no", "n", "false", "0", "", "nein", "nee", "non", "falsch", "faux"})


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a row is not accepted: the column it lies in, what is wrong, what would be right."""

    column: str
    wrong: str
    right: str

    def __str__(self) -> str:
        """Give the words of the last column of the file of rejected rows."""
        return f"{self.column}: {self.wrong}. {self.right}"


class Skipped(Exception):
    """An event that the mapping leaves out where no word is found."""


class RowWrong(Exception):
    """A row that cannot be read by its mapping, with every reason found."""

    def __init__(self, *reasons: Reason) -> None:
        super().__init__("; ".join(map(str, reasons)))
        self.reasons = reasons


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a mapping leaves to the book: its time zone, its currency and its digits."""

    zone: tzinfo
    currency: str
    digits_of: Callable[[str], int]
    """Currency -> its number of minor digits."""
    now: datetime


Maker = Callable[[Cells], Any]
"""Gives a field's value from the cells, or None where there is nothing; raises RowWrong."""


class FieldReader:
    """Makes, for each field a mapping names, the function that reads it from a row's cells."""

    def __init__(
        self, mapped: mapping.Mapping, index: Mapping[str, int], around: Surroundings
    ) -> None:
        """`index` is where each column of the file stands."""
        self._mapping = mapped
        self._index = index
        self._around = around
        self.zone = self._time_zone()
        self._currency = mapped.money.currency or around.currency
        self._digits = self._minor_digits()
        self._lists = {name: WordList(words) for name, words in mapped.words.items()}

    def makers(self, kind: str, fields: dict[str, Source]) -> list[tuple[Target, Maker]]:
        """Give (field, its maker) for each field a mapping names of one kind's payload."""
        made = []
        for path, source in fields.items():
            found = target(payload_class(kind), path)
            assert isinstance(found, Target)
            made.append((found, self._maker(found, path, source)))
        return made

    def _maker(self, found: Target, path: str, source: Source) -> Maker:
        text = self.text_maker(source)
        if found.form == "text":
            return text
        convert = self._converter(found, path, source)
        column = source.column or path

        def make(cells: Cells) -> Any:
            value = text(cells)
            if value is None or not isinstance(value, str):
                return value
            try:
                return convert(value)
            except NotReadable as error:
                raise RowWrong(Reason(column, error.wrong, error.right)) from None

        return make

    def text_maker(self, source: Source) -> Maker:
        """Give what reads a field's text: the cell, translated; or the constant."""
        if source.column is None:
            return lambda cells: source.value
        index, column = self._index[source.column], source.column
        words = WordList(source.words) if source.words else None

        def make(cells: Cells) -> str | None:
            cell = cells[index]
            if not cell.strip():
                return source.otherwise
            try:
                if source.find is not None:
                    return self._found(cell, source.find)
            except NotReadable as error:
                if source.otherwise is not None:
                    return source.otherwise
                if source.or_skip:
                    raise Skipped from None
                raise RowWrong(Reason(column, error.wrong, error.right)) from None
            known = words.whole(cell) if words else None
            if known is not None:
                return known
            text = cell if not source.prefix else source.prefix + cell.strip()
            return text if type(cell) is not str and not source.prefix else text.strip()

        return make

    def _found(self, cell: str, list_name: str) -> str:
        own = self._lists.get(list_name)
        found = own.find(cell) if own else None
        if found is not None:
            return found
        if list_name == "positions":
            return standard_position(cell)
        raise NotReadable(f"{shown(cell)} has no word of the list '{list_name}'", "Add one")

    def _converter(self, found: Target, path: str, source: Source) -> Callable[[str], Any]:
        decimal, thousands = self._mapping.numbers.decimal, self._mapping.numbers.thousands
        formats = self._mapping.when.formats
        converters: dict[str, Callable[[str], Any]] = {
            "amount": lambda cell: figures.amount(cell, source.unit, decimal, thousands),
            "minutes": lambda cell: figures.minutes(cell, source.in_hours, decimal, thousands),
            "decimal": lambda cell: figures.decimal_text(cell, decimal, thousands),
            "whole": lambda cell: _whole(figures.decimal_text(cell, decimal, thousands), cell),
            "money": lambda cell: self._money(cell, path),
            "flag": _flag,
            "moment": lambda cell: self._moment(cell),
            "day": lambda cell: figures.day(cell, formats).isoformat(),
        }
        return converters[found.form]

    def _moment(self, cell: str) -> str:
        local, _ = figures.moment(cell, self._mapping.when.formats)
        if local.tzinfo:
            return format_moment(local)
        try:
            return format_moment(local_moment(local, self.zone))
        except ValueError:
            wrong = f"{shown(cell)} is skipped by the clocks of {self.zone}, which go forward then"
            raise NotReadable(wrong, "Write a time that they show") from None

    def _money(self, cell: str, path: str) -> int:
        numbers = self._mapping.numbers
        minor = figures.minor_units(cell, self._digits, numbers.decimal, numbers.thousands)
        if path.endswith("net_minor"):
            minor = minor / (1 + Decimal(self._mapping.money.tax_rate))
        return int(minor.to_integral_value(ROUND_HALF_EVEN))

    def complete(self, kind: str, data: dict[str, Any]) -> dict[str, Any]:
        """Add what every line of money needs and no log says."""
        if kind in _HAS_LINES and data.get("lines"):
            rate = self._mapping.money.tax_rate
            usual = {"line": "1", "line_type": "labour", "code": "service", "tax_rate": rate}
            data["lines"] = [{**usual, **line} for line in data["lines"]]
            data.setdefault("currency", self._currency)
        elif any(name in data for name in ("ceiling_minor", "value_minor", "price_minor")):
            data.setdefault("currency", self._currency)
        return data

    def _minor_digits(self) -> int:
        try:
            return self._around.digits_of(self._currency)
        except ValueError:
            wrong = f"'{self._currency}' is not an ISO 4217 currency"
            right = "Write one such as EUR"
            problem = Problem("mapping", "money.currency", wrong, right, "mapping_currency")
            raise Refused([problem]) from None

    def _time_zone(self) -> tzinfo:
        name = self._mapping.when.time_zone
        if name is None:
            return self._around.zone
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            right = "Write one such as Europe/Lisbon"
            wrong = f"'{name}' is no time zone"
            raise Refused(
                [Problem("mapping", "when.time_zone", wrong, right, "mapping_zone")]
            ) from None


def payload(makers: Sequence[tuple[Target, Maker]], cells: Cells) -> dict[str, Any]:
    """Give a payload from what its fields' makers find in the cells."""
    data: dict[str, Any] = {}
    for found, make in makers:
        value = make(cells)
        if value is not None:
            put(data, found.steps, value)
    return data


def _whole(text: str, cell: str) -> int:
    value = Decimal(text)
    if value != value.to_integral_value():
        raise NotReadable(f"{shown(cell)} is not a whole number", "Write one such as 11")
    return int(value)


def _flag(cell: str) -> bool:
    word = plain_form(cell)
    if word in _YES or word in _NO:
        return word in _YES
    raise NotReadable(f"{shown(cell)} is neither yes nor no", "Write yes or no")
