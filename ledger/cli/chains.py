"""`chains`: who lets chains run long, what followed and what it costs, and when to change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, BookPath, open_book
from ledger.cli.output import say, say_json, say_table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from ledger.book import Book
    from ledger.figures.chain_report import (
        ChainsReport,
        LimitCurve,
        RiderChains,
        ShopChains,
        ThresholdCost,
    )


def chains(
    rider: Annotated[
        str | None, typer.Option(help="Only one rider, by id; or one bike without one, by tag.")
    ] = None,
    limit: Annotated[int, typer.Option(help="At most this many riders.", min=1)] = 20,
    as_at: AsAt = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show who lets chains run long, what it costs, and when changing is cheapest.

    Examples:
    $ lockring chains
    $ lockring chains --rider r000044
    $ lockring chains --as-at 2026-03-01 --limit 5 --json
    """
    from ledger.cli.drafts import instant
    from ledger.figures.chains import chains as chains_of

    book = open_book(book_path)
    report = chains_of(book, instant(book, as_at) if as_at is not None else None)
    riders = [row for row in report.riders if rider is None or _is_of(row, rider)][:limit]
    if as_json:
        say_json({**_plain(report), "riders": _plain(riders)})
        return
    _say(book, report, riders, rider)


def _is_of(row: RiderChains, asked: str) -> bool:
    return row.rider == asked or asked in row.bikes


def _plain(value: Any) -> Any:
    """Give dataclasses, and lists and mappings of them, as plain JSON types."""
    if hasattr(value, "__dataclass_fields__"):
        return {name: _plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value


def _say(
    book: Book, report: ChainsReport, riders: Sequence[RiderChains], asked: str | None
) -> None:
    money = _money_words(book)
    if not riders:
        say(f"No chain {f'of {asked} ' if asked else ''}was measured against a limit.")
    _say_riders(book, riders, money)
    if asked is not None:
        _say_gears(report, riders)
    elif report.shop is not None:
        _say_all(report, report.shop, money)
    for condition in report.conditions if riders else ():
        say(f"- {condition}")


def _say_all(report: ChainsReport, shop: ShopChains, money: Callable[[float | None], str]) -> None:
    _say_shop(shop, money)
    for curve in report.curves:
        _say_curve(curve, money)
    for what in report.missing:
        say(f"Not worked out: {what}.")


def _money_words(book: Book) -> Callable[[float | None], str]:
    digits, currency = book.settings.minor_digits, book.settings.currency

    def words(minor: float | None) -> str:
        return "" if minor is None else f"{minor / 10**digits:,.{digits}f} {currency}"

    return words


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _number(figure: float | None, digits: int = 0) -> str:
    return "" if figure is None else f"{figure:,.{digits}f}"


def _span(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{low:,.0f} to {high:,.0f}"


def _say_riders(
    book: Book, riders: Sequence[RiderChains], money: Callable[[float | None], str]
) -> None:
    from ledger.cli.bike_page import person

    columns = ("rider", ">seen", ">past", ">share", ">80 %", ">% over", ">km beyond", ">80 % km",
               ">cassettes", ">rings", ">dearer by")  # fmt: skip
    say_table(
        "Chains past their limit when seen, surest first",
        columns,
        (
            (
                person(book, row.rider) if row.rider else row.who,
                str(row.seen),
                str(row.past),
                _percent(row.share),
                f"{100 * row.share_low:.0f} to {100 * row.share_high:.0f}",
                _number(row.over, 2),
                _number(row.beyond_km),
                _span(row.beyond_low_km, row.beyond_high_km),
                str(row.cassettes_followed),
                str(row.chainrings_followed),
                money(row.difference_minor),
            )
            for row in riders
        ),
    )


def _say_shop(shop: ShopChains, money: Callable[[float | None], str]) -> None:
    typical = f"{_percent(shop.typical_low)} to {_percent(shop.typical_high)}"
    say(
        f"The shop: {shop.past:,} of {shop.seen:,} chains seen were past their limit; a typical "
        f"rider's share is {_percent(shop.typical_share)} (80 %: {typical})."
    )
    if shop.difference_minor is not None:
        span = f"{money(shop.difference_low_minor)} to {money(shop.difference_high_minor)}"
        way = "more" if shop.difference_minor >= 0 else "less"
        say(
            f"Over {shop.distance_km:,.0f} km drivetrains used up {money(shop.spent_minor)}: "
            f"{money(abs(shop.difference_minor))} {way} than if every chain had been changed at "
            f"its limit (dearer by, 80 %: {span})."
        )
    say()


def _say_curve(curve: LimitCurve, money: Callable[[float | None], str]) -> None:
    near = [one.change_at for one in curve.thresholds if one.is_near_least]
    say_table(
        f"Chains with a limit of {curve.limit:g} %: cost of 1,000 km by the wear at the change",
        (">changed at %", ">cost", ">80 % from", ">to", ">chains a cassette", "within 2 %"),
        (
            (
                f"{one.change_at:.2f}",
                money(one.cost_minor),
                money(one.low_minor),
                money(one.high_minor),
                f"{one.chains_a_cassette:.1f}",
                "least" if one.change_at == curve.least_at else "yes" if one.is_near_least else "",
            )
            for one in _shown(curve)
        ),
    )
    say(f"Within 2 % of the least cost: changing from {min(near):g} to {max(near):g} %.")
    say()


def _shown(curve: LimitCurve) -> list[ThresholdCost]:
    """Give every tenth of a per cent, the limit itself, and the least."""
    kept = (curve.least_at, curve.limit)
    return [
        one
        for one in curve.thresholds
        if one.change_at in kept or round(one.change_at * 100) % 10 == 0
    ]


def _say_gears(report: ChainsReport, riders: Sequence[RiderChains]) -> None:
    tags = {bike for row in riders for bike in row.bikes}
    say_table(
        "Wear by sprocket",
        ("!bike", ">teeth", ">readings", ">mm a 1,000 km", ">80 %", ">share"),
        (
            (
                bike.bike,
                str(gear.teeth),
                str(gear.count),
                f"{gear.rate:.3f}",
                f"{gear.rate_low:.3f} to {gear.rate_high:.3f}",
                "" if gear.share is None else _percent(gear.share),
            )
            for bike in report.gears
            if bike.bike in tags
            for gear in bike.gears
        ),
    )
