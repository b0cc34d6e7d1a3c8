"""Chains that run long as tables: riders, the shop, costs by threshold, gears, the bench choice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ledger.cli.output import say, say_table

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.figures.bench import BikeChoice, NoChoice
    from ledger.figures.chain_report import (
        ChainsReport,
        LimitCurve,
        RiderChains,
        ShopChains,
        ThresholdCost,
    )

Money = Callable[[float | None], str]


def say_chains(
    book: Book, report: ChainsReport, riders: Sequence[RiderChains], asked: str | None
) -> None:
    """Print a report; of the rider or bike asked for, where one is."""
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


def _say_all(report: ChainsReport, shop: ShopChains, money: Money) -> None:
    _say_shop(shop, money)
    for curve in report.curves:
        _say_curve(curve, money)
    for what in report.missing:
        say(f"Not worked out: {what}.")


def _money_words(book: Book) -> Money:
    digits, currency = book.settings.minor_digits, book.settings.currency

    def words(minor: float | None) -> str:
        return "" if minor is None else f"{minor / 10**digits:,.{digits}f} {currency}"

    return words


def _percent(share: float | None, unknown: str = "") -> str:
    return unknown if share is None else f"{100 * share:.0f} %"


def _number(figure: float | None, digits: int = 0) -> str:
    return "" if figure is None else f"{figure:,.{digits}f}"


def _span(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{low:,.0f} to {high:,.0f}"


def _called(book: Book, row: RiderChains) -> str:
    """Give a rider by name where they agreed to be contacted: this is a list of whom to call."""
    known = book.riders.get(row.rider) if row.rider else None
    is_named = known is not None and known.may_contact and known.name
    return f"{known.name} ({known.rider})" if known is not None and is_named else row.who


def _say_riders(book: Book, riders: Sequence[RiderChains], money: Money) -> None:
    columns = ("rider", ">looks", ">past", ">share", ">80 %", ">% over", ">km beyond", ">80 % km",
               ">cassettes", ">rings", ">dearer by", ">80 % from", ">to")  # fmt: skip
    say_table(
        "Looks that found a chain past its limit, surest late riders first",
        columns,
        (
            (
                _called(book, row),
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
                money(row.difference_low_minor),
                money(row.difference_high_minor),
            )
            for row in riders
        ),
    )


def looks(count: int) -> str:
    """Give a number of looks: `1 look at a chain`, `2,930 looks at a chain`."""
    return f"{count:,} look{'' if count == 1 else 's'} at a chain"


def _say_shop(shop: ShopChains, money: Money) -> None:
    typical = f"{_percent(shop.typical_low)} to {_percent(shop.typical_high)}"
    say(
        f"The shop: of {looks(shop.seen)}, {shop.past:,} found it past its limit; a typical "
        f"rider's share is {_percent(shop.typical_share)} (80 %: {typical})."
    )
    if shop.difference_minor is not None:
        span = f"{money(shop.difference_low_minor)} to {money(shop.difference_high_minor)}"
        if shop.difference_low_minor is None:
            span = "not known, one rider's sprockets alone were read"
        way = "more" if shop.difference_minor >= 0 else "less"
        say(
            f"Over {shop.distance_km:,.0f} km drivetrains used up {money(shop.spent_minor)}: "
            f"{money(abs(shop.difference_minor))} {way} than if every chain had been changed at "
            f"its limit (dearer by, 80 %: {span})."
        )
    say()


def _say_curve(curve: LimitCurve, money: Money) -> None:
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
    say(f"Within 2 % of the least cost: changing at {', '.join(f'{at:g}' for at in near)} %.")
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
                _percent(gear.share),
            )
            for bike in sorted(report.gears, key=lambda one: one.bike)
            if bike.bike in tags
            for gear in bike.gears
        ),
    )


def say_choice(book: Book, found: BikeChoice | NoChoice) -> None:
    """Print what can be done about one bike's chain, priced, or why nothing is."""
    from ledger.cli.words import day_words
    from ledger.figures.bench import NoChoice

    if isinstance(found, NoChoice):
        say(f"{found.bike}: no choice priced, {found.why}.")
        return
    money, zone = _money_words(book), book.settings.zone
    read = day_words(min(found.chain_read_at, found.teeth_read_at), zone)
    say_table(
        f"{found.bike}, as read since {read}: least per remaining km is {found.choice.cheapest}",
        ("what", ">now", ">later", ">chance of skipping", ">remaining km", ">per 1,000 km"),
        (
            (
                option.name,
                money(option.price_now),
                money(option.price_later),
                _percent(option.chance_of_skipping, unknown="not known"),
                _number(option.remaining_km),
                money(option.cost_per_1000_km),
            )
            for option in found.choice.options
        ),
    )
    say(f"This takes it that {'; '.join(found.choice.assumptions)}.")
