"""How far the parts of a family have gone by the instant asked, and how far they go a day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.wear import FamilyFit
from ledger.analysis.wear_data import PER, Flags, Floats, Ints
from ledger.analysis.wear_forecast import Use

if TYPE_CHECKING:
    from ledger.figures.wear import BookWear

HORIZON_DAYS = 3 * 365
"""No due date is foretold beyond this."""
_OF_LAST = ["part", "measured_at", "distance_km", "distance_error_km"]
_OF_PART = ["bike", "riding", "is_fitted", "fitted_at", "distance_km", "days"]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECONDS_A_DAY = 86_400e6


@dataclass(frozen=True, slots=True)
class Now:
    """Exposures (S,) of a family's series as at the instant asked, in the model's units."""

    x: Floats
    error: Floats
    is_fitted: Flags
    fitted_at: pa.ChunkedArray
    """Instants: when each was first fitted, or first seen."""
    bikes: list[str]
    ridings: list[str | None]


def columns(table: pa.Table, rows: Ints, names: Sequence[str]) -> dict[str, list[Any]]:
    """Give some columns of some rows as plain lists."""
    some = table.select(list(names)).take(pa.array(rows))
    return {name: some[name].to_pylist() for name in names}


def last_rows(each: FamilyFit) -> Ints:
    """Give the row of the last reading of each series (S,)."""
    return each.family.row[_last(each)]


def _last(each: FamilyFit) -> Ints:
    family = each.family
    count = np.arange(len(family.series))
    return np.searchsorted(family.series_of, count, side="right") - 1


def now_of(wear: BookWear, each: FamilyFit) -> Now:
    """Give how far each series of a family has gone by the instant asked."""
    family, per, tables = each.family, PER[each.family.unit], wear.tables
    readings = tables.readings.select(_OF_LAST).take(pa.array(last_rows(each)))
    rows = pc.index_in(readings["part"], value_set=tables.parts["part"].combine_chunks())
    parts = tables.parts.select(_OF_PART).take(rows)
    is_fitted = np.asarray(parts["is_fitted"].to_numpy(), dtype=bool)
    if family.unit == "km":
        x, error = _km_now(wear, parts, readings)
    else:
        since = _days_since_epoch(wear.as_at) - _days(parts["fitted_at"])
        x, error = np.where(is_fitted, since, _floats(parts["days"])), np.zeros(len(is_fitted))
    return Now(
        x=np.maximum(x / per, family.x[_last(each)]),
        error=error / per,
        is_fitted=is_fitted,
        fitted_at=parts["fitted_at"],
        bikes=parts["bike"].to_pylist(),
        ridings=parts["riding"].to_pylist(),
    )


def _km_now(wear: BookWear, parts: pa.Table, last: pa.Table) -> tuple[Floats, Floats]:
    """Give each part's km now, and the error of what it went since its last reading.

    To the km it is known to have gone by the bike's last distance reading, or by its own last
    reading where that is later, comes what the bike was ridden since then.
    """
    bikes, ridings = parts["bike"].to_pylist(), parts["riding"].to_pylist()
    usage, today = wear.usage, _days_since_epoch(wear.as_at)
    is_fitted = np.asarray(parts["is_fitted"].to_numpy(), dtype=bool)
    read_at, begun = _days(last["measured_at"]), _days(parts["fitted_at"])
    code = np.array([usage.bikes.get(bike, -1) for bike in bikes])
    counted = np.where(code >= 0, np.append(usage.last_at, -np.inf)[code], -np.inf)
    until = np.minimum(np.maximum.reduce([counted, read_at, begun]), today)
    km, log_sd = usage.ridden(bikes, until, np.full(len(bikes), today), ridings)
    spread = km * np.sqrt(np.expm1(np.minimum(log_sd, 3.0) ** 2))
    is_between = (counted > read_at) & is_fitted
    error = np.hypot(spread, np.where(is_between, _floats(last["distance_error_km"]), 0.0))
    known, read_km = _floats(parts["distance_km"]), _floats(last["distance_km"])
    gone = np.fmax(known, read_km) + np.where(is_fitted, km, 0.0)
    return gone, np.where(is_fitted, error, 0.0)


def _floats(column: pa.ChunkedArray) -> Floats:
    """Give figures, NaN where there is none."""
    return np.asarray(column.to_numpy(), dtype=np.float64)


def _days(column: pa.ChunkedArray) -> Floats:
    whole = column.cast(pa.timestamp("us", "UTC")).cast(pa.int64())
    return np.asarray(whole.to_numpy(), dtype=np.float64) / _MICROSECONDS_A_DAY


def _days_since_epoch(at: datetime) -> float:
    return (at - _EPOCH) / timedelta(days=1)


def use_of(wear: BookWear, each: FamilyFit, now: Now, which: Ints) -> Use:
    """Give how far the bikes of some series go on each day of the horizon."""
    if each.family.unit != "km":
        days = np.arange(HORIZON_DAYS + 1, dtype=np.float64)[None, :]
        a_day = np.full(len(which), 1 / PER["days"])
        return Use(a_day, np.zeros(len(which)), days, np.zeros(len(which), dtype=np.int64))
    bikes, ridings = _some(now.bikes, which), _some(now.ridings, which)
    names = sorted({riding or "" for riding in now.ridings})
    season = np.stack([_season(wear, name) for name in names])
    km, log_sd = wear.usage.of(bikes, ridings)
    place: Mapping[str, int] = {name: row for row, name in enumerate(names)}
    of = np.array([place[riding or ""] for riding in ridings], dtype=np.int64)
    return Use(km / PER["km"], log_sd, season, of)


def _season(wear: BookWear, riding: str) -> Floats:
    return wear.usage.season_days(riding or None, wear.today, HORIZON_DAYS)


def _some(values: Sequence[Any], which: Ints) -> list[Any]:
    return [values[place] for place in which.tolist()]
