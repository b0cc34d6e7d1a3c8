"""What one book tells of chains and sprockets, each figure worked out once."""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property

import numpy as np
import pyarrow as pa

from ledger.analysis.costs import fitted
from ledger.analysis.rider_rates import RiderRates
from ledger.analysis.sprockets import SprocketSeen
from ledger.analysis.unfit import CannotFit
from ledger.figures.chain_lives import Errors, lives
from ledger.figures.chain_sightings import Sighting, sightings
from ledger.figures.chain_stretches import (
    Run,
    Stretch,
    as_seen,
    chain_rates,
    changed_at,
    codes_of,
    runs_of,
    sprocket_stretches,
)
from ledger.figures.prices import PartPrice, part_prices
from ledger.figures.readings import BookReadings

SORTS = ("chain", "cassette", "chainring")


class ChainBook:
    """Chains, sprockets, their rates and their prices, of one book as at one instant."""

    def __init__(self, tables: BookReadings, bills: pa.Table, errors: Errors) -> None:
        """`bills` as `prices.bill_lines` gives them, `errors` as `gauges.registered_errors`."""
        self.tables, self.bills = tables, bills
        self.chains = lives(tables, "elongation", "chain", errors)
        self.sprockets = {
            sort: lives(tables, "tooth_wear", sort, errors) for sort in ("cassette", "chainring")
        }
        self.sightings = sightings(tables.readings)
        self.missing: list[str] = []
        """What could not be worked out, and why."""

    @cached_property
    def judged(self) -> dict[str, list[Sighting]]:
        """By rider: the visits at which a chain could be judged."""
        found: dict[str, list[Sighting]] = defaultdict(list)
        for one in self.sightings:
            if one.is_past is not None:
                found[one.who].append(one)
        return dict(sorted(found.items()))

    @cached_property
    def codes(self) -> dict[str, int]:
        """A whole number for each rider."""
        every = [*self.chains, *self.sprockets["cassette"], *self.sprockets["chainring"]]
        return codes_of((life.who for life in every), (one.who for one in self.sightings))

    @cached_property
    def rates(self) -> RiderRates | None:
        """How fast each rider's chains wear; None where no distance tells."""
        try:
            return chain_rates(self.chains, self.codes)
        except CannotFit as error:
            self.missing.append(f"how fast chains wear: {error}")
            return None

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
        if self.rates is None:
            return {}
        found = {
            sort: as_seen(some, self.rates, self.codes) for sort, some in self.stretches.items()
        }
        return {
            sort: one
            for sort, one in found.items()
            if one.wear.sum() > 0 and sort in self.tooth_limits
        }

    @cached_property
    def cassette_rate(self) -> float:
        """The wear of a cassette per 1,000 km under chains changed at their limit."""
        return float(fitted([self.seen["cassette"]])[0].base)

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

    @cached_property
    def tooth_limits(self) -> dict[str, float]:
        """The limit most sprockets of a sort were judged by."""
        return {
            sort: float(np.median(known))
            for sort, found in self.sprockets.items()
            if (known := [life.limit for life in found if life.limit is not None])
        }

    @cached_property
    def changed(self) -> dict[float, list[float]]:
        """Give by limit at what wear chains were changed because they were used up."""
        found: dict[float, list[float]] = defaultdict(list)
        for life in self.chains:
            if life.is_worn_out and life.limit is not None and life.marks and self.rates:
                found[life.limit].append(changed_at(life, self.rates.shop_rate))
        return found
