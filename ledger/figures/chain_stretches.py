"""Lives of chains and sprockets cut into the stretches that the analysis counts with."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.rider_rates import RiderRates, rider_rates
from ledger.analysis.sprockets import SprocketSeen, mean_excess, sprocket_seen
from ledger.figures.chain_lives import Life, Mark

LEAST_KM = 100.0
"""Shorter stretches tell nothing of a rate."""
LEAST_COVERED = 0.5
"""Share of a sprocket's stretch over which the chain's wear must be known."""
SOONEST_CHANGE = 0.05
"""% of elongation below which no chain counts as used up."""

Codes = dict[str, int]


@dataclass(frozen=True, slots=True)
class Run:
    """One chain from its first mark to its last, over known km."""

    code: int
    """The rider's number."""
    bike: str
    pace: float
    """The rider's chain rate beside the shop's."""
    km: float
    start: float
    end: float
    changed_at: float
    is_changed: bool
    limit: float
    error: float
    """1 sd of what it grew by, from the gauge."""


def codes_of(*everybody: Iterable[str]) -> Codes:
    """Give each rider a whole number, sorted by name."""
    names = sorted({who for some in everybody for who in some})
    return {who: code for code, who in enumerate(names)}


def _spans(life: Life) -> Iterator[tuple[Mark, Mark, float]]:
    """Give neighbouring marks that both have a distance, and the km between."""
    known = [mark for mark in life.marks if mark.km is not None]
    for before, after in pairwise(known):
        km = (after.km or 0.0) - (before.km or 0.0)
        if km > 0:
            yield before, after, km


def chain_rates(chains: Sequence[Life], codes: Codes) -> RiderRates:
    """Give how fast each rider's chains wear, pooled; raises CannotFit where none is known."""
    rows = [
        (codes[life.who], km, after.wear - before.wear, math.hypot(before.error, after.error))
        for life in chains
        for before, after, km in _spans(life)
        if km >= LEAST_KM
    ]
    figures = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return rider_rates(figures[:, 0].astype(np.int64), *figures[:, 1:].T)


def _by_code(rates: RiderRates) -> dict[int, float]:
    return dict(zip(rates.riders.tolist(), rates.rate.tolist(), strict=True))


def runs_of(chains: Sequence[Life], rates: RiderRates, codes: Codes) -> list[Run]:
    """Give each chain's run over known km; one still on would be changed at its limit, or is past.

    Of a chain that was changed some way after its last reading, what it wore since is added at
    its rider's rate.
    """
    rate = _by_code(rates)
    found = []
    for life in chains:
        known = [mark for mark in life.marks if mark.km is not None]
        if life.limit is None or len(known) < 2:
            continue
        km = (known[-1].km or 0.0) - (known[0].km or 0.0)
        if km < LEAST_KM:
            continue
        speed = rate.get(codes[life.who], rates.shop_rate)
        start, end = known[0].wear, known[-1].wear
        at = changed_at(life, speed)
        found.append(
            Run(
                codes[life.who],
                life.bike,
                speed / rates.shop_rate,
                km,
                start,
                end,
                at,
                life.is_worn_out,
                life.limit,
                math.hypot(known[0].error, known[-1].error),
            )
        )
    return found


def changed_at(life: Life, rate: float) -> float:
    """Give the elongation at which a chain was changed, or would be."""
    last = life.marks[-1]
    if not life.is_worn_out:
        return max(last.wear, life.limit or 0.0)
    since = 0.0
    if life.end_km is not None and last.km is not None:
        since = max(0.0, life.end_km - last.km)
    return max(SOONEST_CHANGE, last.wear + rate * since / 1000)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A chain between two marks on one bike; wear runs evenly in time between them."""

    begun: datetime
    ended: datetime
    start: float
    end: float
    limit: float

    def within(self, begun: datetime, ended: datetime) -> tuple[float, float]:
        """Give the seconds shared with a span, and the mean excess over them."""
        first, last = max(begun, self.begun), min(ended, self.ended)
        shared = (last - first).total_seconds()
        if shared <= 0:
            return 0.0, 0.0
        whole = (self.ended - self.begun).total_seconds()
        slope = (self.end - self.start) / whole
        begin = self.start + slope * (first - self.begun).total_seconds()
        return shared, float(mean_excess(begin, begin + slope * shared, self.limit))


def _pieces(chains: Iterable[Life], rates: RiderRates, codes: Codes) -> dict[str, list[_Piece]]:
    rate = _by_code(rates)
    found: dict[str, list[_Piece]] = {}
    for life in chains:
        if life.limit is None or not life.marks:
            continue
        marks = list(life.marks)
        if life.ended_at is not None and life.ended_at > marks[-1].at:
            at = changed_at(life, rate.get(codes[life.who], rates.shop_rate))
            worn = max(at, marks[-1].wear)
            marks.append(Mark(life.ended_at, worn, life.end_km, marks[-1].error))
        for before, after in pairwise(marks):
            if after.at > before.at:
                piece = _Piece(before.at, after.at, before.wear, after.wear, life.limit)
                found.setdefault(life.bike, []).append(piece)
    return found


@dataclass(frozen=True, slots=True)
class Stretch:
    """One sprocket between two readings, with what its chains were like meanwhile."""

    who: str
    bike: str
    point: str | None
    km: float
    wear: float
    excess: float | None
    """None where too little is known of the chains."""
    error: float


def sprocket_stretches(
    sprockets: Sequence[Life], chains: Sequence[Life], rates: RiderRates, codes: Codes
) -> list[Stretch]:
    """Give every stretch of at least LEAST_KM between two marks of a sprocket."""
    pieces = _pieces(chains, rates, codes)
    found = []
    for life in sprockets:
        for before, after, km in _spans(life):
            if km < LEAST_KM:
                continue
            excess = _excess(pieces.get(life.bike, []), before.at, after.at)
            error = math.hypot(before.error, after.error)
            wear = after.wear - before.wear
            found.append(Stretch(life.who, life.bike, life.point, km, wear, excess, error))
    return found


def _excess(pieces: Iterable[_Piece], begun: datetime, ended: datetime) -> float | None:
    shares = [piece.within(begun, ended) for piece in pieces]
    covered = sum(shared for shared, _ in shares)
    if covered < LEAST_COVERED * (ended - begun).total_seconds() or not covered:
        return None
    return sum(shared * excess for shared, excess in shares) / covered


def as_seen(stretches: Iterable[Stretch], rates: RiderRates, codes: Codes) -> SprocketSeen:
    """Give the stretches under known chains as the analysis takes them.

    Distances are put at the shop's mean chain rate.
    """
    known = [one for one in stretches if one.excess is not None]
    who = np.array([codes[one.who] for one in known], dtype=np.int64)
    km, wear, excess, error = (column(known, name) for name in ("km", "wear", "excess", "error"))
    return sprocket_seen(who, km * rates.pace(who), wear, excess, error)


def column(rows: Iterable[Run | Stretch], name: str) -> NDArray[np.float64]:
    """Give one figure of every row."""
    return np.array([getattr(row, name) for row in rows], dtype=np.float64)
