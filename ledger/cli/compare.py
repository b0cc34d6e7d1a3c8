"""`shops` and `compare`: which books there are, and their figures side by side."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.asking import OWNER
from ledger.cli.labour_options import (
    CsvFile,
    Replace,
    Since,
    Until,
    XlsxFile,
    files_asked,
    period_asked,
    write_files,
)
from ledger.cli.look_over import not_read_json
from ledger.cli.options import AsAt, AsJson, AsKnown, BookPaths, shops_open
from ledger.cli.output import progress, say, say_json, say_table
from ledger.cli.readied import compared_ready
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.exchange.sheets import Cell, Sheet
    from ledger.settings import BookSettings
    from ledger.shops import Shops
    from ledger.shops.compared import By, Compared, Comparison, Sums

AskedBy = Annotated[
    list[str] | None,
    typer.Option(
        help="A row for each shop, region or tier; again for one of each of both.",
        show_default="shop",
        metavar="[shop|region|tier]",
    ),
]
HasChains = Annotated[
    bool, typer.Option("--chains", help="Also chains past their limit; slow at first.")
]
TOO_FEW = "too few"


def shops(
    csv: CsvFile = None,
    xlsx: XlsxFile = None,
    replace: Replace = False,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """List the shops of several books: region, events, bikes, last entry.

    Examples:
    $ lockring shops --book 'books/*'
    $ lockring shops --book books --json
    """
    files = files_asked(csv, xlsx, replace=replace, as_json=as_json)
    with shops_open(book_paths) as found:
        rows = list(found.each(_row).values())
        if as_json:
            say_json([_plain_row(row) for row in rows])
        elif files.is_any:
            sheet = _shops_sheet(found, rows)
            write_files(files, lambda: sheet, lambda: [sheet])
        else:
            _say_shops(found, rows)


def _row(book: Book) -> dict[str, Any]:
    from datetime import UTC, datetime

    from ledger.shops.compared import region_of

    head, settings = book.head, book.settings
    return {
        "shop": settings.shop,
        "name": settings.name,
        "region": region_of(book, head.size, settings.local(datetime.now(UTC)).date()),
        "currency": settings.currency,
        "events": head.size,
        "bikes": len(book.bikes()),
        "last_recorded_at": head.recorded_at,
        "book": book.home.address,
    }


def _plain_row(row: dict[str, Any]) -> dict[str, Any]:
    from ledger.view import plain_value

    return {name: plain_value(value) for name, value in row.items()}


def _shops_sheet(found: Shops, rows: Sequence[dict[str, Any]]) -> Sheet:
    from ledger.exchange.sheets import Sheet

    def local(row: dict[str, Any]) -> tuple[Cell, ...]:
        at = row["last_recorded_at"]
        zone = found.books[row["shop"]].settings
        told = {**row, "last_recorded_at": at and zone.local(at).replace(tzinfo=None)}
        return tuple(told.values())

    names = ("shop", "name", "region", "currency", "events", "bikes", "last recorded", "book")
    return Sheet("shops", names, tuple(map(local, rows)))


def _say_shops(found: Shops, rows: Sequence[dict[str, Any]]) -> None:
    from ledger.cli import words

    say_table(
        "Shops",
        ("!shop", "name", "!region", "!currency", ">events", ">bikes", "!last recorded", "book"),
        [
            (
                row["shop"],
                row["name"],
                row["region"] or "not told",
                row["currency"],
                f"{row['events']:,}",
                f"{row['bikes']:,}",
                words.moment_words(row["last_recorded_at"], found.books[row["shop"]].settings.zone),
                row["book"],
            )
            for row in rows
        ],
    )
    total = sum(row["events"] for row in rows)
    say(f"{len(rows)} book{'' if len(rows) == 1 else 's'}, {total:,} events.")


def compare(
    by: AskedBy = None,
    chains: HasChains = False,
    since: Since = None,
    until: Until = None,
    csv: CsvFile = None,
    xlsx: XlsxFile = None,
    replace: Replace = False,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """Hold shops, regions or tiers against each other, over several books.

    Of jobs closed in a period: minutes worked over quoted, and what a bench
    hour brings before fixed cost; of all repairs, how many came back.
    Ratios are of sums; currencies are never added.

    Examples:
    $ lockring compare --book 'books/*'
    $ lockring compare --by region --by tier --since 2026-01-01 --book books
    $ lockring compare --by tier --json --book books
    """
    files = files_asked(csv, xlsx, replace=replace, as_json=as_json)
    period = period_asked(since, until)
    groups = _groups(by or ["shop"])
    if chains and "tier" in groups:
        raise WrongUse("--chains: a chain is of no tier. Leave it out, or --by tier.")
    from ledger.shops.compared import compared

    with shops_open(book_paths) as found:
        asked = found.asked(as_at, as_known)
        compared_ready(found, asked)
        with progress("Adding up"):
            rows = compared(
                found, asked, groups, since=period[0], until=period[1],
                has_chains=chains, asker=OWNER,
            )  # fmt: skip
        if as_json:
            say_json({**_json(rows), "not_read": not_read_json(found)})
        elif files.is_any:
            sheet = _sheet(rows)
            write_files(files, lambda: sheet, lambda: [sheet])
        else:
            _say(found, rows)


def _groups(asked: Sequence[str]) -> list[By]:
    """Give what rows are by, each once; raises WrongUse for what they cannot be by."""
    from ledger.shops.compared import BYS

    for one in asked:
        if one not in BYS:
            raise WrongUse(f"--by is one of {', '.join(BYS)}, not {one}.")
    return [one for one in BYS if one in asked]


def _json(found: Comparison) -> dict[str, Any]:
    from ledger.cli.labour_plain import plain

    rows = []
    for row in found.rows:
        told = plain(row)
        rows.append({**told, "sums": _chainless(told["sums"], found)})
    periods = {shop: plain(one) for shop, one in found.periods.items()}
    return {"by": list(found.by), "periods": periods, "rows": rows}


def _chainless(sums: dict[str, Any], found: Comparison) -> dict[str, Any]:
    """Give sums without those of chains where chains were not asked for."""
    if found.has_chains:
        return sums
    return {name: value for name, value in sums.items() if not _is_of_chains(name)}


def _is_of_chains(name: str) -> bool:
    return name.startswith("chains") or name in ("past_share", "is_too_few_chains")


def _sheet(found: Comparison) -> Sheet:
    from ledger.cli.labour_plain import names_of
    from ledger.exchange.sheets import Sheet
    from ledger.money import major
    from ledger.shops.compared import Sums

    names = [name for name in names_of(Sums) if found.has_chains or not _is_of_chains(name)]
    titles = [name.removesuffix("_minor").replace("_", " ") for name in names]

    def cell(row: Compared, name: str) -> Cell:
        value: Any = getattr(row.sums, name)
        if name == "contribution_minor":
            return major(value, row.currency)
        if name == "contribution_per_hour_minor" and value is not None:
            return float(value) / float(10 ** _digits(row.currency))
        told: Cell = value
        return told

    keys = (*found.by, *(("label",) if "tier" in found.by else ()), "currency")
    rows = [
        (*(getattr(row, key) for key in keys), len(row.shops), *(cell(row, name) for name in names))
        for row in found.rows
    ]
    return Sheet("comparison", (*keys, "shops", *titles), tuple(rows))


def _digits(currency: str) -> int:
    from ledger.money import minor_digits

    return minor_digits(currency)


def _say(shops: Shops, found: Comparison) -> None:
    if not found.rows:
        say("No book could be read.")
        return
    settings = next(iter(shops.books.values())).settings
    days = sorted({(one.since, one.until) for one in found.periods.values()})
    said = " or ".join(f"from {since} to {until}" for since, until in days[:2])
    keys = [f"!{name}" for name in found.by]
    columns = [*keys, ">shops", ">jobs", ">worked / quoted", ">bench hours"]
    columns += [">contribution an hour", ">repairs came back"]
    columns += [">chains past limit"] if found.has_chains else []
    say_table(
        f"Side by side: jobs closed {said}; all repairs",
        columns,
        [_cells(row, found, settings) for row in found.rows],
    )
    say("Ratios are of sums. Contribution is before fixed cost, net of tax.")
    if len({row.currency for row in found.rows}) > 1:
        say("Shops of different currencies stand in rows of their own: money is not added.")
    if "region" in found.by and any(row.region is None for row in found.rows):
        say("A shop's region is told with: lockring record terms_set --set from_on=DAY "
            "--set region=north")  # fmt: skip


def _cells(row: Compared, found: Comparison, settings: BookSettings) -> tuple[str, ...]:
    named = {"shop": row.shop or "", "region": row.region or "not told",
             "tier": (row.label or row.tier) or "none"}  # fmt: skip
    sums = row.sums
    cells = (
        *(named[name] for name in found.by),
        str(len(row.shops)),
        f"{sums.count_jobs:,}",
        _share(sums.ratio, is_too_few=sums.is_too_few_ratios),
        f"{sums.bench_minutes / 60:,.1f}",
        _hour(sums, row.currency, settings.locale),
        _share(sums.come_back_share, is_too_few=sums.is_too_few_repairs),
    )
    if not found.has_chains:
        return cells
    return (*cells, _share(sums.past_share, is_too_few=sums.is_too_few_chains))


def _share(share: float | None, *, is_too_few: bool) -> str:
    if share is None:
        return ""
    return TOO_FEW if is_too_few else f"{100 * share:.1f} %"


def _hour(sums: Sums, currency: str, locale: str) -> str:
    from ledger.money import rounded, written

    hour = sums.contribution_per_hour_minor
    if hour is None:
        return ""
    return TOO_FEW if sums.is_too_few_jobs else written(rounded(Fraction(hour)), currency, locale)
