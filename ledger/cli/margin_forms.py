"""What each tier earns as plain JSON types, and as tables for a spreadsheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ledger.cli.labour_options import key_words
from ledger.cli.labour_plain import about, heading, heading_lines, plain, sheet, single
from ledger.errors import WrongUse
from ledger.figures.margin_shapes import (
    DearerAdvice,
    HeldBy,
    HeldJob,
    JobMargin,
    MonthMargin,
    OpenWork,
    TierMargin,
    WeekSold,
    WhatIfRow,
)

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.cli.labour_options import Files
    from ledger.cli.margin_asked import Changes
    from ledger.exchange.sheets import Sheet
    from ledger.figures.margin import BookMargin
    from ledger.figures.margin_shapes import WhatIf

PARTS = ("months", "capacity", "held", "dearer")
"""What is shown besides the tiers where it is asked for."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What of a book's margins is shown."""

    parts: tuple[str, ...]
    changes: Changes
    behind: tuple[str | None] | None
    """The tier whose jobs are listed; None for none of them."""
    limit: int | None
    """Rows of a list; None for all."""

    def has(self, part: str) -> bool:
        """Whether a part was asked for."""
        return part in self.parts

    @property
    def tables(self) -> list[str]:
        """What tables were asked for besides the tiers, as options."""
        more = {"what-if": bool(self.changes.tiers), "jobs": self.behind is not None}
        return [
            f"--{name}" for name in (*self.parts, *(one for one, is_it in more.items() if is_it))
        ]

    def refuse_several(self, files: Files) -> None:
        """Raise WrongUse where a CSV would have to hold several tables."""
        if files.csv is not None and len(self.tables) > 1:
            several = ", ".join(self.tables)
            raise WrongUse(f"A CSV holds one table: ask for one of {several}, or take --xlsx.")


def margin_json(book: Book, found: BookMargin, asked: Asked) -> dict[str, Any]:
    """Give all figures of what tiers earn; `what_if` and `jobs` are null where not asked for."""
    return {
        **heading(book, found),
        "total": plain(found.total),
        "tiers": plain(found.tiers),
        "months": plain(found.months),
        "not_carried": plain(found.not_carried),
        "break_even": plain(found.break_even),
        "capacity": plain(found.capacity),
        "held": plain(found.held),
        "dearer": plain(found.dearer),
        "what_if": plain(what_if(found, asked)),
        "jobs": plain(jobs(found, asked)) if asked.behind is not None else None,
    }


def what_if(found: BookMargin, asked: Asked) -> WhatIf | None:
    """Give the margins with the changes asked for; None where none are."""
    changes = asked.changes
    return found.what_if(changes.prices, changes.minutes) if changes.tiers else None


def jobs(found: BookMargin, asked: Asked) -> tuple[JobMargin, ...]:
    """Give the jobs of the tier asked for."""
    (tier,) = asked.behind or (None,)
    return found.jobs(tier, asked.limit)


# -- tables -----------------------------------------------------------------------------------


def table(book: Book, found: BookMargin, asked: Asked) -> Sheet:
    """Give the one table asked for: the tiers, or what stands for one of the other parts."""
    named = asked.tables[0].removeprefix("--") if asked.tables else "tiers"
    return _sheets(book, found, named, asked)[0]


def tables(book: Book, found: BookMargin, asked: Asked) -> list[Sheet]:
    """Give every table, what they are of first; what-if and jobs where they are asked for."""
    names = ["tiers", *PARTS, *(name.removeprefix("--") for name in asked.tables)]
    every = [one for name in dict.fromkeys(names) for one in _sheets(book, found, name, asked)]
    return [_about(book, found), *every]


def _sheets(book: Book, found: BookMargin, name: str, asked: Asked) -> list[Sheet]:
    """Give the tables of a part, the one that stands for it first."""
    rows: list[tuple[str, type, tuple[Any, ...]]]
    if name == "tiers":
        rows = [("tiers", TierMargin, found.tiers)]
    elif name == "months":
        rows = [("months", MonthMargin, found.months)]
    elif name == "capacity":
        capacity = found.capacity
        rows = [("weeks", WeekSold, capacity.weeks), ("open jobs", OpenWork, capacity.open_jobs)]
    elif name == "held":
        rows = [("held", HeldBy, found.held.rows), ("holds", HeldJob, found.held.jobs)]
    elif name == "dearer":
        rows = [("came back dearer", DearerAdvice, found.dearer.rows)]
    elif name == "what-if":
        changed = what_if(found, asked)
        rows = [("what if", WhatIfRow, changed.rows if changed else ())]
    else:
        (tier,) = asked.behind or (None,)
        rows = [(f"jobs of {key_words(tier)}", JobMargin, jobs(found, asked))]
    return [sheet(title, shape, some, book.settings) for title, shape, some in rows]


def _about(book: Book, found: BookMargin) -> Sheet:
    """Give what belongs to the shop as a whole, one figure a row."""
    lines = heading_lines(book, found)
    wholes = {
        "all": found.total,
        "caused": found.total.caused,
        "fixed cost": found.not_carried,
        "break even": found.break_even,
        "capacity": found.capacity,
        "held": found.held,
        "dearer": found.dearer,
    }
    for name, whole in wholes.items():
        lines += [] if whole is None else single(whole, f"{name}.")
    lines += [("caution", caution) for caution in found.dearer.cautions]
    return about("about", lines, book.settings)
