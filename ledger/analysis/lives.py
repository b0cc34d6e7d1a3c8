"""How long parts last: their lives from what was seen of them, and the laws by groups of parts.

A part is worn at the first reading past its limit, or when it is taken off as worn. Between the
last look that was still within the limit and that moment nobody looked, so a life is known
within bounds; a part still in use is known to last at least until its last look.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.life_bounds import BadLives, BoolArray, FloatArray, TooFewLives
from ledger.analysis.life_curves import Curve, interval_curve, kaplan_meier
from ledger.analysis.life_fits import lognormal, weibull
from ledger.analysis.life_models import LognormalLife, WeibullLife

__all__ = [
    "LIVES",
    "BadLives",
    "Curve",
    "LifeGroup",
    "LognormalLife",
    "TooFewLives",
    "WeibullLife",
    "count_left_out",
    "interval_curve",
    "kaplan_meier",
    "lives_by",
    "lives_of",
    "lognormal",
    "weibull",
]

LIVES = pa.schema(
    [
        ("part", pa.string()),
        ("bike", pa.string()),
        ("position", pa.string()),
        ("model", pa.string()),
        ("riding", pa.string()),
        ("lower", pa.float64()),
        ("upper", pa.float64()),
        ("kind", pa.string()),
    ]
)
"""One row a part of known beginning. `lower` and `upper` in the unit asked for; `upper` is null
where the part was not seen worn; `kind` is one of `KINDS`."""

KINDS = ("worn between", "worn at", "in use", "taken off")
"""Seen worn, good at the look before; worn just where last seen good; not seen worn and still
fitted; not seen worn and taken off for another reason."""

EXPOSURES = {"km": "distance_km", "days": "days"}


@dataclass(frozen=True, slots=True, eq=False)
class LifeGroup:
    """The lives of the parts alike in `by`: what was seen, and a law where there is enough."""

    by: tuple[str, ...]
    group: tuple[str | None, ...]
    """What the parts have in each column of `by`; None where it was never recorded."""
    count_lives: int
    count_worn: int
    curve: Curve
    weibull: WeibullLife | None
    why_not: str | None
    """Why there is no law; None where there is one."""


def lives_of(
    parts: pa.Table, readings: pa.Table, *, unit: Literal["km", "days"] = "km"
) -> pa.Table:
    """Give the lives (`LIVES`) of the parts whose use is known from new, in km or days of use.

    Parts found on a bike, second hand or of unknown distance began at an unknown length
    (left-truncated without a known entry), and parts never used say nothing: both are left out
    and counted, see `count_left_out`. Columns used: of parts `part`, `bike`, `position`, `model`,
    `riding`, `is_from_new`, `ended_at`, `end_reason` and `distance_km` or `days`; of readings
    `part`, `value`, `low`, `high`, `limit`, `direction` and `distance_km` or `days`. A figure at
    the limit is past it. The order of rows does not matter.
    """
    if unit not in EXPOSURES:
        raise BadLives("argument", "unit", f"{unit!r} measures no use", "Give 'km' or 'days'")
    used = _floats(parts, EXPOSURES[unit])
    good, worn = _looks(parts["part"], readings, EXPOSURES[unit])
    is_ended = np.asarray(parts["ended_at"].is_valid())
    is_off_worn = is_ended & _flags(pc.equal(parts["end_reason"], "worn"))
    upper = np.where(is_off_worn, np.fmin(worn, used), worn)
    lower = np.minimum(_last_good(good, upper, used), upper)
    is_new = _flags(parts["is_from_new"]) & ~np.isnan(used)
    is_used = np.where(np.isfinite(upper), upper, lower) > 0
    left_out = {"not from new": ~is_new, "never used": is_new & ~is_used}
    lives = _table(parts, lower, upper, is_ended).filter(pa.array(is_new & is_used))
    counts = {name: str(int(is_out.sum())) for name, is_out in left_out.items()}
    return lives.replace_schema_metadata(counts)


def count_left_out(lives: pa.Table) -> dict[str, int]:
    """Give how many parts `lives_of` left out: "not from new" and "never used"."""
    counts = lives.schema.metadata or {}
    return {name.decode(): int(count) for name, count in counts.items()}


def lives_by(
    lives: pa.Table,
    by: Sequence[str] = ("position", "model", "riding"),
    minimum: int = 5,
    *,
    level: float = 0.95,
    resamples: int = 100,
) -> list[LifeGroup]:
    """Give the groups of lives alike in `by`, in order of their names, each with its curve.

    A group with fewer than `minimum` parts seen worn gets no law, and says so; so does one whose
    lives settle none. `resamples` is for the curve's band, see `interval_curve`.
    """
    for name in by:
        if name not in lives.column_names:
            right = f"Give one of {', '.join(lives.column_names)}"
            raise BadLives("argument", "by", f"there is no column {name!r}", right)
    rows: dict[tuple[str | None, ...], list[int]] = {}
    keys = zip(*(lives[name].to_pylist() for name in by), strict=True) if by else [()] * len(lives)
    for row, key in enumerate(keys):
        rows.setdefault(key, []).append(row)
    named = sorted(rows, key=lambda key: [(word is None, word or "") for word in key])
    return [
        _group(tuple(by), key, lives.take(rows[key]), minimum, level, resamples) for key in named
    ]


def _group(
    by: tuple[str, ...],
    key: tuple[str | None, ...],
    lives: pa.Table,
    minimum: int,
    level: float,
    resamples: int,
) -> LifeGroup:
    lower, upper = lives["lower"], lives["upper"]
    worn = len(lives) - upper.null_count
    curve = interval_curve(lower, upper, level=level, resamples=resamples)
    try:
        if worn < minimum:
            wrong = f"{worn} of {len(lives)} were seen worn"
            raise TooFewLives("lives", "upper", wrong, f"A law needs {minimum} of them")
        law = weibull(lower, upper, level=level)
    except TooFewLives as reason:
        return LifeGroup(by, key, len(lives), worn, curve, None, str(reason))
    return LifeGroup(by, key, len(lives), worn, curve, law, None)


def _looks(
    parts: pa.ChunkedArray, readings: pa.Table, exposure: str
) -> tuple[FloatArray, FloatArray]:
    """Give, for each part, the last use still within the limit and the first past it.

    NaN where no look was within the limit before, infinite where none was past it.
    """
    place = _floats_of(pc.index_in(readings["part"], value_set=parts.combine_chunks()))
    use = _floats(readings, exposure)
    is_past, is_within = _verdicts(readings)
    is_known = ~np.isnan(place) & ~np.isnan(use)
    worn, good = np.full(len(parts), np.inf), np.full(len(parts), -np.inf)
    is_past &= is_known
    np.minimum.at(worn, place[is_past].astype(int), use[is_past])
    is_within &= is_known
    part, at = place[is_within].astype(int), use[is_within]
    is_before = at < worn[part]
    np.maximum.at(good, part[is_before], at[is_before])
    return np.where(np.isinf(good), np.nan, good), worn


def _verdicts(readings: pa.Table) -> tuple[BoolArray, BoolArray]:
    """Say which readings are past their limit and which within; a wide interval is neither."""
    value, limit = _floats(readings, "value"), _floats(readings, "limit")
    way = _floats(readings, "direction")
    low, high = _floats(readings, "low"), _floats(readings, "high")
    least = np.where(np.isnan(value), np.where(way > 0, low, high), value) * way
    most = np.where(np.isnan(value), np.where(way > 0, high, low), value) * way
    is_past = least >= limit * way
    return is_past, ~is_past & (most <= limit * way)


def _last_good(good: FloatArray, upper: FloatArray, used: FloatArray) -> FloatArray:
    """Give the last look within the limit; without one, 0 if seen worn, else the last contact."""
    return np.where(np.isnan(good), np.where(np.isfinite(upper), 0.0, used), good)


def _table(parts: pa.Table, lower: FloatArray, upper: FloatArray, is_ended: BoolArray) -> pa.Table:
    is_worn = np.isfinite(upper)
    kind = np.select([is_worn & (lower < upper), is_worn, ~is_ended], KINDS[:3], KINDS[3])
    same = [parts[name].cast(pa.string()) for name in LIVES.names[:5]]
    ends = pa.array(upper, mask=~is_worn)
    return pa.table([*same, pa.array(lower), ends, pa.array(kind, pa.string())], schema=LIVES)


def _floats(table: pa.Table, name: str) -> FloatArray:
    """Give a column as floats, NaN where null."""
    return _floats_of(table[name])


def _floats_of(column: pa.ChunkedArray) -> FloatArray:
    filled = pc.fill_null(pc.cast(column, pa.float64()), float("nan"))
    return np.asarray(filled, dtype=np.float64)


def _flags(column: pa.ChunkedArray) -> BoolArray:
    """Give a column of true and false, false where null."""
    return np.asarray(pc.fill_null(column, False), dtype=np.bool_)
