"""Readings arranged for the wear model: by family, by series, in the order of their exposure.

A family is what wears alike: one sort of position, one quantity, one way to count exposure. A
series is what one line is drawn through: a part, or one sprocket of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ledger.analysis.wear_columns import (
    Flags,
    Floats,
    Ints,
    ReadingsWrong,
    Table,
    as_table,
    codes,
    column,
    floats,
    is_missing,
    need_one_of,
    refuse,
    row_count,
)

__all__ = [
    "FACTORS",
    "PER",
    "Family",
    "Flags",
    "Floats",
    "Ints",
    "ReadingsWrong",
    "Table",
    "arrange",
    "sort_of",
    "stacks",
]

PER = {"km": 1000.0, "days": 365.25, "exposure": 1.0}
"""Exposure one rate is counted in: 1,000 km, a year, or one unit of a plain exposure."""
LEAST, MOST = 1e-15, 1e16
"""Sizes of figures beyond which a reading is a slip of whoever made the table."""
FACTORS = ("riding", "model", "position", "point")
"""What rates are pooled over, each as far as the table has it."""


@dataclass(frozen=True, slots=True)
class Family:
    """One family's series (S of them) and readings (M), series by series, exposure rising.

    Figures are turned so that wear makes them grow: `direction` times the figure as measured.
    Exposure `x` is in units of `PER[unit]`. An interval reading has `y` NaN and `low`, `high`
    (plus or minus infinity where open).
    """

    name: str
    unit: str
    """How exposure is counted: km, days or exposure."""
    direction: float
    series: list[str]
    is_new: Flags
    known_start: Floats
    limit: Floats
    factors: dict[str, Ints]
    """Factor -> code of each series' level; -1 where it has none."""
    levels: dict[str, list[str]]
    bike: Ints
    """Code of each series' bike; -1 where the table names none."""
    series_of: Ints
    x: Floats
    x_error: Floats
    y: Floats
    low: Floats
    high: Floats
    gauge: Ints
    gauges: list[str]
    gauge_error: Floats
    """Registered standard error of each gauge (G,); NaN where none is."""
    row: Ints
    """Row of each reading in the table it came from."""
    measured_in: str = ""
    """The unit of its figures; empty where the table names none."""

    @property
    def is_interval(self) -> Flags:
        """Whether each reading is an interval."""
        return np.isnan(self.y)


def sort_of(position: str) -> str:
    """Give the sort of a position: pads of either brake are pads, any chainring a chainring."""
    return "chainring" if position.startswith("chainring") else position.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class _Columns:
    """The table's columns, one entry a reading."""

    size: int
    series: Ints
    series_names: list[str]
    unit: npt.NDArray[np.str_]
    x: Floats
    x_error: Floats
    direction: Floats
    value: Floats
    low: Floats
    high: Floats
    family: Ints
    family_names: list[str]


def _exposure(table: Table, size: int, series: Ints) -> tuple[npt.NDArray[np.str_], Floats]:
    """Give unit and exposure: km where every reading of the series has it, else days."""
    plain = floats(table, "exposure", size)
    if not np.isnan(plain).all():
        refuse(np.isnan(plain), "exposure", "is missing", "give a number for every reading")
        return np.full(size, "exposure"), plain
    km, days = floats(table, "distance_km", size), floats(table, "days", size)
    unknown = np.bincount(series, weights=np.isnan(km), minlength=series.max(initial=-1) + 1)
    is_km = unknown[series] == 0
    found = np.where(is_km, km / PER["km"], days / PER["days"])
    refuse(np.isnan(found), "distance_km", "and days are missing", "give either")
    return np.where(is_km, "km", "days"), found


