"""`fitted-where`: which bikes carry a make, model or batch, in one book or in many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.labour_options import (
    CsvFile,
    Limit,
    Replace,
    XlsxFile,
    files_asked,
    most,
    write_files,
)
from ledger.cli.options import AsAt, AsJson, AsKnown, BookPaths, shops_open
from ledger.cli.output import progress, say, say_json, say_table
from ledger.cli.readied import parts_ready
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from datetime import datetime

    import pyarrow as pa

    from ledger.engines.duckdb import Asked
    from ledger.exchange.sheets import Cell, Sheet
    from ledger.shops import Shops
    from ledger.shops.fitted_where import FittedWhere
    from ledger.shops.part_moves import Wanted

Text = Annotated[str, typer.Argument(help="Part of a make, model or batch.", metavar="[TEXT]")]
Make = Annotated[str | None, typer.Option(help="The maker, as it was recorded.")]
Model = Annotated[str | None, typer.Option(help="The model, as it was recorded.")]
Batch = Annotated[str | None, typer.Option(help="The batch, as it was recorded.")]
Position = Annotated[
    str | None, typer.Option(help="Only there, or at what lies under it, such as rear_wheel.")
]


def fitted_where(
    text: Text = "",
    make: Make = None,
    model: Model = None,
    batch: Batch = None,
    position: Position = None,
    csv: CsvFile = None,
    xlsx: XlsxFile = None,
    replace: Replace = False,
    limit: Limit = None,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """Show which bikes carry a make, model or batch, and who did once.

    Capitals do not matter. With several books a bike that visits several
    shops counts once.

    Examples:
    $ lockring fitted-where "keel 9"
    $ lockring fitted-where --batch B2026-04 --position chain
    $ lockring fitted-where --model "Keel 9" --as-at 2026-03-01 --json
    $ lockring fitted-where --batch B2026-04 --book 'books/*' --csv recall.csv
    """
    from ledger.shops.fitted_where import fitted_where as found_where
    from ledger.shops.part_moves import Wanted

    files = files_asked(csv, xlsx, replace=replace, as_json=as_json)
    wanted = Wanted(text.strip() or None, make, model, batch, position)
    if not any((wanted.text, make, model, batch)):
        raise WrongUse("Say what to look for: a text, or --make, --model or --batch.")
    with shops_open(book_paths) as shops:
        asked = shops.asked(as_at, as_known)
        _check_position(shops, asked, position)
        parts_ready(shops)
        with progress("Looking through the books"):
            found = found_where(shops, asked, wanted)
        if as_json:
            say_json(_json(shops, asked, wanted, found))
        elif files.is_any:
            sheets = [_sheet(shops, "carried", found.carried), _sheet(shops, "gone", found.gone)]
            write_files(files, lambda: sheets[0], lambda: sheets)
        else:
            _say(shops, asked, found, most(limit, is_all=False))


def _check_position(shops: Shops, asked: Mapping[str, Asked], position: str | None) -> None:
    """Raise WrongUse for a position that no book knows, with the nearest."""
    if position is None:
        return
    from difflib import get_close_matches

    from ledger.shops.looking import words_over

    known = words_over(shops, asked).positions
    if not any(one == position or one.startswith(f"{position}.") for one in known):
        near = get_close_matches(position, known, n=3, cutoff=0.5)
        hint = (
            f"Did you mean {' or '.join(near)}?" if near else "Such as chain, or rear_wheel.tyre."
        )
        raise WrongUse(f"--position: there is no position {position}. {hint}")


def _json(
    shops: Shops, asked: Mapping[str, Asked], wanted: Wanted, found: FittedWhere
) -> dict[str, Any]:
    from dataclasses import asdict

    from ledger.cli.look_over import names_json, not_read_json
    from ledger.events.types import format_moment

    carried = [
        {**row, "bikes": names_json(sorted(found.names.get(_bike(row), {_bike(row)})))}
        for row in _plain(found.carried)
    ]
    return {
        "looked_for": asdict(wanted),
        "shops": {
            shop: {"as_at": format_moment(of.as_at), "as_known": of.known_seq}
            for shop, of in asked.items()
            if shop in shops.readable
        },
        "not_read": not_read_json(shops),
        "count_bikes": found.count_bikes,
        "count_bikes_ever": found.count_bikes_ever,
        "count_bikes_no_longer": found.count_bikes_no_longer,
        "carried": carried,
        "no_longer": _plain(found.gone),
    }


def _bike(row: Mapping[str, Any]) -> tuple[str, str]:
    return row["shop"], row["bike"]


def _plain(table: pa.Table) -> list[dict[str, Any]]:
    from ledger.view import plain_value

    return [{name: plain_value(value) for name, value in row.items()} for row in table.to_pylist()]


def _sheet(shops: Shops, name: str, table: pa.Table) -> Sheet:
    """Give rows as a table, instants as the days of their shop."""
    from ledger.exchange.sheets import Sheet

    titles = tuple(one.replace("_at", "").replace("_", " ") for one in table.column_names)
    return Sheet(
        {"carried": "carried", "gone": "no longer"}[name],
        titles,
        tuple(
            tuple(_cell(shops, row["shop"], value) for value in row.values())
            for row in table.to_pylist()
        ),
    )


def _cell(shops: Shops, shop: str, value: Any) -> Cell:
    from datetime import datetime

    if isinstance(value, datetime):
        return shops.books[shop].settings.local(value).date()
    found: Cell = value
    return found


def _say(shops: Shops, asked: Mapping[str, Asked], found: FittedWhere, limit: int | None) -> None:
    rows = found.carried.slice(0, limit).to_pylist()
    say(_finding(found))
    say()
    say_table("Fitted", _COLUMNS, [_cells(shops, found, row) for row in rows])
    if len(rows) < len(found.carried):
        say(f"{len(rows)} of {len(found.carried):,} are shown: --limit 0 shows all.")
        say()
    _say_gone(shops, found, limit)


_COLUMNS = (
    *("!shop", "!bike", "!rider", "position", "what", "!batch", "!part", "!fitted", ">km since"),
    *("!last contact", "is also"),
)


def _finding(found: FittedWhere) -> str:
    if not found.count_bikes_ever:
        return "No bike carries or carried such a part, as far as was recorded."
    parts, bikes = len(found.carried), found.count_bikes
    said = f"{_count(parts, 'part')} on {_count(bikes, 'bike')}"
    gone = found.count_bikes_no_longer
    more = f"; {_count(gone, 'bike')} carried one and no longer " + ("does" if gone == 1 else "do")
    return f"{said}{more}."


def _count(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _cells(shops: Shops, found: FittedWhere, row: Mapping[str, Any]) -> tuple[str, ...]:
    from ledger.cli import words

    book = shops.books[row["shop"]]
    since = _day(shops, row, row["fitted_at"])
    others = sorted(found.names.get(_bike(row), frozenset()) - {_bike(row)})
    return (
        row["shop"],
        row["bike"],
        row["rider"] or "",
        words.position_words(book.vocabulary, row["position"]),
        _what(row),
        row["batch"] or "",
        words.part_words(row["part"]),
        since or f"found {_day(shops, row, row['found_at'])}",
        words.figure(row["distance_since_fitted_km"]),
        _day(shops, row, row["last_seen_at"]),
        " ".join("/".join(name) for name in others),
    )


def _what(row: Mapping[str, Any]) -> str:
    """Give make and model, the make once where the model begins with it."""
    make, model = row["make"] or "", row["model"] or ""
    return str(model if model.startswith(make) else f"{make} {model}".strip())


def _day(shops: Shops, row: Mapping[str, Any], moment: datetime | None) -> str:
    from ledger.cli import words

    return words.day_words(moment, shops.books[row["shop"]].settings.zone)


def _say_gone(shops: Shops, found: FittedWhere, limit: int | None) -> None:
    from ledger.cli import words

    rows: Sequence[Mapping[str, Any]] = found.gone.slice(0, limit).to_pylist()
    say_table(
        "On no bike any more, and where last",
        ("!shop", "!bike", "position", "what", "!batch", "!part", "!until", "why"),
        [
            (
                row["shop"],
                row["bike"],
                words.position_words(shops.books[row["shop"]].vocabulary, row["position"]),
                _what(row),
                row["batch"] or "",
                words.part_words(row["part"]),
                _day(shops, row, row["ended_at"]),
                row["end_reason"] or "removed",
            )
            for row in rows
        ],
    )
    if len(rows) < len(found.gone):
        say(f"{len(rows)} of {len(found.gone):,} are shown: --limit 0 shows all.")
