"""The standard vocabulary, read once from the TOML files beside this module."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from importlib import resources
from typing import Any

from ledger.vocabulary.amounts import parse_amount
from ledger.vocabulary.limits import Limit
from ledger.vocabulary.units import canonical
from ledger.vocabulary.words import PositionWord, QuantityWord, TaskWord, Window, Word


def read(name: str) -> dict[str, Any]:
    """Give one TOML file of the vocabulary as plain data."""
    return tomllib.loads(resources.files("ledger.vocabulary").joinpath(name).read_text("utf-8"))


def words(table: Mapping[str, str]) -> dict[str, Word]:
    """Give the words of a table of labels."""
    return {code: Word(code, label) for code, label in table.items()}


def tasks(table: Mapping[str, str]) -> dict[str, TaskWord]:
    """Give the tasks of a table of labels."""
    return {code: TaskWord(code, label) for code, label in table.items()}


def positions(table: Mapping[str, Any]) -> dict[str, PositionWord]:
    """Give the positions; a position's system is the part before its first dot, unless given."""
    return {
        code: PositionWord(
            code,
            row["label"],
            row.get("system", code.partition(".")[0]),
            row.get("is_torqued", False),
            tuple(row.get("hides", ())),
        )
        for code, row in table.items()
    }


def quantities(table: Mapping[str, Any]) -> dict[str, QuantityWord]:
    """Give the quantities with their figures as exact decimals."""
    return {
        code: QuantityWord(
            code,
            row["label"],
            row["unit"],
            row["digits"],
            Decimal(row["lowest"]),
            Decimal(row["highest"]),
            (Decimal(row["usual"][0]), Decimal(row["usual"][1])),
        )
        for code, row in table.items()
    }


def limit(row: Mapping[str, Any], known: Mapping[str, QuantityWord]) -> Limit:
    """Give one limit of the file, its figures canonical."""

    def figure(name: str) -> Decimal | None:
        if name not in row:
            return None
        amount = parse_amount(row[name])
        return canonical(known[row["quantity"]], amount.value, amount.unit)

    due = figure("due")
    assert due is not None
    speeds = row.get("speeds")
    return Limit(
        row["position"],
        row["quantity"],
        row["direction"],
        figure("watch"),
        due,
        figure("unsafe"),
        None if speeds is None else (speeds[0], speeds[1]),
        row.get("is_safety", False),
        row["source"],
    )


def windows(table: Mapping[str, Any]) -> dict[str, Window]:
    """Give the come-back windows by fault; `default` is for the rest."""
    return {code: Window(row["days"], row["distance_km"]) for code, row in table.items()}
