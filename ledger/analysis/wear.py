"""How fast parts wear, when they reach their limits, and how sure that is.

`fit_wear` takes a table of readings, with or without a book behind it. Method, in order: what
gauges and starts share by restricted maximum likelihood (`wear_scale`); go/no-go intervals by
expectation propagation, lines summed up exactly (`wear_lines`); log-normal rates partially pooled
by empirical Bayes (`wear_rates`); readings that do not belong flagged and left out (`wear_flags`);
forecasts with the uncertainty of all of these (`wear_forecast`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from hashlib import sha256

import numpy as np

from ledger.analysis import wear_flags, wear_rough, wear_scale
from ledger.analysis.wear_data import Family, Flags, Floats, Ints, Table, arrange
from ledger.analysis.wear_flags import Flagged
from ledger.analysis.wear_forecast import State, state_of
from ledger.analysis.wear_lines import Lines, intervals_as_figures, lines
from ledger.analysis.wear_rates import ENOUGH, USUAL_SPREAD, Pool, Rates, rates, tangent
from ledger.analysis.wear_scale import Scales

FIRST_SPREAD = 0.6
ROUGHLY = 0.01
"""How far off effects may be where intervals only need to know about where a rate lies."""
FEW_FLAGS = 0.02
"""What gauges and starts share is measured again where more than this share was set aside."""
BEYOND = 3.0
"""A reading this many of its gauge's errors beyond what nothing wears beyond is none of it."""
EDGE = 2.0
"""A reading this many of its gauge's errors short of what nothing wears beyond may be there."""


@dataclass(frozen=True, slots=True)
class FamilyFit:
    """One family, fitted. `scales` and all after it are None where nothing tells a rate."""

    family: Family
    used: Flags
    """Readings (M,) the fit rests on."""
    flagged: list[Flagged]
    scales: Scales | None = None
    readings: tuple[Floats, Floats] | None = None
    """True figures and error variances (M,), gauges' bias and intervals worked in."""
    lines: Lines | None = None
    rates: Rates | None = None
    pool: Pool | None = None
    fitted_to: str = ""
    """Digest of the readings as they were given, without their rows in the table."""

    @property
    def state(self) -> State | None:
        """Where each series truly stands at its last reading, its gauge's bias not being sure."""
        if self.scales is None or self.lines is None or self.rates is None:
            return None
        found = state_of(self.scales, self.lines, self.rates)
        read = np.flatnonzero(self.used)
        gauge = np.full(len(self.family.series), -1)
        gauge[self.family.series_of[read]] = self.family.gauge[read]
        unsure = np.where(gauge >= 0, self.scales.level_variances(gauge), 0.0)
        return replace(found, variance=found.variance + unsure)


@dataclass(frozen=True, slots=True)
class WearFit:
    """All families of a table of readings, fitted."""

    families: list[FamilyFit]

    def family(self, name: str, unit: str = "km") -> FamilyFit:
        """Give a family by name, such as "chain elongation", and unit of exposure."""
        return next(
            each for each in self.families if (each.family.name, each.family.unit) == (name, unit)
        )


def fit_wear(readings: Table, before: WearFit | None = None) -> WearFit:
    """Fit rates of wear to a table of readings.

    Columns (an Arrow table or a mapping of sequences, one entry a reading; `?` may be left out or
    null): `series` (what one line goes through; else `part`), `exposure`, or `distance_km` and
    `days` (days where a distance is not known), `value` or an interval `low`?, `high`?,
    `direction`? (+1 wear makes it grow, -1 shrink; +1), `is_from_new`? (exposure counts from new;
    true), `start`? (the figure when new, where known), `limit`?, `gauge`?, `family`? (what wears
    alike; else from `position` and `quantity`), `riding`?, `model`?, `position`?, `point`?,
    `bike`?, `distance_error_km`? (1 standard deviation).

    `gauge_error`? is the registered standard error of a reading's gauge, used as a few readings'
    worth of evidence; biases and errors are measured from the readings. Rates are per 1,000 km,
    per year, or per unit of `exposure`.

    A family of which `before` was fitted to the very same readings is taken from there: its
    figures are the same to the bit. Raises ReadingsWrong for a row that cannot be used.
    """
    known = {each.fitted_to: each for each in before.families} if before else {}
    return WearFit([_fit_or_known(family, known) for family in arrange(readings)])


def _fit_or_known(family: Family, known: dict[str, FamilyFit]) -> FamilyFit:
    digest = _digest(family)
    found = known.get(digest)
    if found is None:
        return replace(fit_family(family), fitted_to=digest)
    rows = dict(zip(found.family.row.tolist(), family.row.tolist(), strict=True))
    flagged = [replace(flag, row=rows[flag.row]) for flag in found.flagged]
    return replace(found, family=replace(found.family, row=family.row), flagged=flagged)


def _digest(family: Family) -> str:
    """Give a digest of all a fit may depend on: a family's figures and names, not its rows."""
    digest = sha256()
    for name in (each.name for each in fields(family) if each.name != "row"):
        value = getattr(family, name)
        named = value.items() if isinstance(value, dict) else [("", value)]
        for key, one in named:
            is_array = isinstance(one, np.ndarray)
            digest.update(f"{name}\0{key}\0{one.dtype if is_array else one!r}\0".encode())
            digest.update(np.ascontiguousarray(one).tobytes() if is_array else b"")
    return digest.hexdigest()


