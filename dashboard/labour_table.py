"""Tables of minutes and money: shown on a page and downloaded from one and the same rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from dashboard.fault_panels import kept
from dashboard.markup import text

Value = str | int | float | Decimal | date | None


@dataclass(frozen=True)
class Column:
    """One column: its head, the unit a download names with it, and how it is shown."""

    head: str
    unit: str = ""
    """Of the value, such as `min` or `EUR`; cells on the page carry their own."""
    is_figure: bool = False
    """Shown to the right, figure under figure."""
    is_shown: bool = True
    """False: in the download alone."""
    room: int = 0
    """Shown on any screen; 1: not on a telephone; 2: on a wide one alone."""

    @property
    def sheet_head(self) -> str:
        """The head in a download."""
        return f"{self.head} ({self.unit})" if self.unit else self.head


@dataclass(frozen=True)
class Cell:
    """One cell: what a download holds, and the HTML a page shows."""

    value: Value
    shown: str


@dataclass(frozen=True)
class Table:
    """Rows of cells under columns; `name` is what its file is called."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def heads(self) -> list[str]:
        """The heads of a download."""
        return [column.sheet_head for column in self.columns]

    @property
    def values(self) -> list[list[Value]]:
        """What a download holds, row by row."""
        return [[cell.value for cell in row] for row in self.rows]

    def html(self, caption: str = "", most: int | None = None) -> str:
        """Give the table as HTML, at most so many rows of it; the first cell heads its row."""
        shown = [place for place, column in enumerate(self.columns) if column.is_shown]
        heads = "".join(
            f'<th scope="col"{_side(self.columns[place])}>{text(self.columns[place].head)}</th>'
            for place in shown
        )
        body = "".join(_row(self.columns, row, shown) for row in self.rows[:most])
        named = f"<caption>{text(caption)}</caption>" if caption else ""
        return (
            f'<table class="lk-table lk-sums">{named}'
            f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
        )


def _row(columns: Sequence[Column], row: Sequence[Cell], shown: Sequence[int]) -> str:
    first, *rest = shown
    cells = "".join(f"<td{_side(columns[place])}>{row[place].shown}</td>" for place in rest)
    return f'<tr><th scope="row">{row[first].shown}</th>{cells}</tr>'


def _side(column: Column) -> str:
    names = ["lk-right"] * column.is_figure + [f"lk-room-{column.room}"] * bool(column.room)
    return f' class="{" ".join(names)}"' if names else ""


def word(value: str, small: str = "") -> Cell:
    """Give a cell of words, with a smaller line below them on the page."""
    return Cell(value, text(value) + (f"<small>{text(kept(small))}</small>" if small else ""))


def link(value: str, where: str, small: str = "") -> Cell:
    """Give a cell whose words lead somewhere."""
    below = f"<small>{text(kept(small))}</small>" if small else ""
    return Cell(value, f'<a href="{text(where)}" target="_self">{text(value)}</a>{below}')