def _families(
    table: Table, size: int, units: npt.NDArray[np.str_], direction: Floats
) -> tuple[Ints, list[str]]:
    """Give codes and names of the families, a name being "family|unit|direction"."""
    positions, quantities = column(table, "position"), column(table, "quantity")
    sorts = ["part"] * size if positions is None else [_sort(each) for each in positions]
    kinds = ["wear"] * size if quantities is None else [_kind(each) for each in quantities]
    given = column(table, "family") or [None] * size
    named = [
        f"{f'{sort} {kind}' if is_missing(family) else family}|{unit}|{way:+.0f}"
        for family, sort, kind, unit, way in zip(given, sorts, kinds, units, direction, strict=True)
    ]
    return codes({"family": named}, "family", size)


def _sort(position: object) -> str:
    return "part" if is_missing(position) else sort_of(str(position))


def _kind(quantity: object) -> str:
    return "wear" if is_missing(quantity) else str(quantity)


def _directions(table: Table, size: int, series: Ints) -> Floats:
    """Give +1 or -1 a reading, the same for all of a series."""
    found = floats(table, "direction", size, 1.0)
    found = np.where(np.isnan(found), 1.0, found)
    is_way = np.abs(found) == 1
    refuse(
        ~is_way,
        "direction",
        "is neither 1 nor -1",
        "give 1 where wear makes it grow, -1 where shrink",
    )
    first = np.unique(series, return_index=True)[1]
    differs = found != found[first][series]
    refuse(differs, "direction", "is not that of its series", "what is read wears one way")
    return found


def _figures(table: Table, size: int) -> tuple[Floats, Floats, Floats]:
    value, low, high = (floats(table, name, size) for name in ("value", "low", "high"))
    refuse(np.isinf(value), "value", "is infinite", "give a figure, or low and high")
    nothing = np.isnan(value) & np.isnan(low) & np.isnan(high)
    refuse(nothing, "value", "is missing", "give a value, or low or high of an interval")
    refuse(low > high, "low", "is above high", "give low below high")
    refuse(np.isposinf(low), "low", "is infinite", "give a figure, or nothing where it is open")
    refuse(np.isneginf(high), "high", "is infinite", "give a figure, or nothing where it is open")
    value = np.where(np.isnan(value) & (low == high), low, value)
    for name in ("limit", "start"):
        is_endless = np.isinf(floats(table, name, size))
        refuse(is_endless, name, "is infinite", "give a figure, or nothing where there is none")
    return value, low, high


def _check_sizes(table: Table, size: int) -> None:
    """Refuse figures so large or small that no sum can be made of them."""
    names = ("value", "low", "high", "limit", "start", "exposure", "distance_km", "days")
    for name in names:
        figure = np.abs(floats(table, name, size))
        is_far = np.isfinite(figure) & (figure > 0) & ~((figure > LEAST) & (figure < MOST))
        right = f"give 0 or a figure between {LEAST:.0e} and {MOST:.0e}"
        refuse(is_far, name, "is no size that a part has", right)


def _columns(table: Table) -> _Columns:
    size = row_count(table)
    need_one_of(table, ("series", "part"), "name what each reading was of")
    need_one_of(table, ("exposure", "distance_km", "days"), "say how far each part had come")
    need_one_of(table, ("value", "low", "high"), "give what was read")
    series, names = codes(table, "series", size)
    if not names:
        series, names = codes(table, "part", size)
    refuse(series < 0, "series", "is missing", "name what each reading was of")
    _check_sizes(table, size)
    units, x = _exposure(table, size, series)
    refuse(x < 0, "exposure", "is below nought", "count from when the part was fitted")
    refuse(np.isinf(x), "exposure", "is infinite", "give a figure")
    error = np.nan_to_num(floats(table, "distance_error_km", size, 0.0), posinf=np.inf)
    refuse((error < 0) | np.isinf(error), "distance_error_km", "is no error", "give km, 0 or more")
    direction = _directions(table, size, series)
    figures = _figures(table, size)
    family, family_names = _families(table, size, units, direction)
    x_error = np.where(units == "km", error / PER["km"], 0.0)
    return _Columns(
        size, series, names, units, x, x_error, direction, *figures, family, family_names
    )


