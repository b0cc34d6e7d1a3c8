"""Fittings and removals of parts with what was said of each part, kept beside a great book."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.kept import Keep, Read, kept
from ledger.kept.reading import of_all

Flags = np.ndarray[Any, np.dtype[np.bool_]]
END_OF_TIME = datetime(2201, 1, 1, tzinfo=UTC)
SAID = ("make", "model", "batch")
"""What may be said of a part when it is fitted."""
_PLACES = ("bike", "seq", "occurred_at", "position", "part", "make", "model", "is_found", "at_km")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What parts are looked for; all that is told must hold. Capitals do not matter."""

    text: str | None = None
    """Part of a make, of a model, of both in a row, or of a batch."""
    make: str | None = None
    model: str | None = None
    batch: str | None = None
    position: str | None = None
    """Itself, or any under it: `rear_wheel` finds `rear_wheel.tyre`."""


def _folded(text: str | None) -> str:
    return " ".join((text or "").casefold().split())


def _moves(read: Read) -> pa.Table:
    """Make the table from relations: a row a live fitting or removal."""
    marks = read("distance_marks")
    moves = marks.filter(pc.not_equal(marks["kind"], "distance_read"))
    is_fitting = pc.equal(moves["kind"], "part_fitted")
    found = moves.select(list(_PLACES))
    found = found.set_column(
        found.schema.get_field_index("is_found"),
        "is_found",
        pc.and_(pc.fill_null(moves["is_found"], False), is_fitting),
    )
    reason = pc.if_else(is_fitting, pa.scalar(None, pa.string()), moves["outcome"])
    return (
        found.append_column("is_fitting", is_fitting)
        .append_column("reason", reason)
        .append_column("batch", _batches(read, moves))
    )


def _batches(read: Read, moves: pa.Table) -> pa.Array:
    """Give the batch said with each move: it has no column, so it is read from what was stored."""
    fittings = read("fitting_documents")
    told = fittings.filter(pc.match_substring(fittings["canonical"], '"batch":'))
    said = [json.loads(text)["data"].get("batch") for text in told["canonical"].to_pylist()]
    at = pc.index_in(moves["seq"], _whole(told["seq"]))
    return pa.array(said, pa.string()).take(_whole(at))


def _seen(read: Read) -> pa.Table:
    return read("bike_summary").select(["bike", "rider", "distance_km", "last_seen_at"])


_CODE = ("ledger.shops.part_moves", "ledger.kept.reading")
OF_MOVES = Keep("part_moves", ("distance_marks", "fitting_documents"), _moves, _CODE)
OF_SEEN = Keep("bikes_seen", ("bike_summary",), _seen, _CODE)
USES = (*OF_MOVES.uses, *OF_SEEN.uses)
"""The relations that both are made from."""
OF_FITTED_WHERE = (OF_MOVES, OF_SEEN)
"""What is kept so that a part is found without reading events."""


def moves_of(book: Book, known_seq: int) -> pa.Table:
    """Give every live fitting and removal as the book knew it, whenever it occurred.

    Columns: bike (the first of joined tags), seq, occurred_at, position, part, make, model,
    batch, is_fitting, is_found, at_km (the bike's distance then) and reason (of a removal). A
    fitting that says neither make, model nor batch has those last said of that part.
    """
    found = kept(book, OF_MOVES, Asked(END_OF_TIME, known_seq))
    return _with_said(_moves(of_all(book, known_seq)) if found is None else found)


def moves_from(read: Read) -> pa.Table:
    """Give the same from relations of a book, read as they are asked."""
    return _with_said(_moves(read))


def _with_said(moves: pa.Table) -> pa.Table:
    is_blank = pc.and_(
        moves["is_fitting"],
        pc.and_(
            pc.is_null(moves["make"]),
            pc.and_(pc.is_null(moves["model"]), pc.is_null(moves["batch"])),
        ),
    )
    if not pc.any(is_blank).as_py():
        return moves
    parts = pc.unique(moves.filter(is_blank)["part"]).drop_null()
    places = np.flatnonzero(
        pc.and_(moves["is_fitting"], pc.is_in(moves["part"], parts)).to_numpy(zero_copy_only=False)
    )
    rows = moves.take(places).to_pylist()
    order = sorted(range(len(rows)), key=lambda at: (rows[at]["occurred_at"], rows[at]["seq"]))
    said: dict[str, tuple[Any, ...]] = {}
    told: dict[int, tuple[Any, ...]] = {}
    for at in order:
        row = rows[at]
        values = tuple(row[name] for name in SAID)
        if any(value is not None for value in values):
            said[row["part"]] = values
        else:
            told[int(places[at])] = said.get(row["part"], values)
    return _replaced(moves, told)


