"""Columns of a table of readings, whatever holds them: read as figures or codes, bad ones named."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from ledger.errors import LedgerError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Table: TypeAlias = pa.Table | Mapping[str, Any]


class ReadingsWrong(LedgerError):
    """A table of readings cannot be used: says the row, the field, and what would be right."""


def as_table(given: Any) -> Table:
    """Give a table, whose columns are equally long, of anything that has columns by name.

    An Arrow table or record batch, a data frame, or a mapping of sequences. Raises ReadingsWrong.
    """
    if isinstance(given, pa.Table):
        return given
    if isinstance(given, pa.RecordBatch):
        return pa.Table.from_batches([given])
    if isinstance(given, Mapping):
        columns = dict(given)
    elif hasattr(given, "columns") and hasattr(given, "__getitem__"):
        columns = {str(name): given[name] for name in given.columns}
    else:
        raise ReadingsWrong(
            f"the readings: they are a {type(given).__name__}; "
            "give an Arrow table, or a mapping of column names to sequences"
        )
    _check_lengths(columns)
    return columns


def _check_lengths(columns: Mapping[str, Any]) -> None:
    size: tuple[str, int] | None = None
    for name, values in columns.items():
        if isinstance(values, str) or not hasattr(values, "__len__"):
            what = type(values).__name__
            raise ReadingsWrong(f"column {name}: it is one {what}; give a sequence, one a reading")
        size = size or (name, len(values))
        if len(values) != size[1]:
            wrong = f"it has {len(values)} rows where {size[0]} has {size[1]}"
            raise ReadingsWrong(f"column {name}: {wrong}; give one entry a reading")


def names_of(table: Table) -> list[str]:
    """Give the names of a table's columns."""
    return list(table.column_names) if isinstance(table, pa.Table) else list(table)


def refuse(rows: Flags, field: str, wrong: str, right: str) -> None:
    """Raise ReadingsWrong naming the first row marked, counted from 0."""
    if rows.any():
        raise ReadingsWrong(f"reading {int(np.argmax(rows))}: {field} {wrong}; {right}")


def need_one_of(table: Table, names: tuple[str, ...], right: str) -> None:
    """Raise ReadingsWrong where a table has none of these columns."""
    found = names_of(table)
    if not set(names) & set(found):
        raise ReadingsWrong(
            f"the readings: there is no column {' or '.join(names)}, "
            f"only {', '.join(found) or 'none at all'}; {right}"
        )


def column(table: Table, name: str) -> list[Any] | None:
    """Give a column as a list, or None where the table has none of that name."""
    if isinstance(table, pa.Table):
        return table[name].to_pylist() if name in table.column_names else None
    return None if name not in table else list(table[name])


def floats(table: Table, name: str, size: int, missing: float = np.nan) -> Floats:
    """Give a column as floats, nulls as NaN; `missing` where there is no such column.

    Raises ReadingsWrong for what is not a number.
    """
    if isinstance(table, pa.Table) and name in table.column_names:
        try:
            found = table[name].cast(pa.float64()).to_numpy()
            return np.array(found, dtype=np.float64)
        except pa.ArrowInvalid:
            pass  # found below, with its row
    listed = column(table, name)
    if listed is None:
        return np.full(size, missing)
    try:
        return np.array([np.nan if each is None else each for each in listed], dtype=np.float64)
    except (TypeError, ValueError):
        return np.array([_figure(each, name, row) for row, each in enumerate(listed)])


def _figure(value: Any, name: str, row: int) -> float:
    try:
        return np.nan if is_missing(value) else float(value)
    except (TypeError, ValueError):
        wrong = f"reading {row}: {name} is {value!r}"
        raise ReadingsWrong(f"{wrong}; give a number, or nothing where there is none") from None


def is_missing(value: Any) -> bool:
    """Say whether a value stands for none: None, NaN, or a data frame's own null."""
    return value is None or (isinstance(value, float) and value != value) or str(value) == "<NA>"


def codes(table: Table, name: str, size: int) -> tuple[Ints, list[str]]:
    """Give a text column as codes into its sorted levels; -1 for null or no such column."""
    if isinstance(table, pa.Table):
        listed = table[name].combine_chunks() if name in table.column_names else None
        if listed is not None and not pa.types.is_string(listed.type):
            listed = listed.cast(pa.string())
    else:
        values = column(table, name)
        texts = [None if is_missing(each) else str(each) for each in values or []]
        listed = None if values is None else pa.array(texts, pa.string())
    if listed is None:
        return np.full(size, -1, dtype=np.int64), []
    encoded = listed.dictionary_encode()
    names = encoded.dictionary.to_pylist()
    order = sorted(range(len(names)), key=names.__getitem__)
    place = np.empty(len(names) + 1, dtype=np.int64)
    place[order] = np.arange(len(names))
    place[-1] = -1
    raw = encoded.indices.fill_null(len(names)).to_numpy(zero_copy_only=False)
    return place[raw.astype(np.int64)], [names[each] for each in order]


def row_count(table: Table) -> int:
    """Give how many rows a table has."""
    if isinstance(table, pa.Table):
        return int(table.num_rows)
    return len(next(iter(table.values()), ()))


def moments(table: Table, name: str) -> Floats:
    """Give a column of instants as microseconds since 1970, or plain numbers as they are.

    Instants without a time zone count as UTC. Raises ReadingsWrong for what is neither.
    """
    need_one_of(table, (name,), "give when each reading was")
    held = table[name] if isinstance(table, pa.Table) else _instants(table[name], name)
    is_missing_one = np.asarray(held.is_null().to_numpy(zero_copy_only=False), dtype=bool)
    refuse(is_missing_one, name, "is missing", "give an instant for every reading")
    if not pa.types.is_integer(held.type) and not pa.types.is_floating(held.type):
        try:
            held = held.cast(pa.timestamp("us", "UTC"), safe=False).cast(pa.int64())
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
            raise ReadingsWrong(f"column {name}: {error}; give instants or numbers") from None
    found = np.array(held.to_numpy(zero_copy_only=False), dtype=np.float64)
    refuse(~np.isfinite(found), name, "is no instant", "give an instant or a number")
    return found


def _instants(values: Any, name: str) -> pa.Array:
    try:
        read = [datetime.fromisoformat(one) if isinstance(one, str) else one for one in values]
        return pa.array(read, from_pandas=True)
    except (ValueError, pa.ArrowTypeError, pa.ArrowNotImplementedError) as error:
        raise ReadingsWrong(f"column {name}: {error}; give instants or numbers") from None
