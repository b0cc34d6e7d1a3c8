"""Was the wear model right? Fit on the past, foretell the next reading, compare.

The readings are cut into folds by time. Each fold's readings are foretold, as their gauge will
show them, by a fit on what was known before the fold began, from the part's own earlier readings.
Beside it stand two forecasts anybody can make: the line through the last two readings (from new
to the last where there is one), and the fleet's mean rate. Their intervals come from their own
errors so far, so that all three are judged by the same loss.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ledger.analysis.losses import pinball
from ledger.analysis.wear import fit_family
from ledger.analysis.wear_columns import as_table, moments, names_of
from ledger.analysis.wear_data import Family, Flags, Floats, Ints, Table, arrange
from ledger.analysis.wear_forecast import HIGH, LOW, MIDDLE
from ledger.analysis.wear_foretell import foretell, quantile_shown
from ledger.analysis.wear_rough import rough

FOLDS = 12
FIRST_SHARE = 0.1
"""The earliest share of the readings is only learned from."""
SHARES = (LOW, MIDDLE, HIGH)


@dataclass(frozen=True, slots=True)
class Score:
    """How a family's forecasts did. Losses and bias are in % of the way from new to the limit."""

    family: str
    count: int
    coverage: float
    """Share of readings inside their 80 % interval."""
    bias: float
    """Mean of reading less forecast; above nought: parts wore faster than foretold."""
    loss: float
    """Mean pinball loss at 10, 50 and 90 %."""
    loss_line: float
    """The same of the line through the last two readings, or from new to now."""
    loss_fleet: float
    """The same of the fleet's mean rate."""


@dataclass(frozen=True, slots=True)
class Backtest:
    """The scores: all families together, then each; and every scored reading."""

    total: Score | None
    families: list[Score]
    scored: pa.Table
    """One row a scored reading: row, family, fold, shown, low, middle, high, line, fleet, span,
    loss, loss_line, loss_fleet."""


def backtest(
    readings: Table, folds: int = FOLDS, on_progress: Callable[[int, int], None] | None = None
) -> Backtest:
    """Score forecasts of each next reading; columns as `fit_wear`, and `measured_at`.

    Both are instants (UTC where they have no zone) or plain numbers. With `recorded_at`, a
    reading counts as known only once it was recorded. `on_progress` is told how many families are
    done, of how many. Raises ReadingsWrong as `fit_wear`.
    """
    table = as_table(readings)
    families = arrange(table)
    measured = known_at = moments(table, "measured_at") if families else np.zeros(0)
    if families and "recorded_at" in names_of(table):
        known_at = moments(table, "recorded_at")
    rows = [
        row
        for family in _counted(families, on_progress)
        for row in _of_family(family, measured[family.row], known_at[family.row], folds)
    ]
    scored = _table(rows)
    names = sorted(set(scored["family"].to_pylist()))
    each = [_score(scored.filter(pa.compute.equal(scored["family"], name)), name) for name in names]
    total = _score(scored, "all") if scored.num_rows else None
    return Backtest(total, each, scored)


def _counted(
    families: Sequence[Family], on_progress: Callable[[int, int], None] | None
) -> Iterator[Family]:
    """Give the families one after another, telling how many of all are done."""
    for done, family in enumerate(families):
        if on_progress:
            on_progress(done, len(families))
        yield family
    if on_progress:
        on_progress(len(families), len(families))


_FIELDS = ("row", "fold", "shown", "low", "middle", "high", "line", "fleet", "span",
           "loss", "loss_line", "loss_fleet")  # fmt: skip


def _table(rows: list[dict[str, object]]) -> pa.Table:
    names = ("family", *_FIELDS)
    types = {"family": pa.string(), "row": pa.int64(), "fold": pa.int64()}
    return pa.table(
        {
            name: pa.array([row[name] for row in rows], types.get(name, pa.float64()))
            for name in names
        }
    )


def _score(scored: pa.Table, name: str) -> Score:
    found = {field: scored[field].to_numpy() for field in _FIELDS}
    inside = (found["shown"] >= found["low"]) & (found["shown"] <= found["high"])
    return Score(
        family=name,
        count=len(inside),
        coverage=float(inside.mean()),
        bias=float(100 * ((found["shown"] - found["middle"]) / found["span"]).mean()),
        loss=float(found["loss"].mean()),
        loss_line=float(found["loss_line"].mean()),
        loss_fleet=float(found["loss_fleet"].mean()),
    )


@dataclass(frozen=True, slots=True)
class _Naive:
    """What anybody can foretell of each reading (M,), from the readings before it."""

    line: Floats
    """NaN where neither two readings nor one from new stand before it."""
    from_figure: Floats
    """The last reading before it, or the figure when new; NaN where there is neither."""
    ahead: Floats
    """Exposure since then."""


def _naive(family: Family, measured: Floats, start: float) -> _Naive:
    size = len(family.x)
    line, figure, ahead = (np.full(size, np.nan) for _ in range(3))
    known = family.known_start
    before: list[int] = []
    for row in range(size):
        series = family.series_of[row]
        if row == 0 or family.series_of[row - 1] != series:
            before = []
        new = start if np.isnan(known[series]) else known[series]
        points = [
            (family.x[each], family.y[each]) for each in before if measured[each] < measured[row]
        ]
        if family.is_new[series]:
            points.insert(0, (0.0, new))
        if points:
            x, y = points[-1]
            figure[row], ahead[row] = y, family.x[row] - x
            rising = [(x - far) / 1.0 for far, _ in points[-2:-1] if x > far]
            if rising:
                line[row] = y + (y - points[-2][1]) / rising[0] * ahead[row]
        if not family.is_interval[row]:
            before.append(row)
    return _Naive(line, figure, ahead)