def _replaced(moves: pa.Table, told: dict[int, tuple[Any, ...]]) -> pa.Table:
    places = np.fromiter(told, np.int64, len(told))
    is_told = np.zeros(len(moves), dtype=np.bool_)
    is_told[places] = True
    in_order = [told[place] for place in sorted(told)]
    for at, name in enumerate(SAID):
        values = pa.array([one[at] for one in in_order], pa.string())
        column = pc.replace_with_mask(_whole(moves[name]), pa.array(is_told), values)
        moves = moves.set_column(moves.schema.get_field_index(name), name, column)
    return moves


def wanted_in(moves: pa.Table, wanted: Wanted) -> pa.Array:
    """Give which rows are fittings of what is looked for."""
    fits: Flags = moves["is_fitting"].to_numpy()
    for name in SAID:
        if getattr(wanted, name) is not None:
            fits = fits & _where(moves[name], partial(_is_same, getattr(wanted, name)))
    if text := _folded(wanted.text):
        fits = fits & _said_in(moves, text)
    if wanted.position is not None:
        under = f"{wanted.position}."
        is_under = _where(
            moves["position"], lambda one: one == wanted.position or (one or "").startswith(under)
        )
        fits = fits & is_under
    return pa.array(fits)


def _is_same(one: str | None, other: str | None) -> bool:
    return _folded(one) == _folded(other)


def _said_in(moves: pa.Table, text: str) -> Flags:
    """Give which rows say a text in one of make, model and batch, or in make and model in a row."""
    found = np.zeros(len(moves), dtype=np.bool_)
    for name in SAID:
        found |= _where(moves[name], lambda one: text in _folded(one))
    if " " in text:
        both = pc.binary_join_element_wise(
            pc.fill_null(moves["make"], ""), pc.fill_null(moves["model"], ""), " "
        )
        found |= _where(both, lambda one: text in _folded(one))
    return found


def _where(column: pa.ChunkedArray, is_meant: Callable[[str | None], bool]) -> Flags:
    """Give which rows of a column are meant, each of its values looked at once."""
    code, names = _coded(column)
    found: Flags = np.array([is_meant(name) for name in names], dtype=np.bool_)[code]
    return found


def _coded(column: pa.ChunkedArray) -> tuple[np.ndarray[Any, np.dtype[np.int64]], list[str | None]]:
    """Give a column as places in the list of its values; null is the last of them."""
    of = _whole(column).dictionary_encode()
    names: list[str | None] = of.dictionary.to_pylist()
    code = of.indices.fill_null(len(names)).to_numpy().astype(np.int64)
    return code, [*names, None]


def ends_of(moves: pa.Table, order: tuple[str, ...] = ("occurred_at", "seq")) -> pa.Table:
    """Give moves of whole bikes in order of bike, position and time, with how each was followed.

    Adds `ended_at` and `end_reason` (`replaced`, or what the removal says), null for the last at
    its position: of a fitting, the part is still there.
    """
    keys = [
        ("bike", "ascending"),
        ("position", "ascending"),
        *((name, "ascending") for name in order),
    ]
    ordered = moves.take(pc.sort_indices(moves, sort_keys=keys)).combine_chunks()
    if not len(ordered):
        nothing = pa.nulls(0, moves.schema.field("occurred_at").type)
        return ordered.append_column("ended_at", nothing).append_column(
            "end_reason", pa.nulls(0, pa.string())
        )
    is_last = np.ones(len(ordered), dtype=np.bool_)
    same = np.ones(len(ordered) - 1, dtype=np.bool_)
    for name in ("bike", "position"):
        code, _ = _coded(ordered[name])
        same &= code[1:] == code[:-1]
    is_last[:-1] = ~same
    follower = np.minimum(np.arange(len(ordered)) + 1, len(ordered) - 1)
    nxt = pa.array(follower, mask=is_last)
    reason = pc.if_else(ordered["is_fitting"], "replaced", ordered["reason"])
    return ordered.append_column(
        "ended_at", _whole(ordered["occurred_at"]).take(nxt)
    ).append_column("end_reason", _whole(reason).take(nxt))


def _whole(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
