"""What is kept of a book's jobs, so that pages of time and earning are read, not worked out.

Wages, costs and tiers are in it, each as they were on its day: told anew by terms, or with another
time zone, all of it is made anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from functools import cache, partial

import pyarrow as pa

from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures import matching
from ledger.figures.job_ledger import USES, JobLedger, job_ledger
from ledger.kept import Keep, Read, is_made_by_range, keep_ready, kept, made_apart

Telling = Callable[[], AbstractContextManager[object]]
"""What is entered while something takes long."""
TABLES = ("jobs", "tasks", "days", "holds", "advice")
_CODE = tuple(
    f"ledger.{module}"
    for module in (
        "analysis.episodes", "analysis.rounding", "analysis.variances", "figures.advice_dearer",
        "figures.come_backs", "figures.fault_arrays", "figures.fault_distances",
        "figures.fault_then", "figures.job_causes", "figures.job_ledger", "figures.job_money",
        "figures.job_quotes", "figures.job_stretches", "figures.job_sums", "figures.job_tasks",
        "figures.kept_jobs", "figures.matched_marks", "figures.matching",
        "figures.terms_in_force", "kept.reading", "money",
    )
)  # fmt: skip


def _keeps(making: _Making, ledger: JobLedger) -> dict[str, Keep]:
    """Give what is kept, by name; `ledger` tells the terms, words and settings that hold."""
    uses = tuple(dict.fromkeys((*USES, *matching.USES)))
    given = (_terms_of(ledger),)
    return {
        name: Keep(f"job_{name}", uses, partial(making.table, name), _CODE, given)
        for name in TABLES
    }


def _terms_of(ledger: JobLedger) -> str:
    """Give in text all that the tables depend on beside the bikes' events."""
    terms = [told.model_dump(mode="json", exclude={"region"}) for told in ledger.terms.told]
    systems = {code: word.system for code, word in ledger.words.positions.items()}
    return json.dumps([terms, systems, ledger.settings.time_zone], sort_keys=True)


class _Making:
    """Makes the tables; those of the same reading share what they are made from, meanwhile."""

    def __init__(self, ledger: JobLedger) -> None:
        self._ledger = ledger
        self._last: tuple[Read, JobLedger] | None = None
        self._is_sharing = False

    def table(self, name: str, read: Read) -> pa.Table:
        """Give a table of what is read."""
        found: pa.Table = getattr(self._of(read), name)
        return found

    def _of(self, read: Read) -> JobLedger:
        if self._last is not None:
            last, ledger = self._last
            if last is read or (last.is_whole and read.is_whole):
                return ledger
        ledger = replace(self._ledger, source=read)
        self._last = (read, ledger) if self._is_sharing else None
        return ledger

    @contextmanager
    def sharing(self) -> Iterator[None]:
        """Let go of what is shared at the end: it is large."""
        self._is_sharing = True
        try:
            yield
        finally:
            self._is_sharing, self._last = False, None


def _ready(
    book: Book, keeps: Mapping[str, Keep], making: _Making, telling: Telling = nullcontext
) -> None:
    @contextmanager
    def both() -> Iterator[None]:
        with telling(), making.sharing():
            yield

    keep_ready(book, keeps.values(), both)


def jobs_ready(book: Book, telling: Telling = nullcontext) -> None:
    """Make what is not kept yet of a book's jobs; `telling` is entered where that takes long."""
    ledger = job_ledger(book)
    making = _Making(ledger)
    _ready(book, _keeps(making, ledger), making, telling)


def kept_of_jobs(book: Book, asked: Asked, ledger: JobLedger) -> Callable[[str], pa.Table | None]:
    """Give what gives a table by its name, as at an instant, as known to a seq.

    As it is kept; of a great book, where nothing is, made a range of bikes at a time. None of a
    book that is looked at all at once.
    """
    making = _Making(ledger)
    keeps = _keeps(making, ledger)
    is_ready = False

    @cache
    def apart() -> Mapping[str, pa.Table]:
        with making.sharing():
            return made_apart(book, list(keeps.values()), asked)

    def found(name: str) -> pa.Table | None:
        nonlocal is_ready
        if asked.known_seq >= book.head.size:
            if not is_ready:
                _ready(book, keeps, making)
                is_ready = True
            if (table := kept(book, keeps[name], asked)) is not None:
                return table
        return apart()[keeps[name].name] if is_made_by_range(book) else None

    return found
