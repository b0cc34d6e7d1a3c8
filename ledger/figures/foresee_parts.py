"""Servicing the part at a position against replacing it, from what this shop has seen there.

Of every bike, at the same position. A service is work there that put a fault right without a part
being fitted; it lasts until a fault is found there again, or the part comes off as worn or
damaged. A new part lasts until it comes off as worn or damaged. What is still good counts as far
as it is known to have gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.life_bounds import TooFewLives
from ledger.analysis.replace_or_service import (
    ExpectedKm,
    Option,
    Verdict,
    replace_or_service,
    restricted_mean,
)
from ledger.analysis.replace_or_service import (
    ServiceOrReplace as Compared,
)
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.errors import WrongUse
from ledger.figures.fault_arrays import (
    NONE,
    Flags,
    Floats,
    Integers,
    codes_in,
    flags,
    floats,
    last_before,
    micros,
)
from ledger.figures.foresee_shapes import CostPerKm, KmExpected, ServiceOrReplace
from ledger.figures.labour_words import BenchNames
from ledger.figures.matching import matched
from ledger.figures.prices import LATEST
from ledger.queries import bike_view, whole_table
from ledger.vocabulary.caution import CAUTION, needs_caution

ENDED = ("worn", "damaged")
_AT = "where position = $position"
SERVICE_ENDS = "until a fault was found there again or the part came off as worn or damaged"
NEW_ENDS = "until it came off as worn or damaged"


@dataclass(frozen=True, slots=True)
class _Seen:
    """What is known of one choice: what it cost (minor units), how far it went."""

    cost_minor: int | None
    km: ExpectedKm | None
    ends: str


def service_or_replace(book: Book, bike: str, position: str, when: Asked) -> ServiceOrReplace:
    """Give both choices; see `ledger.figures.foresee.service_or_replace`."""
    words = BenchNames(book.settings, book.vocabulary_known(when.known_seq))
    place = _fitted_place(book, bike, position, when, words)
    service, new = _service(book, position, when), _new(book, position, when)
    known = _compared(service, new, words)
    is_safety = needs_caution(words.words, position)
    return ServiceOrReplace(
        bike=bike,
        position=position,
        place=place,
        as_at=when.as_at,
        service_minor=service.cost_minor,
        replace_minor=new.cost_minor,
        service_km=_expected(service, words),
        replace_km=_expected(new, words),
        service=_per_km(known.service if known else None),
        replace=_per_km(known.replace if known else None),
        chance_replace_cheaper=1 - known.chance_service_cheaper if known else None,
        front=_front(place, service, new, known.verdict if known else None, words),
        assumptions=known.assumptions if known else (),
        notes=_notes(service, new),
        cautions=(CAUTION,) if is_safety else (),
    )


def _fitted_place(book: Book, bike: str, position: str, when: Asked, words: BenchNames) -> str:
    """Give what a position is called; raises WrongUse where nothing is fitted there."""
    word = words.words.positions.get(position)
    if word is None:
        raise WrongUse(f"There is no position {position}. Write one such as front_brake.pads.")
    view = bike_view(book, bike, when.as_at, when.known_seq)
    if position not in {part.position for part in view.fitted}:
        raise WrongUse(f"Nothing is fitted at {word.label} of {bike}. Say what is: part_fitted.")
    return word.label


# -- how far ----------------------------------------------------------------------------------


def _at_position(book: Book, relation: str, position: str, when: Asked) -> pa.Table:
    return whole_table(
        book, relation, when.as_at, when.known_seq, ending=_AT, values={"position": position}
    )


def _service(book: Book, position: str, when: Asked) -> _Seen:
    def read(name: str) -> pa.Table:
        if name == "fault_marks":
            return _at_position(book, name, position, when)
        return whole_table(book, name, when.as_at, when.known_seq)

    episodes = matched(book, when.as_at, when.known_seq, read=read).episodes
    km, is_ended = _service_lives(episodes, _at_position(book, "part_spells", position, when))
    return _Seen(_cost(book, position, when, has_part=False), _mean(km, is_ended), SERVICE_ENDS)


def _service_lives(episodes: pa.Table, spells: pa.Table) -> tuple[Floats, Flags]:
    """Give how far each service went, and whether it ended: by a fault, or by wear.

    A part that came off for another reason is good until then.
    """
    services = episodes.filter(
        pc.and_(pc.is_valid(episodes["put_right_at"]),
                pc.not_equal(episodes["put_right_kind"], "part_fitted"))
    )  # fmt: skip
    if not len(services):
        return np.zeros(0), np.zeros(0, dtype=np.bool_)
    ends = pa.concat_tables([_faults_found(episodes), _parts_off(spells)])
    bikes = pc.unique(pa.chunked_array([*ends["bike"].chunks, *services["bike"].chunks]))
    place = _first_after(
        codes_in(ends["bike"], bikes),
        micros(ends["at"]),
        codes_in(services["bike"], bikes),
        micros(services["put_right_at"]),
    )
    has_end = place != NONE
    ended = flags(ends["is_end"])[place] & has_end
    until = np.where(has_end, floats(ends["km"])[place], floats(services["latest_km"]))
    km = until - floats(services["put_right_km"])
    kept = np.isfinite(km) & (km > 0)
    return km[kept], ended[kept]


def _faults_found(episodes: pa.Table) -> pa.Table:
    names = ["bike", "found_at", "found_km"]
    found = episodes.select(names).rename_columns(["bike", "at", "km"])
    return found.append_column("is_end", pa.array(np.ones(len(found), dtype=np.bool_)))


def _parts_off(spells: pa.Table) -> pa.Table:
    off = spells.filter(pc.is_valid(spells["ended_at"]))
    is_end = pc.is_in(off["end_reason"], value_set=pa.array(ENDED))
    km = off["end_km"].cast(pa.float64())
    return pa.table({"bike": off["bike"], "at": off["ended_at"], "km": km, "is_end": is_end})


def _first_after(group: Integers, at: Integers, of_group: Integers, of_at: Integers) -> Integers:
    """Give the row of the first time of its group after each one asked; NONE for none."""
    # What is the first after, is the last before with time turned round.
    return last_before(group, -at, of_group, -of_at)


def _new(book: Book, position: str, when: Asked) -> _Seen:
    spells = _at_position(book, "part_spells", position, when)
    km = floats(spells["distance_km"])
    is_ended = codes_in(spells["end_reason"], ENDED) >= 0
    kept = ~flags(spells["is_found"]) & np.isfinite(km) & (km > 0)
    lives = _mean(km[kept], is_ended[kept])
    return _Seen(_cost(book, position, when, has_part=True), lives, NEW_ENDS)


def _mean(km: Floats, is_ended: Flags) -> ExpectedKm | None:
    try:
        return restricted_mean(km, is_ended)
    except TooFewLives:
        return None


# -- what it costs ------------------------------------------------------------------------------


def _cost(book: Book, position: str, when: Asked, *, has_part: bool) -> int | None:
    """Give the median of what was charged at a position lately, with a part or without."""
    lines = _at_position(book, "charged_lines", position, when)
    part = pc.equal(lines["line_type"], "part").cast(pa.int64())
    bills = lines.append_column("part", part).group_by(["bike", "job", "occurred_at"])
    of = bills.aggregate([("net", "sum"), ("part", "max")]).sort_by("occurred_at")
    is_asked = flags(pc.equal(of["part_max"], int(has_part))) & (floats(of["net_sum"]) > 0)
    newest = floats(of["net_sum"])[is_asked][-LATEST:]
    return round(float(np.median(newest))) if len(newest) else None


# -- said ---------------------------------------------------------------------------------------


def _compared(service: _Seen, new: _Seen, words: BenchNames) -> Compared | None:
    if not service.cost_minor or not new.cost_minor or service.km is None or new.km is None:
        return None
    return replace_or_service(
        service_cost_minor=service.cost_minor,
        service=service.km,
        replace_cost_minor=new.cost_minor,
        new=new.km,
        written=lambda km: _km(km, words),
    )


def _expected(seen: _Seen, words: BenchNames) -> KmExpected | None:
    km = seen.km
    if km is None:
        return None
    ended, count = words.figure(km.count_ended), words.figure(km.count)
    said = f"{ended} of {count} seen to their end, {seen.ends}"
    if km.horizon_km is not None:
        said += f"; none counted past {_km(km.horizon_km, words)}"
    return KmExpected(km.km, km.low, km.high, km.count, said)


def _km(km: float, words: BenchNames) -> str:
    return words.figure(round(km), "km")


def _per_km(option: Option | None) -> CostPerKm | None:
    return None if option is None else CostPerKm(option.minor_per_km, option.low, option.high)


def _front(
    place: str, service: _Seen, new: _Seen, verdict: Verdict | None, words: BenchNames
) -> str:
    if verdict is None or verdict == "too few to judge":
        return f"{place.capitalize()}: too few to judge whether servicing or replacing costs less."
    costs = []
    for seen in (service, new):
        far = (seen.cost_minor or 0) * 1000 / seen.km.km if seen.km else 0.0
        costs.append(f"{words.money(far)} per {_km(1000, words)}")
    said = f"servicing comes to {costs[0]}, a new part to {costs[1]}"
    ends = {"service": "servicing costs less", "replace": "replacing costs less"}
    return f"{place.capitalize()}: {said}: {ends.get(verdict, verdict)}."


def _notes(service: _Seen, new: _Seen) -> tuple[str, ...]:
    said = []
    if service.cost_minor is None:
        said.append("Work there without a part was never charged here: its cost is not known.")
    if new.cost_minor is None:
        said.append("A part there was never charged here: its cost is not known.")
    if service.km is None:
        said.append("No service there with known km on both sides.")
    if new.km is None:
        said.append("No new part there with known km.")
    return tuple(said)
