"""The choice at the bench for one bike: chain only, chain and sprockets, or run it out."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from ledger.analysis.bench_choice import BenchChoice, WornDrivetrain, bench_choice
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_lives import Life
from ledger.kept.rows import first_with
from ledger.view import BikeView

CHAIN_WEAR = frozenset({"elongation", "roller_span"})
PAST_WATCH = frozenset({"watch", "due", "unsafe"})
"""Verdicts of a chain that something may have to be done about."""

NO_CHAIN = "the chain was not measured in figures since it was fitted"
NO_CASSETTE = "no sprocket of its cassette was measured since it was fitted"


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


@dataclass(frozen=True, slots=True)
class Drivetrain:
    """What was read last of the chain and the cassette that are on one bike."""

    bike: str
    chain_read_at: datetime | None
    teeth_read_at: datetime | None
    point: str | None
    """The sprocket that is worn most."""
    worn: WornDrivetrain | None
    """None where nothing can be said."""
    why: str
    """Why not; else empty."""


def drivetrains(of: ChainBook) -> tuple[Drivetrain, ...]:
    """Give every bike of which a chain or cassette was read that is on it, by tag."""
    chains, cassettes = _by_bike(of.chains), _by_bike(of.sprockets["cassette"])
    return tuple(
        _drivetrain(of, bike, chains.get(bike, []), cassettes.get(bike, []))
        for bike in sorted({*chains, *cassettes})
    )


def choice_of(
    of: ChainBook, bike: str, tags: Collection[str] | None = None
) -> BikeChoice | NoChoice:
    """Give the three options for the chain and cassette that are on a bike.

    At the shop's newest prices; a second visit costs the work to fit the cassette once more.
    `tags` are all of the bike's, where it has several.
    """
    named = tags or (bike,)
    chains, cassettes = (
        [life for life in some if life.bike in named]
        for some in (of.chains, of.sprockets["cassette"])
    )
    return choice_from([_drivetrain(of, bike, _on(chains), _on(cassettes))], bike, (bike,))


def choice_from(
    found: Sequence[Drivetrain], bike: str, tags: Collection[str] | None = None
) -> BikeChoice | NoChoice:
    """Give the same as `choice_of`, from the drivetrains of a book."""
    named = tags or (bike,)
    read = first_with(found, "bike", named)
    if read is None:
        return NoChoice(bike, NO_CHAIN)
    if read.worn is None or read.chain_read_at is None or read.teeth_read_at is None:
        return NoChoice(bike, read.why)
    choice = bench_choice(read.worn)
    return BikeChoice(bike, read.chain_read_at, read.teeth_read_at, read.point, choice)


def _drivetrain(of: ChainBook, bike: str, chains: list[Life], cassettes: list[Life]) -> Drivetrain:
    chain, cassette = _worst(chains), _worst(cassettes)
    if chain is None:
        return Drivetrain(bike, None, None, None, None, NO_CHAIN)
    if cassette is None:
        return Drivetrain(bike, None, None, None, None, NO_CASSETTE)
    worn = _worn(of, chain, cassette)
    if isinstance(worn, str):
        return Drivetrain(bike, None, None, None, None, worn)
    return Drivetrain(bike, chain.marks[-1].at, cassette.marks[-1].at, cassette.point, worn, "")


def _on(lives: Iterable[Life]) -> list[Life]:
    """Keep what was read of parts that are still on."""
    return [life for life in lives if life.ended_at is None and life.marks]


def _by_bike(lives: Iterable[Life]) -> dict[str, list[Life]]:
    found: dict[str, list[Life]] = {}
    for life in _on(lives):
        found.setdefault(life.bike, []).append(life)
    return found


def _worst(lives: list[Life]) -> Life | None:
    """Give the part, of several sprockets the one that is worn most."""
    return max(lives, key=lambda life: life.marks[-1].wear / (life.limit or 1.0), default=None)


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
        tooth_rate=pace * of.cassette_rate,
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
