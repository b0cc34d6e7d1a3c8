"""Looks at chains: one a chain and visit, judged against its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.chain_lives import is_past, who_of

_COLUMNS = ("bike", "part", "rider", "measured_at", "value", "low", "high", "limit")
_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class Sighting:
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


def middle_past(seen: Sequence[Sighting]) -> Sighting | None:
    """Give the middle one, by wear, of the sightings past the limit that are figures."""
    past = sorted((one for one in seen if one.is_past and one.wear), key=lambda one: one.over)
    return past[len(past) // 2] if past else None


def sightings(readings: pa.Table) -> list[Sighting]:
    """Give every chain at every visit: what was read last on a day counts."""
    is_chain = pc.and_(
        pc.equal(readings["quantity"], "elongation"), pc.equal(readings["position"], "chain")
    )
    by_day: dict[tuple[str, str, date], Sighting] = {}
    for some in readings.select(_COLUMNS).filter(is_chain).to_batches(_AT_ONCE):
        for row in some.to_pylist():
            by_day[row["bike"], row["part"], row["measured_at"].date()] = Sighting(
                who_of(row), row["bike"], row["measured_at"], is_past(row), row["value"],
                row["limit"],
            )  # fmt: skip
    return list(by_day.values())