def _cuts(measured: Floats, folds: int) -> Floats:
    return np.quantile(measured, np.linspace(FIRST_SHARE, 1, folds + 1))


def _of_family(
    family: Family,
    measured: Floats,
    known_at: Floats,
    folds: int,
) -> list[dict[str, object]]:
    found: list[dict[str, object]] = []
    cuts = _cuts(measured, folds)
    for fold, (begin, end) in enumerate(itertools.pairwise(cuts)):
        last = fold == len(cuts) - 2
        is_next = (measured >= begin) & ((measured < end) | last) & ~family.is_interval
        known = known_at < begin
        first = rough(family, known) if known.any() else None
        if first is None:
            continue
        naive = _naive(family, measured, first.start)
        targets = np.flatnonzero(is_next & ~np.isnan(naive.from_figure))
        if not len(targets):
            continue
        found += _fold(family, (measured, known_at), known, targets, naive, fold)
    return found


def _given(family: Family, times: tuple[Floats, Floats], usable: Flags, targets: Ints) -> Flags:
    """Give which (T, most) of their series' readings the targets are foretold from."""
    measured, known_at = times
    first = np.searchsorted(family.series_of, np.arange(len(family.series) + 1))
    count = np.diff(first)[family.series_of[targets]]
    place = np.arange(int(count.max(initial=0)))
    row = np.minimum(first[family.series_of[targets]][:, None] + place, len(measured) - 1)
    is_before = (measured[row] < measured[targets][:, None]) & (
        known_at[row] <= measured[targets][:, None]
    )
    is_lower = family.x[row] <= family.x[targets][:, None]
    found: Flags = (place < count[:, None]) & usable[row] & is_before & is_lower
    return found


def _fold(
    family: Family,
    times: tuple[Floats, Floats],
    known: Flags,
    targets: Ints,
    naive: _Naive,
    fold: int,
) -> list[dict[str, object]]:
    fitted = fit_family(family, known)
    scales, held, summed = fitted.scales, fitted.readings, fitted.rates
    if scales is None or held is None or summed is None:
        return []
    figures = np.where(known, held[0], scales.true_figures(family, family.y))
    usable = np.where(known, fitted.used, ~family.is_interval)
    given = _given(family, times, usable, targets)
    tells = given.any(axis=1) | family.is_new[family.series_of[targets]]
    targets, given = targets[tells], given[tells]
    if not len(targets):
        return []
    prior = (summed.prior_mean, summed.prior_variance)
    seen = foretell(family, scales, prior, (figures, held[1]), targets, given)
    ours = {share: quantile_shown(seen, fitted.family, scales, targets, share) for share in SHARES}
    rate = _fleet_rate(naive, family, known)
    fleet = naive.from_figure + rate * naive.ahead
    line = np.where(np.isnan(naive.line), fleet, naive.line)
    usual = rate * naive.ahead + float(np.mean(scales.error))
    losses = {
        name: _naive_loss(family.y, forecast, usual, known, targets)
        for name, forecast in (("line", line), ("fleet", fleet))
    }
    shown = family.y[targets]
    each = [pinball(shown, ours[share], share) for share in SHARES]
    loss = np.mean(np.stack(each), axis=0)
    return _rows(family, fold, targets, ours, (line, fleet), (loss, losses), scales.span)


def _fleet_rate(naive: _Naive, family: Family, known: Flags) -> float:
    tells = known & ~family.is_interval & (naive.ahead > 0)
    rise = (family.y - naive.from_figure)[tells].sum()
    return max(float(rise / max(naive.ahead[tells].sum(), 1e-12)), 0.0)


def _naive_loss(y: Floats, forecast: Floats, usual: Floats, known: Flags, targets: Ints) -> Floats:
    """Give the loss of a naive forecast with the spread its own errors had so far."""
    off = ((y - forecast) / usual)[known]
    off = off[~np.isnan(off)]
    total = np.zeros(len(targets))
    for share in SHARES:
        moved = float(np.quantile(off, share)) if share != MIDDLE and len(off) else 0.0
        total += pinball(y[targets], forecast[targets] + moved * usual[targets], share)
    return total / len(SHARES)


def _rows(
    family: Family,
    fold: int,
    targets: Ints,
    ours: dict[float, Floats],
    naive: tuple[Floats, Floats],
    losses: tuple[Floats, dict[str, Floats]],
    span: float,
) -> list[dict[str, object]]:
    turn = family.direction
    low, high = (ours[LOW], ours[HIGH]) if turn > 0 else (ours[HIGH], ours[LOW])
    return [
        {
            "family": family.name if family.unit == "km" else f"{family.name}, {family.unit}",
            "row": int(family.row[target]),
            "fold": fold,
            "shown": turn * family.y[target],
            "low": turn * low[place],
            "middle": turn * ours[MIDDLE][place],
            "high": turn * high[place],
            "line": turn * naive[0][target],
            "fleet": turn * naive[1][target],
            "span": turn * span,
            "loss": 100 * losses[0][place] / span,
            "loss_line": 100 * losses[1]["line"][place] / span,
            "loss_fleet": 100 * losses[1]["fleet"][place] / span,
        }
        for place, target in enumerate(targets)
    ]
