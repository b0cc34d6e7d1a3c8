"""Coverage-guided fuzzing of whatever reads what others wrote.

`python -m tests.hostile.guided NAME FOLDER -runs=N -seed=S` looks for input that ends in anything
but a `LedgerError` or an answer; `make fuzz` goes through all names for a minute each. FOLDER is
an empty one to work in. A find is written to a file `crash-…` in the working folder.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

import atheris

with atheris.instrument_imports(include=["ledger", "dashboard"]):
    from dashboard import filters
    from dashboard.bench_address import bench_asked
    from dashboard.fault_address import asked_of
    from dashboard.home_address import rows_asked
    from dashboard.labour_address import earn_asked, time_asked
    from dashboard.quote_address import quote_asked
    from ledger import settings, witness
    from ledger.backup import keys, statement
    from ledger.exchange import cloudevents, figures
    from ledger.exchange.guess import guess_mapping
    from ledger.exchange.mapping import parse_mapping
    from ledger.exchange.tables import open_table
    from ledger.proofs import check
    from ledger.storage.footer import check_self_hash, read_footer
    from ledger.storage.listing import parse_name
    from ledger.vocabulary import standard

from ledger.errors import LedgerError
from tests.hostile.starts import starts

Target = Callable[[bytes], object]
ZONE, DAY = ZoneInfo("Europe/Copenhagen"), date(2026, 3, 1)
SETTINGS = settings.BookSettings("quayside", "Quayside", "EUR", "Europe/Copenhagen", "en")


class _Folder:
    """Where targets put a file to be read."""

    path = Path()


def _words(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def lines(data: bytes) -> None:
    """Read an interchange file, of ours and of others."""
    for own in (False, True):
        list(cloudevents.read(data.split(b"\n"), ZONE, shop="quayside", own=own))


def mappings(data: bytes) -> None:
    """Read a mapping."""
    parse_mapping(data.decode("utf-8", "replace"))


def tables(data: bytes) -> None:
    """Read a CSV, and guess what its columns are."""
    path = _Folder.path / "log.csv"
    path.write_bytes(data)
    table = open_table(path)
    list(table.read())
    guess_mapping(table, SETTINGS)


def cells(data: bytes) -> None:
    """Read one cell as everything a cell can be."""
    words = data.decode("utf-8", "replace")
    readers: tuple[Callable[[], object], ...] = (
        lambda: figures.decimal_text(words),
        lambda: figures.decimal_text(words, ",", "."),
        lambda: figures.amount(words, "bar"),
        lambda: figures.minor_units(words, 2),
        lambda: figures.minutes(words, in_hours=True),
        lambda: figures.moment(words, ["%d/%m/%Y", "%Y-%m-%d %H:%M"]),
    )
    for read in readers:
        try:
            read()
        except figures.NotReadable:
            continue


def receipts(data: bytes) -> None:
    """Check a receipt."""
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        return
    check(told)


def witnesses(data: bytes) -> None:
    """Read a witness file."""
    list(witness.read(_words(data).split("\n"), "quayside"))


def footers(data: bytes) -> None:
    """Read the end of a file, and its name."""
    check_self_hash(data)
    read_footer(data, "c-000000000001.parquet")
    parse_name(_words(data[:60]))


def book_settings(data: bytes) -> None:
    """Read a book.toml."""
    path = _Folder.path / "book.toml"
    path.write_bytes(data)
    settings.read(path)


def statements(data: bytes) -> None:
    """Read what a backup says of itself, and what it says is forgotten."""
    for read in (lambda: statement.read_statement(data, "backup-1.json"),
                 lambda: keys.read_forgotten(data)):  # fmt: skip
        try:
            read()
        except LedgerError:
            continue


def addresses(data: bytes) -> None:
    """Read the address of every page."""
    asked = dict(parse_qsl(data.decode("utf-8", "replace"), keep_blank_values=True))
    words = standard()
    bench_asked(asked), asked_of(asked, DAY), rows_asked(asked)
    time_asked(asked, DAY), earn_asked(asked, DAY), quote_asked(asked, DAY, words)
    for value in asked.values():
        filters.fold_tag(value), filters.asked_day(value), filters.asked_number(value, 1, 99)


TARGETS: dict[str, Target] = {
    one.__name__: one
    for one in (lines, mappings, tables, cells, receipts, witnesses, footers, book_settings,
                statements, addresses)
}  # fmt: skip


def main() -> None:
    """Fuzz one of them."""
    name, _Folder.path = sys.argv.pop(1), Path(sys.argv.pop(1))
    begun = _Folder.path / "starts"
    begun.mkdir()
    for number, start in enumerate(starts(_Folder.path)[name]):
        (begun / str(number)).write_bytes(start)

    def one(data: bytes) -> None:
        try:
            TARGETS[name](data)
        except LedgerError:
            return

    atheris.Setup([*sys.argv, str(begun)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
