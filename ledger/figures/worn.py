"""Everything that is fitted over all readings of a book, kept beside it until more is recorded."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import compress

import numpy as np
import pyarrow as pa
import scipy

from ledger.analysis.usage import Usage
from ledger.analysis.wear import FamilyFit, WearFit, fit_wear
from ledger.analysis.wear_data import Family, sort_of
from ledger.analysis.wear_flags import Flagged
from ledger.analysis.wear_lines import Lines
from ledger.analysis.wear_rates import Pool, Rates
from ledger.analysis.wear_scale import Scales
from ledger.book import Book
from ledger.figures.ahead import WEAR, BookTables
from ledger.figures.gauges import errors_known
from ledger.figures.readings import BookReadings, book_readings
from ledger.kept.mark import Mark
from ledger.kept.whole import Whole, found_whole, latest_whole, whole

NEW_FIGURES = {"elongation": 0.0, "tooth_wear": 0.0, "capacity_left": 100.0}
"""What a new part reads by the definition of the quantity."""
_WORDS = ("limits.toml", "positions.toml", "quantities.toml")
CODE = tuple(
    f"ledger.{module}"
    for module in (
        "analysis.distances", "analysis.months", "analysis.readings", "analysis.reml_blocks",
        "analysis.reml_checks", "analysis.reml_drawn", "analysis.reml_likelihood", "analysis.unfit",
        "analysis.usage", "analysis.usage_pooling", "analysis.wear", "analysis.wear_columns",
        "analysis.wear_data", "analysis.wear_design", "analysis.wear_effects",
        "analysis.wear_flags", "analysis.wear_forecast", "analysis.wear_foretell",
        "analysis.wear_lines", "analysis.wear_rates", "analysis.wear_rough",
        "analysis.wear_scale", "analysis.wear_shared", "analysis.wear_slips",
        "engines.tables", "facts", "figures.ahead", "figures.gauges", "figures.mark_ranges",
        "figures.marks", "figures.readings", "figures.spells", "figures.worn", "kept",
        "kept.own_events", "queries", "settings", "state", "vocabulary",
        "vocabulary.amounts", "vocabulary.extend", "vocabulary.limits", "vocabulary.load",
        "vocabulary.units",
    )
)  # fmt: skip
"""What makes readings and the fit."""


@dataclass(frozen=True)
class Worn:
    """A book's readings, and the wear of every part fitted to them; nothing of the day asked."""

    tables: BookReadings
    fit: WearFit


@dataclass(frozen=True)
class Stood:
    """What was fitted last, and where the book stood then."""

    size: int
    commit: int
    worn: Worn


def worn_of(book: Book, ahead: BookTables) -> Worn:
    """Give the readings and the fit of all that wears: as kept, or fitted now and kept."""
    return whole(book, _keep(book), ahead.asked, lambda: _fitted(book, ahead, None))


def worn_alike(book: Book, ahead: BookTables, bikes: Collection[str]) -> Worn:
    """Give them as kept; else fitted to what wears like something that was read on these bikes."""
    found = found_whole(book, _keep(book), ahead.asked)
    return found or _fitted(book, ahead, bikes)


def readings_of(book: Book, ahead: BookTables) -> BookReadings:
    """Give the readings alone: those of the fit where that is kept."""
    found = found_whole(book, _keep(book), ahead.asked)
    return found.tables if found else book_readings(book, ahead=ahead)


def is_worn_kept(book: Book, ahead: BookTables) -> bool:
    """Say whether the fit is kept, so that nothing needs to be asked for it."""
    return found_whole(book, _keep(book), ahead.asked) is not None


def last_stood(book: Book) -> Stood | None:
    """Give the last fit that is kept of a book, of now or of before; None where none is."""
    found = latest_whole(book, _keep(book))
    return found and Stood(found[0].size, found[0].commit, found[1])


def fit_mark(book: Book, fit: WearFit) -> Mark | None:
    """Give where the book stood when a fit was made that is kept; None of any other."""
    found = latest_whole(book, _keep(book))
    return found[0] if found is not None and found[1].fit is fit else None


def _fitted(book: Book, ahead: BookTables, bikes: Collection[str] | None) -> Worn:
    tables = book_readings(book, ahead=ahead)
    readings = tables.readings if bikes is None else _alike(tables.readings, bikes)
    before = latest_whole(book, _keep(book))
    told = with_starts(book, readings, ahead.asked.known_seq)
    fit = fit_wear(told, before[1].fit if before else None)
    return Worn(BookReadings(readings, tables.parts, tables.distances, tables.usage), fit)


def _keep(book: Book) -> Whole[Worn]:
    parts = (BookReadings, Usage, WearFit, FamilyFit, Family, Flagged, Scales, Lines, Rates, Pool)
    uses = ("wear_marks", "measured_documents")
    return Whole(WEAR, Worn, uses, parts, code=CODE, given=given_by(book))


def given_by(book: Book) -> tuple[str, ...]:
    """Give what goes into the figures beside what the book holds: its settings and the words."""
    made_with = f"{np.__version__} {scipy.__version__}"
    return (book.settings.shop, book.settings.time_zone, made_with, _words())


@cache
def _words() -> str:
    """Give the standard words that say what wears and how far it may."""
    return "\0".join((files("ledger.vocabulary") / name).read_text("utf-8") for name in _WORDS)


def _alike(readings: pa.Table, bikes: Collection[str]) -> pa.Table:
    """Keep the readings of what wears like something that was read on these bikes."""
    names = ("position", "quantity")
    places, quantities = (readings[name].to_pylist() for name in names)
    kinds = [(sort_of(place), quantity) for place, quantity in zip(places, quantities, strict=True)]
    ours = set(compress(kinds, (bike in bikes for bike in readings["bike"].to_pylist())))
    return readings.filter(pa.array([kind in ours for kind in kinds], pa.bool_()))


def with_starts(book: Book, readings: pa.Table, known_seq: int) -> pa.Table:
    """Give the readings with the figure when new, and each gauge's registered error.

    The errors are those the book knew at a seq.
    """
    quantities = readings["quantity"].to_pylist()
    starts = [
        NEW_FIGURES.get(quantity) if start is None else start
        for quantity, start in zip(quantities, readings["start"].to_pylist(), strict=True)
    ]
    errors = errors_known(book, known_seq)
    known = [
        errors.get((gauge, quantity))
        for gauge, quantity in zip(readings["gauge"].to_pylist(), quantities, strict=True)
    ]
    place = readings.schema.get_field_index("start")
    return readings.set_column(place, "start", pa.array(starts, pa.float64())).append_column(
        "gauge_error", pa.array(known, pa.float64())
    )
