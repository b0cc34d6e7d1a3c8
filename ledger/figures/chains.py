"""Chains that run long: who, how far, what followed, what it costs, and when to change."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import pyarrow.compute as pc

from ledger.analysis.beyond import how_far_beyond
from ledger.analysis.chains import Shares, overrun_shares
from ledger.analysis.costs import ChainRuns, Differences, SprocketAccount
from ledger.analysis.costs import difference_from_changing_at_limit as difference_of
from ledger.analysis.rider_rates import RiderRates
from ledger.analysis.sprockets import SprocketSeen
from ledger.analysis.unfit import CannotFit
from ledger.book import Book
from ledger.figures.chain_curves import curves_of
from ledger.figures.chain_gears import gears_of
from ledger.figures.chain_lives import WORN_OUT, is_past, lives, who_of
from ledger.figures.chain_report import CONDITIONS, ChainsReport, RiderChains, ShopChains
from ledger.figures.chain_stretches import (
    CHAIN_ERROR,
    Run,
    Stretch,
    as_seen,
    chain_rates,
    changed_at,
    codes_of,
    column,
    runs_of,
    sprocket_stretches,
)
from ledger.figures.prices import PartPrice, bill_lines, part_prices
from ledger.figures.readings import BookReadings, book_readings

FOLLOWS_WITHIN = timedelta(days=365)
SORTS = ("chain", "cassette", "chainring")
BEYOND = ("over", "beyond_km", "beyond_low_km", "beyond_high_km")
Given = TypeVar("Given")


def chains(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    tables: BookReadings | None = None,
) -> ChainsReport:
    """Give everything about chains that run long, as at an instant (None for now).

    `tables` saves reading the book again where it was read already.
    """
    tables = tables or book_readings(book, as_at, known_seq)
    return _Work(tables, bill_lines(book, as_at, known_seq), book.settings.currency).report()


@dataclass(frozen=True)
class _Sighting:
    """A chain at a visit: the last reading of its bike that day."""

    who: str
    bike: str
    at: datetime
    is_past: bool | None
    wear: float | None
    limit: float | None

    @property
    def over(self) -> float:
        """Percent points past the limit; of a reading that is no figure, 0."""
        return 0.0 if self.wear is None or self.limit is None else self.wear - self.limit


def _middle(seen: Sequence[_Sighting]) -> _Sighting | None:
    """Give the middle one, by wear, of the sightings past the limit that are figures."""
    past = sorted((one for one in seen if one.is_past and one.wear), key=lambda one: one.over)
    return past[len(past) // 2] if past else None


class _Work:
    """One book's chains on their way to a report: each figure once, when first asked for."""

    def __init__(self, tables: BookReadings, bills: Any, currency: str) -> None:
        self.tables, self.bills, self.currency = tables, bills, currency
        self.chains = lives(tables, "elongation", "chain")
        self.sprockets = {
            "cassette": lives(tables, "tooth_wear", "cassette"),
            "chainring": lives(tables, "tooth_wear", "chainring"),
        }
        self.missing: list[str] = []

    @cached_property
    def sightings(self) -> list[_Sighting]:
        """Every chain at every visit."""
        readings = self.tables.readings
        is_chain = pc.and_(
            pc.equal(readings["quantity"], "elongation"), pc.equal(readings["position"], "chain")
        )
        by_day: dict[tuple[str, str, Any], dict[str, Any]] = {}
        for row in readings.filter(is_chain).to_pylist():
            by_day[row["bike"], row["part"], row["measured_at"].date()] = row
        return [
            _Sighting(who_of(row), row["bike"], row["measured_at"], is_past(row),
                      row["value"], row["limit"])
            for row in by_day.values()
        ]  # fmt: skip

    @cached_property
    def codes(self) -> dict[str, int]:
        """A whole number for each rider."""
        every = [*self.chains, *self.sprockets["cassette"], *self.sprockets["chainring"]]
        return codes_of((life.who for life in every), (one.who for one in self.sightings))

    @cached_property
    def rates(self) -> RiderRates | None:
        """How fast each rider's chains wear; None where no distance tells."""
        return self._or_missing(
            "how fast chains wear", lambda: chain_rates(self.chains, self.codes)
        )

    @cached_property
    def runs(self) -> list[Run]:
        """Chains over known km."""
        return runs_of(self.chains, self.rates, self.codes) if self.rates else []

    @cached_property
    def stretches(self) -> dict[str, list[Stretch]]:
        """Sprockets between two readings, by sort."""
        if self.rates is None:
            return {sort: [] for sort in self.sprockets}
        return {
            sort: sprocket_stretches(found, self.chains, self.rates, self.codes)
            for sort, found in self.sprockets.items()
        }

    @cached_property
    def seen(self) -> dict[str, SprocketSeen]:
        """The stretches whose chains are known, where there are any that grew."""
        found = {sort: as_seen(some, self.codes) for sort, some in self.stretches.items()}
        return {
            sort: one
            for sort, one in found.items()
            if one.wear.sum() > 0 and sort in self.tooth_limits
        }

    @cached_property
    def limit_of_bike(self) -> dict[str, float]:
        """The limit each bike's chain was last judged by."""
        return {one.bike: one.limit for one in self.sightings if one.limit is not None}

    @cached_property
    def prices(self) -> dict[str, PartPrice]:
        """By `chain 0.5`: a sort of part and the limit of the bike's chains."""

        def sort_of(bike: str, position: str) -> str | None:
            sort, limit = position.split(".")[0], self.limit_of_bike.get(bike)
            return f"{sort} {limit:g}" if sort in SORTS and limit is not None else None

        return part_prices(self.bills, sort_of)

    def price(self, sort: str, limit: float) -> PartPrice | None:
        """Give the price of a sort for bikes of one chain limit, if one was charged."""
        return self.prices.get(f"{sort} {limit:g}")

    def report(self) -> ChainsReport:
        """Give the report."""
        shares = self._shares()
        money = self._or_missing("what running long costs", self._differences)
        riders = self._riders(shares, money) if shares else ()
        curves, without = curves_of(
            self.runs, self.rates, self.seen, self.tooth_limits, self._changed(), self.price
        )
        return ChainsReport(
            riders=riders,
            shop=self._shop(shares, money) if shares else None,
            curves=curves,
            gears=gears_of(self.stretches["cassette"]),
            conditions=CONDITIONS,
            missing=tuple(dict.fromkeys([*self.missing, *without])),
            currency=self.currency,
        )

    def _or_missing(self, what: str, give: Callable[[], Given]) -> Given | None:
        try:
            return give()
        except CannotFit as error:
            self.missing.append(f"{what}: {error}")
            return None

    @cached_property
    def judged(self) -> dict[str, list[_Sighting]]:
        """By rider: the visits at which a chain could be judged."""
        found: dict[str, list[_Sighting]] = defaultdict(list)
        for one in self.sightings:
            if one.is_past is not None:
                found[one.who].append(one)
        return dict(sorted(found.items()))

    def _shares(self) -> Shares | None:
        if not self.judged:
            self.missing.append("shares: no chain was measured against a limit")
            return None
        past = [sum(bool(one.is_past) for one in some) for some in self.judged.values()]
        return overrun_shares(past, [len(some) for some in self.judged.values()])

    def _differences(self) -> Differences:
        priced = [run for run in self.runs if self.price("chain", run.limit)]
        who = np.array([run.code for run in priced], dtype=np.int64)
        km, start, end = (column(priced, name) for name in ("km", "start", "end"))
        at, limit = column(priced, "changed_at"), column(priced, "limit")
        figures = ChainRuns(who, km, start, end, at, limit, self._of_runs(priced, "chain"))
        return difference_of(figures, [self._account(priced, sort) for sort in self.seen])

    @cached_property
    def tooth_limits(self) -> dict[str, float]:
        """The limit most sprockets of a sort were judged by."""
        return {
            sort: float(np.median(known))
            for sort, found in self.sprockets.items()
            if (known := [life.limit for life in found if life.limit is not None])
        }

    def _changed(self) -> dict[float, list[float]]:
        """Give by limit at what wear chains were changed because they were used up."""
        found: dict[float, list[float]] = defaultdict(list)
        for life in self.chains:
            if life.is_worn_out and life.limit is not None and life.marks and self.rates:
                found[life.limit].append(changed_at(life, self.rates.shop_rate))
        return found

    def _of_runs(self, runs: Sequence[Run], sort: str) -> np.ndarray[Any, np.dtype[np.float64]]:
        found = [self.price(sort, run.limit) for run in runs]
        return np.array([0.0 if one is None else one.fitted_minor for one in found])

    def _account(self, runs: Sequence[Run], sort: str) -> SprocketAccount:
        """Give what a sort of sprocket costs each run's bike: nothing where it has none."""
        there = {life.bike for life in self.sprockets[sort]}
        is_there = np.array([run.bike in there for run in runs], dtype=bool)
        price = np.where(is_there, self._of_runs(runs, sort), 0.0)
        limit = np.full(len(runs), self.tooth_limits[sort])
        return SprocketAccount(self.seen[sort], price, limit)

    def _followed(self, sort: str) -> dict[str, int]:
        """Give by bike how many of a sort were used up after a chain was seen past its limit."""
        late: dict[str, list[datetime]] = defaultdict(list)
        for one in self.sightings:
            if one.is_past:
                late[one.bike].append(one.at)
        found: dict[str, int] = defaultdict(int)
        for row in self.tables.parts.to_pylist():
            is_sort = row["position"].split(".")[0] == sort and row["end_reason"] in WORN_OUT
            if is_sort and any(
                timedelta(0) <= row["ended_at"] - at <= FOLLOWS_WITHIN for at in late[row["bike"]]
            ):
                found[row["bike"]] += 1
        return found

    def _riders(self, shares: Shares, money: Differences | None) -> tuple[RiderChains, ...]:
        names, sightings = list(self.judged), list(self.judged.values())
        followed = {sort: self._followed(sort) for sort in ("cassette", "chainring")}
        found = []
        for place in shares.ranking().tolist():
            who, seen = names[place], sightings[place]
            bikes = tuple(sorted({one.bike for one in seen}))
            found.append(
                RiderChains(
                    who=who,
                    rider=None if who.startswith("bike ") else who,
                    bikes=bikes,
                    seen=len(seen),
                    past=int(shares.past[place]),
                    share=float(shares.share[place]),
                    share_low=float(shares.low[place]),
                    share_high=float(shares.high[place]),
                    **{**dict.fromkeys(BEYOND), **self.beyond.get(who, {})},
                    cassettes_followed=sum(followed["cassette"].get(bike, 0) for bike in bikes),
                    chainrings_followed=sum(followed["chainring"].get(bike, 0) for bike in bikes),
                    **self._money(who, money),
                )
            )
        return tuple(found)

    @cached_property
    def beyond(self) -> dict[str, dict[str, float]]:
        """By rider how far past the limit the middle one of their overlong chains was."""
        middle = {who: one for who, seen in self.judged.items() if (one := _middle(seen))}
        over = [one.over for one in middle.values()]
        if self.rates is None:
            return {who: {"over": one} for who, one in zip(middle, over, strict=True)}
        rates = self.rates.of([self.codes[who] for who in middle])
        found = how_far_beyond(over, 0.0, *rates, error=CHAIN_ERROR)
        figures = (found.over, found.km, np.maximum(found.km_low, 0.0), found.km_high)
        rows = np.column_stack(figures).tolist()
        return {
            who: dict(zip(BEYOND, row, strict=True)) for who, row in zip(middle, rows, strict=True)
        }

    def _money(self, who: str, money: Differences | None) -> dict[str, float | None]:
        columns = {
            "distance_km": "distance_km", "spent_minor": "spent", "extra_chains": "extra_chains",
            "difference_minor": "difference", "difference_low_minor": "low",
            "difference_high_minor": "high",
        }  # fmt: skip
        place = _place(money, self.codes[who])
        if money is None or place is None:
            return dict.fromkeys(columns)
        return {name: float(getattr(money, of)[place]) for name, of in columns.items()}

    def _shop(self, shares: Shares, money: Differences | None) -> ShopChains:
        figures: Mapping[str, float | None] = dict.fromkeys(("spent", "difference", "low", "high"))
        if money is not None:
            figures = {name: getattr(money, f"shop_{name}") for name in figures}
        return ShopChains(
            count_riders=len(self.judged),
            seen=int(shares.seen.sum()),
            past=int(shares.past.sum()),
            count_open=sum(one.is_past is None for one in self.sightings),
            typical_share=shares.shop_share,
            typical_low=shares.shop_low,
            typical_high=shares.shop_high,
            distance_km=0.0 if money is None else float(money.distance_km.sum()),
            spent_minor=figures["spent"],
            difference_minor=figures["difference"],
            difference_low_minor=figures["low"],
            difference_high_minor=figures["high"],
        )


def _place(money: Differences | None, code: int) -> int | None:
    if money is None:
        return None
    place = int(np.searchsorted(money.riders, code))
    is_there = place < len(money.riders) and money.riders[place] == code
    return place if is_there else None
