"""What an address of the home page asks for: the front, or the rows behind one of its figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast, get_args
from urllib.parse import urlencode

from ledger.asking import Asker
from ledger.figures.home_shapes import SORTS, MonthSpan, Name, Sort

ROWS = "rows"
PLACE = "."
"""The home page's own address."""


def rows_asked(typed: Mapping[str, str]) -> Sort | Name | None:
    """Give the figure whose rows an address asks for; None for the front."""
    asked = typed.get(ROWS, "")
    return cast("Sort | Name", asked) if asked in (*SORTS, *get_args(Name)) else None


def rows_of(name: Sort | Name) -> str:
    """Give the address of the rows behind a figure."""
    return f"{PLACE}?{urlencode({ROWS: name})}"


def of_figure(name: Name, span: MonthSpan) -> str:
    """Give the address of the rows behind a figure of the month: its own page where it has one."""
    page = {"contribution": "earnings", "ratio": "time"}.get(name)
    if page is None:
        return rows_of(name)
    days = {"since": span.since.isoformat(), "until": span.until.isoformat()}
    return f"{page}?{urlencode(days)}"


def of_bike(tag: str, asker: Asker) -> str:
    """Give where a bike with a job open is worked on: the bench; its own page where one may not."""
    return f"{'bench' if asker.sees('bench') else 'bike'}?tag={tag}"
