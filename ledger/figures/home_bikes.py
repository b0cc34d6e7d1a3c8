"""Bikes in a line each, from what is kept of them: found by letters, or seen last."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.home_keeps import BIKES, rows_now
from ledger.figures.home_shapes import BikeLine
from ledger.figures.tags import rows_of

_NAMES = ("bike", "make", "model", "last_seen_at")


def bikes_like(book: Book, letters: str = "", limit: int = 50) -> list[BikeLine]:
    """Give bikes whose tag, make and model, or rider's id hold some letters, seen last first.

    Letters are compared without regard to case; a rider's id must be whole. Joined tags are one
    bike, under the first of them.
    """
    table, wanted = rows_now(book, BIKES), letters.strip().lower()
    found = table.filter(_has(table, wanted)) if wanted else table
    order = [("last_seen_at", "descending"), ("bike", "ascending")]
    places = pc.select_k_unstable(found.select(list(_NAMES)), limit, order)
    return [BikeLine(**row) for row in found.select(list(_NAMES)).take(places).to_pylist()]


def _has(table: pa.Table, wanted: str) -> pa.ChunkedArray:
    make, model = (pc.fill_null(table[name], "") for name in ("make", "model"))
    named = pc.utf8_lower(pc.binary_join_element_wise(make, model, " "))
    is_tag = pc.match_substring(pc.utf8_lower(table["bike"]), wanted)
    is_rider = pc.fill_null(pc.equal(pc.utf8_lower(table["rider"]), wanted), False)
    return pc.or_(pc.or_(is_tag, pc.match_substring(named, wanted)), is_rider)


def count_bikes(book: Book) -> int:
    """Give how many bikes the book holds; joined tags are one."""
    return len(rows_now(book, BIKES))


def has_jobs(book: Book) -> bool:
    """Say whether the book holds any job, open or closed."""
    return bool(pc.max(rows_now(book, BIKES)["count_jobs"]).as_py())


def first_seen_at(book: Book) -> datetime | None:
    """Give when the first thing was recorded of any bike; None where nothing was."""
    found = pc.min(rows_now(book, BIKES)["first_seen_at"]).as_py()
    return None if found is None else found.astimezone(UTC)


def bike_lines(book: Book, tags: Iterable[str]) -> dict[str, BikeLine]:
    """Give the lines of some bikes by tag."""
    table = rows_now(book, BIKES).select(list(_NAMES))
    wanted = pa.array(sorted(set(tags)), pa.string())
    found = table.take(rows_of(wanted, table["bike"]).drop_null())
    return {row["bike"]: BikeLine(**row) for row in found.to_pylist()}