def arrange(readings: Table) -> list[Family]:
    """Give the families of a table of readings; see `fit_wear` for its columns.

    Raises ReadingsWrong for a table or a row that cannot be used.
    """
    table = as_table(readings)
    if row_count(table) == 0:
        return []
    found = _columns(table)
    order = np.lexsort((np.arange(found.size), found.x, found.series, found.family))
    borders = np.flatnonzero(np.diff(found.family[order])) + 1
    gauge, gauges = codes(table, "gauge", found.size)
    factors = {name: codes(table, name, found.size) for name in FACTORS}
    bike = codes(table, "bike", found.size)[0]
    return [
        _family(table, found, rows, gauge, gauges, factors, bike)
        for rows in np.split(order, borders)
    ]


def _compact(found: Ints, names: Sequence[str]) -> tuple[Ints, list[str]]:
    """Give codes and names again with only the levels that occur."""
    used = np.unique(found[found >= 0])
    place = np.full(len(names) + 1, -1, dtype=np.int64)
    place[used] = np.arange(len(used))
    return place[found], [names[each] for each in used]


def _family(
    table: Table,
    found: _Columns,
    rows: Ints,
    gauge: Ints,
    gauges: list[str],
    factors: dict[str, tuple[Ints, list[str]]],
    bike: Ints,
) -> Family:
    _, first, series_of = np.unique(found.series[rows], return_index=True, return_inverse=True)
    heads = rows[first]
    tails = rows[np.append(first[1:], len(rows)) - 1]
    direction = float(found.direction[heads[0]])
    turned = found.low[rows], found.high[rows]
    low, high = turned if direction > 0 else (-turned[1], -turned[0])
    compact = {name: _compact(each[heads], names) for name, (each, names) in factors.items()}
    gauge_codes, gauge_names = _compact(gauge[rows], gauges)
    unknown = gauge_codes < 0
    if unknown.any():
        gauge_codes = np.where(unknown, len(gauge_names), gauge_codes)
        gauge_names = [*gauge_names, "not named"]
    registered = floats(table, "gauge_error", found.size)[rows]
    is_new = floats(table, "is_from_new", found.size, 1.0) != 0
    name, unit, _ = found.family_names[int(found.family[rows[0]])].rsplit("|", 2)
    units = column(table, "unit")
    measured_in = "" if units is None else units[int(rows[0])]
    return Family(
        name=name,
        unit=unit,
        direction=direction,
        series=[found.series_names[each] for each in found.series[heads]],
        is_new=is_new[heads],
        known_start=direction * floats(table, "start", found.size)[heads],
        limit=direction * floats(table, "limit", found.size)[tails],
        factors={each: pair[0] for each, pair in compact.items()},
        levels={each: pair[1] for each, pair in compact.items()},
        bike=bike[heads],
        series_of=series_of.astype(np.int64),
        x=found.x[rows],
        x_error=found.x_error[rows],
        y=direction * found.value[rows],
        low=np.where(np.isnan(low), -np.inf, low),
        high=np.where(np.isnan(high), np.inf, high),
        gauge=gauge_codes,
        gauges=gauge_names,
        gauge_error=_median_of_each(registered, gauge_codes, len(gauge_names)),
        row=rows.astype(np.int64),
        measured_in="" if is_missing(measured_in) else str(measured_in),
    )


def _median_of_each(values: Floats, code: Ints, size: int) -> Floats:
    found = np.full(size, np.nan)
    for each in range(size):
        known = values[(code == each) & (values > 0)]
        found[each] = np.median(known) if len(known) else np.nan
    return found


def stacks(series_of: Ints, is_used: Flags) -> Iterator[tuple[Ints, Ints]]:
    """Give (series (N,), readings (N, n)) for each number n of used readings a series has."""
    used = np.flatnonzero(is_used)
    which, first, count = np.unique(series_of[used], return_index=True, return_counts=True)
    for n in np.unique(count):
        of_n = np.flatnonzero(count == n)
        yield which[of_n], used[first[of_n][:, None] + np.arange(n)]
