"""What the commands print: tables for people, JSON for programs, progress for the patient."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console

LEAST_WIDTH = 8
"""Characters a column keeps, however narrow the terminal."""
PIPED_WIDTH = 160
"""Columns a table may take where there is no terminal to ask."""

VERDICT_STYLES = {
    "within limit": "green",
    "watch": "yellow",
    "due": "bold yellow",
    "unsafe": "bold red",
    "not checked": "dim",
}


_UNSEEN = dict.fromkeys(
    [*range(9), *range(11, 32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)],
    "\ufffd",
)
"""Signs that steer a terminal, or turn the writing round; tab and line break are none of them."""


def shown(text: str) -> str:
    """Give text that somebody else wrote so that it cannot steer the terminal."""
    return text.translate(_UNSEEN)


def say(text: str = "") -> None:
    """Print one plain line on stdout."""
    print(shown(text))


def warn(text: str) -> None:
    """Print one plain line on stderr."""
    print(shown(text), file=sys.stderr)


def say_json(value: Any) -> None:
    """Print plain JSON types, readable and in the order they came."""
    print(json.dumps(value, ensure_ascii=False, indent=2))


def say_json_list(values: Iterable[Any]) -> None:
    """Print plain JSON types as one array, each as it comes: there may be many."""
    start = "[\n"
    for value in values:
        text = json.dumps(value, ensure_ascii=False, indent=2).replace("\n", "\n  ")
        print(f"{start}  {text}", end="")
        start = ",\n"
    print("[]" if start == "[\n" else "\n]")


def console(*, is_stderr: bool = False) -> Console:
    """Give a console that fits the terminal, or is wide and plain where there is none."""
    from rich.console import Console

    stream = sys.stderr if is_stderr else sys.stdout
    width = None if stream.isatty() or "COLUMNS" in os.environ else PIPED_WIDTH
    return Console(file=stream, width=width, highlight=False, soft_wrap=False)


def say_table(title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a table; nothing at all where there are no rows.

    A column named `>km` is aligned right, one named `!bike` is never broken over lines. Where the
    terminal is too narrow for the columns, each row is a paragraph of its own.
    """
    from rich import box
    from rich.table import Table
    from rich.text import Text

    kept = [list(row) for row in rows]
    if not kept:
        return
    out = console()
    if _least_width(columns, kept) > out.width:
        _say_paragraphs(out, title, [column.lstrip(">!") for column in columns], kept)
        return
    form = box.SIMPLE_HEAD if out.is_terminal else None
    table = Table(box=form, pad_edge=False, show_edge=False, padding=(0, 1) if form is None else 0)
    for column in columns:
        table.add_column(
            column.lstrip(">!"),
            justify="right" if column[0] == ">" else "left",
            no_wrap=column[0] in ">!",
            overflow="fold",
            min_width=0 if column[0] in ">!" else LEAST_WIDTH,
        )
    for row in kept:
        table.add_row(*(Text(shown(cell), style=VERDICT_STYLES.get(cell, "")) for cell in row))
    out.print(title, style="bold")
    out.print(table)
    out.print()


def _least_width(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    """Give the characters a table needs at the least, with two between columns."""
    total = 2 * (len(columns) - 1)
    for place, column in enumerate(columns):
        cells = [column.lstrip(">!"), *(row[place] for row in rows)]
        natural = max(len(line) for cell in cells for line in cell.split("\n"))
        total += natural if column[0] in ">!" else min(natural, LEAST_WIDTH)
    return total


def _say_paragraphs(
    out: Console, title: str, names: Sequence[str], rows: Sequence[Sequence[str]]
) -> None:
    from rich.padding import Padding
    from rich.text import Text

    out.print(title, style="bold")
    for row in rows:
        cells = [(name, shown(cell)) for name, cell in zip(names, row, strict=True) if cell]
        head = cells[0][1] if cells and cells[0][0] == names[0] else ""
        rest = cells[1:] if head else cells
        if head:
            out.print(Text(head))
        said = "; ".join(f"{name} {cell}" if name else cell for name, cell in rest)
        out.print(Padding(Text(said), (0, 0, 0, 2)))
    out.print()


@contextmanager
def progress(
    doing: str, total: int | None = None, *, is_long: bool = False
) -> Iterator[Callable[..., None]]:
    """Give a function to be told how many are done (of how many); a bar on a terminal only.

    What is long is said in one line where there is no terminal.
    """
    if not sys.stderr.isatty():
        if is_long:
            warn(f"{doing}: this takes a while.")
        yield lambda done, of=total: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn(doing), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(is_stderr=True), transient=True) as bar:
        task = bar.add_task(doing, total=total)

        def tell(done: int, of: int | None = total) -> None:
            bar.update(task, completed=done, total=of)

        yield tell
