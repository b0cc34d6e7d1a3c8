"""What stands in each column of a file: which date forms read it, how its figures are written."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ledger.exchange.figures import NotReadable, moment
from ledger.exchange.mapping import swapped
from ledger.exchange.workbook import Exact

_DAYS = (
    *("%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y"),
    *("%d/%m/%y", "%m/%d/%y", "%Y/%m/%d", "%Y.%m.%d", "%d-%m-%y", "%d %b %Y", "%d %B %Y"),
    *("%b %d, %Y", "%B %d, %Y", "%d-%b-%Y", "%d-%b-%y", "%Y%m%d"),
)
DATE_FORMS = tuple(f"{day}{clock}" for day in _DAYS for clock in ("", " %H:%M", " %H:%M:%S"))
"""Tried on every row; ISO forms need no trying."""

_BOTH = re.compile(r"\d([.,' \u00a0\u202f])\d{3}\1?.*([.,])\d{1,2}(?!\d)")
_TAIL = re.compile(r"\d([.,])(\d+)(?!.*\d)")
_DISTINCT_KEPT = 50


@dataclass(slots=True)
class Column:
    """What was seen in one column."""

    name: str
    count_filled: int = 0
    decimal: Counter[str] = field(default_factory=Counter)
    """Signs that must be decimal signs, by how often."""
    thousands: Counter[str] = field(default_factory=Counter)
    unsure: Counter[str] = field(default_factory=Counter)
    """Signs before exactly three digits: decimal or thousands."""
    distinct: Counter[str] = field(default_factory=Counter)
    """The first different cells."""

    def see(self, cell: str) -> None:
        """Take in one cell."""
        text = cell.strip()
        if not text:
            return
        self.count_filled += 1
        if text in self.distinct or len(self.distinct) < _DISTINCT_KEPT:
            self.distinct[text] += 1
        if not isinstance(cell, Exact):
            self._see_figure(text)

    def _see_figure(self, text: str) -> None:
        both = _BOTH.search(text)
        if both and both[1] != both[2]:
            self.thousands[both[1]] += 1
            self.decimal[both[2]] += 1
            return
        tail = _TAIL.search(text)
        if tail is None:
            return
        if text.count(tail[1]) > 1 and len(tail[2]) == 3:
            self.thousands[tail[1]] += 1
        elif len(tail[2]) == 3:
            self.unsure[tail[1]] += 1
        else:
            self.decimal[tail[1]] += 1


@dataclass(slots=True)
class DateForms:
    """Which forms read how many cells of a column of dates."""

    count: int = 0
    count_iso: int = 0
    reads: Counter[str] = field(default_factory=Counter)

    def see(self, cells: Iterable[str]) -> None:
        """Take in cells, a few thousand at a time; each different one is tried once.

        A form that read nothing at first is not tried again.
        """
        forms = tuple(self.reads) or DATE_FORMS
        for cell, times in Counter(cell.strip() for cell in cells).items():
            if not cell:
                continue
            self.count += times
            if _reads(cell, ()):
                self.count_iso += times
                continue
            for form in forms:
                if _reads(cell, (form,)):
                    self.reads[form] += times

    def chosen(self) -> list[str]:
        """Give the form that reads most, and any other that is not its contrary."""
        wanted = self.count - self.count_iso
        if not wanted or not self.reads:
            return []
        best, _ = self.reads.most_common(1)[0]
        if self.is_unsure():
            return [best, swapped(best)]
        if self.reads[best] == wanted:
            return [best]
        others = [form for form in self.reads if form not in (best, swapped(best))]
        return [best, *(form for form in others if not _contrary(form, best))]

    def is_unsure(self) -> bool:
        """Tell whether day and month may be either way round in every row."""
        if not self.reads:
            return False
        best, count = self.reads.most_common(1)[0]
        return swapped(best) != best and self.reads[swapped(best)] == count


def _contrary(form: str, best: str) -> bool:
    """Tell whether a form has day and month in the other order than the best one."""
    return (form.find("%d") < form.find("%m")) != (best.find("%d") < best.find("%m"))


def _reads(cell: str, forms: Sequence[str]) -> bool:
    try:
        moment(cell, forms)
    except NotReadable:
        return False
    return True