def fit_family(family: Family, known: Flags | None = None) -> FamilyFit:
    """Fit one family: flag, fit, flag again with better scales, fit again.

    Only `known` readings (M,) are looked at; all by default.
    """
    known = np.ones(len(family.x), dtype=bool) if known is None else known
    first = wear_rough.rough(family, known)
    if first is None:
        return FamilyFit(family, known, [])
    errors = wear_scale.usual_errors(family, first.span)
    most = wear_scale.worn_out(family, known, float(errors.mean()))
    edge = most - EDGE * errors[family.gauge]
    is_worn_out = (
        known & (family.y > edge) & ~_is_belied(family, known, edge - 3 * errors[family.gauge])
    )
    impossible = known & (family.y > most + BEYOND * errors[family.gauge])
    family = _at_least(family, np.flatnonzero(is_worn_out & ~impossible), most)
    everything, known = known, known & ~impossible
    used, is_slip = _without_the_wild(family, known, first)
    first = wear_rough.rough(family, used) or first
    fitted = _fitted(family, used, first, most)
    for _ in range(wear_flags.AGAIN):
        off, surprise = wear_flags.deviations(family, *_prior(fitted), used, known)
        worst = wear_flags.worst_of_each(family, np.where(used, off, 0.0), surprise)
        left_out = known & ~used & ~family.is_interval & ~is_slip
        back = wear_flags.back_of_each(family, off, left_out)
        slips = wear_flags.slips(family, *_prior(fitted), used)
        is_slip[slips] = True
        worst = worst[~np.isin(family.series_of[worst], family.series_of[slips])]
        if not len(worst) and not len(back) and not len(slips):
            break
        is_past = (off[worst] < 0) & (family.y[worst] > family.limit[family.series_of[worst]])
        family = _at_least(family, worst[is_past], most)
        used = used.copy()
        used[back] = True
        used[worst[~is_past]] = False
        used[slips] = False
        few = len(worst) + len(back) + len(slips) < FEW_FLAGS * len(used)
        fitted = _fitted(family, used, first, most, fitted.scales if few else None)
    assert fitted.scales
    fitted = replace(fitted, scales=replace(fitted.scales, worn_out=most))
    flagged = wear_flags.explained(
        family,
        *_prior(fitted),
        used=used,
        targets=np.flatnonzero(everything & ~used),
        off=np.where(impossible, wear_flags.FAR, off),
        is_slip=is_slip,
    )
    return replace(fitted, flagged=flagged)


def _prior(fitted: FamilyFit) -> tuple[Scales, tuple[Floats, Floats], tuple[Floats, Floats]]:
    assert fitted.scales and fitted.readings and fitted.rates
    prior = (fitted.rates.prior_mean, fitted.rates.prior_variance)
    return fitted.scales, prior, fitted.readings


def _is_belied(family: Family, known: Flags, clear_of: Floats) -> Flags:
    """Give which readings (M,) stand before one of their series that shows less than `clear_of`."""
    last_clear = np.full(len(family.series), -1)
    clear = np.flatnonzero(known & (family.y < clear_of))
    np.maximum.at(last_clear, family.series_of[clear], clear)
    found: Flags = np.arange(len(family.y)) < last_clear[family.series_of]
    return found


def _at_least(family: Family, rows: Ints, most: float) -> Family:
    """Give the family with readings of worn-out parts as "at least that": nothing wears beyond."""
    y, low, high = family.y.copy(), family.low.copy(), family.high.copy()
    low[rows], high[rows], y[rows] = np.minimum(y[rows], most), np.inf, np.nan
    return replace(family, y=y, low=low, high=high)


def _without_the_wild(family: Family, known: Flags, first: wear_rough.Rough) -> tuple[Flags, Flags]:
    """Give which known readings are not absurd beside a rough line, so that none spoils the fit,
    and which (M,) are slips of the pen.
    """
    size = len(family.series)
    guess = wear_scale.scales(family, np.zeros_like(known), first)
    valued = known & ~family.is_interval
    found = family.y[valued & ~family.is_new[family.series_of]]
    if len(found):
        start = np.where(family.is_new, guess.start, float(np.median(found)))
        guess = replace(guess, start=start)
    guess = replace(guess, error=guess.error * 2)
    readings = guess.true_figures(family, family.y), guess.variances(family)
    prior = (np.full(size, np.log(first.rate)), np.full(size, FIRST_SPREAD**2))
    used, is_slip = known.copy(), np.zeros_like(known)
    is_slip[wear_flags.slips(family, guess, prior, readings, used & valued)] = True
    used &= ~is_slip
    for _ in range(wear_flags.AGAIN):
        off, surprise = wear_flags.deviations(
            family, guess, prior, readings, used & valued, used & valued
        )
        worst = wear_flags.worst_of_each(family, np.where(used & valued, off, 0.0), surprise)
        past = (off[worst] < 0) & (family.y[worst] > family.limit[family.series_of[worst]])
        if not len(worst[~past]):
            break
        used[worst[~past]] = False
    return used, is_slip


def _fitted(
    family: Family,
    used: Flags,
    first: wear_rough.Rough,
    most: float,
    scales: Scales | None = None,
) -> FamilyFit:
    scales = scales or wear_scale.scales(family, used, first, most)
    usual = (scales.rate, (scales.rate * USUAL_SPREAD) ** 2)
    readings = intervals_as_figures(family, scales, usual, used)
    summed = lines(family, scales, *readings, used)
    has_intervals = bool((family.is_interval & used).any())
    enough, unsure = ROUGHLY if has_intervals else ENOUGH, scales.start_error
    found, pool = rates(family, summed, first.rate, unsure, enough=enough)
    if has_intervals:
        near = tangent(found.prior_mean, found.prior_variance, found.mean)
        readings = intervals_as_figures(family, scales, near, used)
        summed = lines(family, scales, *readings, used)
        found, pool = rates(family, summed, first.rate, unsure, pool)
    return FamilyFit(family, used, [], scales, readings, summed, found, pool)
