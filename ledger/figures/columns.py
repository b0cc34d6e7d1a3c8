"""Some rows of a table as plain arrays, column by column, each made when it is first asked for."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import Coded, Flags, Integers, coded, flags
from ledger.figures.job_sums import whole


class Columns:
    """Rows of a table; a column of whole figures is had by its name, 0 for null."""

    def __init__(self, table: pa.Table, rows: Integers | None = None) -> None:
        """`rows` are the places of the rows meant; all of them for None."""
        self.table = table
        self.rows = np.arange(len(table)) if rows is None else rows
        self._whole: dict[str, Integers] = {}

    def __len__(self) -> int:
        """Give how many rows there are."""
        return len(self.rows)

    def __getitem__(self, name: str) -> Integers:
        """Give a column of whole figures."""
        if name not in self._whole:
            self._whole[name] = whole(self.table[name])[self.rows]
        return self._whole[name]

    def total(self, name: str) -> int:
        """Give the sum of a column."""
        return int(self[name].sum())

    def flags(self, name: str) -> Flags:
        """Give a column of true and false; false for null."""
        return flags(self.table[name])[self.rows]

    def codes(self, name: str) -> Coded:
        """Give a column of text as codes."""
        return coded(self.taken(name))

    def taken(self, name: str) -> pa.Array:
        """Give a column as it is."""
        return self.table[name].combine_chunks().take(pa.array(self.rows))

    def kept(self, is_kept: Flags) -> Columns:
        """Give the rows that are marked."""
        found = Columns(self.table, self.rows[is_kept])
        found._whole = {name: values[is_kept] for name, values in self._whole.items()}
        return found

    def at(self, places: Integers) -> list[dict[str, object]]:
        """Give rows at some places, as plain values."""
        found: list[dict[str, object]] = self.table.take(pa.array(self.rows[places])).to_pylist()
        return found


def between(table: pa.Table, name: str, first: int, last: int) -> Columns:
    """Give the rows of a table whose figure is between two, both included; null is not."""
    figure = table[name].combine_chunks()
    chosen = pc.and_(pc.greater_equal(figure, first), pc.less_equal(figure, last))
    return Columns(table, np.flatnonzero(flags(chosen)))
