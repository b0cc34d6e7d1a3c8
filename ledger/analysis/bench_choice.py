"""The choice at the bench over a worn chain: chain only, chain and sprockets, or run it out.

A plain account with every assumption in sight. What is bought is charged by how much of it is
used up over the km the choice lasts; chain and sprockets on the bike are worth what is left of
them, so throwing good ones away costs, and using up those that are gone already costs nothing. A
new chain on sprockets truly past their limit skips: then they are bought in a second visit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from scipy.stats import norm

from ledger.analysis.unfit import CannotFit


@dataclass(frozen=True, slots=True)
class WornDrivetrain:
    """What was read and what is known; money in minor units, km and the readings' own units."""

    elongation: float
    """Of the chain that is on, in %."""
    tooth_wear: float
    """Of the sprocket that is worn most."""
    tooth_limit: float
    """Past it a new chain skips."""
    tooth_error: float
    """1 sd of the gauge, and of what is not known of the limit."""
    chain_limit: float
    chain_rate: float
    """% per 1,000 km."""
    tooth_rate: float
    """Per 1,000 km under chains changed at their limit."""
    chain_price: float
    """Parts and the work to fit them."""
    sprocket_price: float
    visit_price: float = 0.0
    """What a second visit costs beside: its work and the rider's lost time, as entered."""
    run_out_at: float = 2.0
    """Multiple of the chain's limit at which one that is run out is taken off."""


@dataclass(frozen=True, slots=True)
class Option:
    """One thing to do, priced."""

    name: str
    """`chain only`, `chain and sprockets` or `run it out`."""
    price_now: float
    price_later: float
    """Expected: with its chance where it is not certain."""
    chance_of_skipping: float | None
    """Of a new chain on the teeth that are there; None for an old one run out: not known."""
    remaining_km: float
    """Until the next chain is due; of running out, until the chain is at `run_out_at`."""
    cost_per_1000_km: float | None
    """Of what is used up over the remaining km; None where no km remain."""


@dataclass(frozen=True, slots=True)
class BenchChoice:
    """The three options in a fixed order, which costs least, and what it rests on."""

    options: tuple[Option, Option, Option]
    cheapest: str
    chance_of_skipping: float
    assumptions: tuple[str, ...]


def bench_choice(worn: WornDrivetrain) -> BenchChoice:
    """Give the three options and the one that costs least per remaining km.

    The price of a bike that skips in traffic is not in it. Raises CannotFit where a rate, limit
    or price is not above 0, an error or a visit's price is below 0, or a figure is not finite.
    """
    _check(worn)
    chance = float(norm.sf((worn.tooth_limit - worn.tooth_wear) / max(worn.tooth_error, 1e-9)))
    options = (_chain_only(worn, chance), _both(worn), _run_out(worn))
    priced = [one for one in options if one.cost_per_1000_km is not None]
    cheapest = min(priced, key=lambda one: one.cost_per_1000_km or 0.0)
    return BenchChoice(options, cheapest.name, chance, _assumptions(worn))


_ABOVE = ("tooth_limit", "chain_limit", "chain_rate", "tooth_rate", "chain_price", "sprocket_price")
_FROM = ("tooth_error", "visit_price")
_ANY = ("elongation", "tooth_wear", "run_out_at")


def _check(worn: WornDrivetrain) -> None:
    for name in (*_ABOVE, *_FROM, *_ANY):
        figure = getattr(worn, name)
        is_low = (name in _ABOVE and figure <= 0) or (name in _FROM and figure < 0)
        if is_low or not isfinite(figure):
            where = " above 0" if name in _ABOVE else " at 0 or above" if name in _FROM else ""
            raise CannotFit("bench choice", name, f"is {figure!r}", f"Give a figure{where}")


def _chain_km(worn: WornDrivetrain) -> float:
    return worn.chain_limit / worn.chain_rate * 1000


def _sprocket_left(worn: WornDrivetrain) -> float:
    """Give what is left of the sprockets, as a share of new ones."""
    return min(1.0, max(0.0, 1 - worn.tooth_wear / worn.tooth_limit))


def _chain_left(worn: WornDrivetrain) -> float:
    """Give what the chain on the bike is still worth: nothing at its limit."""
    return worn.chain_price * min(1.0, max(0.0, 1 - worn.elongation / worn.chain_limit))


def _chain_only(worn: WornDrivetrain, chance: float) -> Option:
    """If it skips, the sprockets follow in a second visit and what was left of the old is lost."""
    km = _chain_km(worn)
    a_life = worn.tooth_rate * km / 1000 / worn.tooth_limit
    used = chance * (a_life + _sprocket_left(worn))
    used += (1 - chance) * min(a_life, _sprocket_left(worn))
    later = chance * (worn.sprocket_price + worn.visit_price)
    cost = worn.chain_price + _chain_left(worn) + used * worn.sprocket_price
    cost += chance * worn.visit_price
    return Option("chain only", worn.chain_price, later, chance, km, cost / km * 1000)


def _both(worn: WornDrivetrain) -> Option:
    km = _chain_km(worn)
    used = worn.tooth_rate * km / 1000 / worn.tooth_limit + _sprocket_left(worn)
    cost = worn.chain_price + _chain_left(worn) + used * worn.sprocket_price
    now = worn.chain_price + worn.sprocket_price
    return Option("chain and sprockets", now, 0.0, 0.0, km, cost / km * 1000)


def _run_out(worn: WornDrivetrain) -> Option:
    """The old chain meshes with the old teeth; both are bought when it is taken off."""
    later = worn.chain_price + worn.sprocket_price
    grown = worn.run_out_at * worn.chain_limit - worn.elongation
    if grown <= 0:
        return Option("run it out", 0.0, later, None, 0.0, None)
    km = grown / worn.chain_rate * 1000
    cost = _chain_left(worn) + _sprocket_left(worn) * worn.sprocket_price
    return Option("run it out", 0.0, later, None, km, cost / km * 1000)


def _assumptions(worn: WornDrivetrain) -> tuple[str, ...]:
    return (
        f"a new chain skips on teeth worn past {worn.tooth_limit:g}",
        f"the tooth reading errs by {worn.tooth_error:.2g} (1 sd)",
        f"the chain wears {worn.chain_rate:.3g} % per 1,000 km and is changed at "
        f"{worn.chain_limit:g} %",
        f"the sprockets wear {worn.tooth_rate:.3g} per 1,000 km under such chains",
        f"a chain that is run out comes off at {worn.run_out_at * worn.chain_limit:g} %, and its "
        "sprockets with it; what it wears of the chainrings meanwhile is not counted",
        "wear goes on as it was; what a chain that skips or breaks does to a rider is not priced: "
        "a qualified mechanic decides",
    )
