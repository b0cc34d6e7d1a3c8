"""The choice at the bench for one bike: chain only, chain and sprockets, or run it out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from ledger.analysis.bench_choice import BenchChoice, WornDrivetrain, bench_choice
from ledger.analysis.costs import fitted
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_lives import Life
from ledger.view import BikeView

CHAIN_WEAR = frozenset({"elongation", "roller_span"})
PAST_WATCH = frozenset({"watch", "due", "unsafe"})
"""Verdicts of a chain that something may have to be done about."""


@dataclass(frozen=True, slots=True)
class BikeChoice:
    """What to do about one bike's worn chain, from its last readings."""

    bike: str
    chain_read_at: datetime
    teeth_read_at: datetime
    point: str | None
    """The sprocket that is worn most."""
    choice: BenchChoice


@dataclass(frozen=True, slots=True)
class NoChoice:
    """Why nothing can be said of one bike."""

    bike: str
    why: str


def is_asked(view: BikeView) -> bool:
    """Say whether the chain on a bike was last read at watch or past its limit."""
    return any(
        one.position == "chain" and one.quantity in CHAIN_WEAR and one.verdict in PAST_WATCH
        for one in view.readings
    )


def choice_of(
    of: ChainBook, bike: str, tags: Collection[str] | None = None
) -> BikeChoice | NoChoice:
    """Give the three options for the chain and cassette that are on a bike.

    At the shop's newest prices; a second visit costs the work to fit the cassette once more.
    `tags` are all of the bike's, where it has several.
    """
    chain = _on(of.chains, tags or (bike,))
    cassette = _on(of.sprockets["cassette"], tags or (bike,))
    if chain is None:
        return NoChoice(bike, "the chain was not measured in figures since it was fitted")
    if cassette is None:
        return NoChoice(bike, "no sprocket of its cassette was measured since it was fitted")
    worn = _worn(of, chain, cassette)
    if isinstance(worn, str):
        return NoChoice(bike, worn)
    return BikeChoice(
        bike, chain.marks[-1].at, cassette.marks[-1].at, cassette.point, bench_choice(worn)
    )


def _on(found: list[Life], tags: Collection[str]) -> Life | None:
    """Give what was read of the part that is on the bike: of several sprockets the worst."""
    there = [life for life in found if life.bike in tags and life.ended_at is None and life.marks]
    return max(there, key=lambda life: life.marks[-1].wear / (life.limit or 1.0), default=None)


def _worn(of: ChainBook, chain: Life, cassette: Life) -> WornDrivetrain | str:
    """Give the figures the choice rests on, or what is missing."""
    if chain.limit is None or cassette.limit is None:
        return "no limit is known"
    if of.rates is None or "cassette" not in of.seen:
        return "too little was seen of how chains and cassettes wear here"
    chain_price = of.price("chain", chain.limit)
    cassette_price = of.price("cassette", chain.limit)
    if chain_price is None or cassette_price is None:
        return _unpriced(chain_price is None, cassette_price is None, chain.limit)
    pace = float(of.rates.pace([of.codes[chain.who]])[0])
    return WornDrivetrain(
        elongation=chain.marks[-1].wear,
        tooth_wear=cassette.marks[-1].wear,
        tooth_limit=cassette.limit,
        tooth_error=cassette.marks[-1].error,
        chain_limit=chain.limit,
        chain_rate=pace * of.rates.shop_rate,
        tooth_rate=pace * fitted([of.seen["cassette"]])[0].base,
        chain_price=chain_price.fitted_minor,
        sprocket_price=cassette_price.fitted_minor,
        visit_price=cassette_price.fitting_minor,
    )


def _unpriced(is_chain: bool, is_cassette: bool, limit: float) -> str:
    """Say which part's price is missing."""
    names = [name for name, is_missing in (("chain", is_chain), ("cassette", is_cassette)) if
             is_missing]  # fmt: skip
    prices = "its price is" if len(names) == 1 else "their prices are"
    return (
        f"no {' and no '.join(names)} was charged yet on a bike with a chain limit of {limit:g} %, "
        f"so {prices} missing"
    )
