"""A first mapping for a file nobody has mapped yet, offered as TOML for a person to confirm.

Columns are told by the words at their head, forms of dates and figures by trying every row. What
cannot be known (day before month, or after it) is asked, and the mapping is refused until then.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from importlib import resources
from itertools import islice

from ledger.exchange.columns import Column, DateForms
from ledger.exchange.mapping_text import Guess, MappingDraft, Roles, quoted
from ledger.exchange.tables import Table
from ledger.exchange.words import WordList
from ledger.settings import BookSettings

_ROWS_AT_ONCE = 10_000


def guess_mapping(table: Table, settings: BookSettings, actor: str = "m1") -> Guess:
    """Guess a file's mapping, reading all of it; `actor` stands where no column names anybody."""
    roles = _roles(table.columns)
    columns = {name: Column(name) for name in table.columns}
    dates = DateForms()
    _look(table, roles, columns, dates)
    by_role = {role: columns[name] for role, name in roles.items()}
    guess = MappingDraft(roles, by_role, dates, settings, actor, _words()[1]).guess()
    return replace(guess, toml=guess.toml + _left_out(guess.toml, columns.values()))


def _left_out(toml: str, columns: Iterable[Column]) -> str:
    """Give a comment that names every filled column the mapping does not use."""
    unused = [one for one in columns if one.count_filled and quoted(one.name) not in toml]
    if not unused:
        return ""
    lines = ["", "# Not used, so not recorded; add what should be:"]
    for one in unused:
        (cell, _), *_ = one.distinct.most_common(1)
        shown = " ".join(cell.split())[:40]
        lines.append(f"#   {quoted(one.name)}, such as {shown}")
    return "\n".join(lines) + "\n"


@cache
def _words() -> tuple[WordList, dict[str, list[str]]]:
    raw = tomllib.loads(resources.files(__package__).joinpath("headers.toml").read_text("utf-8"))
    treatments = raw.pop("treatments")
    return WordList({word: role for role, words in raw.items() for word in words}), treatments


def _roles(names: tuple[str, ...]) -> Roles:
    """Give each role to the first column whose head says it."""
    heads, _ = _words()
    found: Roles = {}
    for name in names:
        role = heads.find(re.sub(r"[_/]", " ", name))
        if role is not None:
            found.setdefault(role, name)
    return found


def _look(table: Table, roles: Roles, columns: dict[str, Column], dates: DateForms) -> None:
    at = table.columns.index(roles["date"]) if "date" in roles else None
    rows = table.read()
    while some := list(islice(rows, _ROWS_AT_ONCE)):
        for row in some:
            if not row.problem:
                for name, cell in zip(table.columns, row.cells, strict=True):
                    columns[name].see(cell)
        if at is not None:
            dates.see(row.cells[at] for row in some if not row.problem)
