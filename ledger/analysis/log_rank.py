"""The stratified log-rank test of two arms, and how many events it needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from ledger.analysis.funnel_chances import Cells, chances_of
from ledger.analysis.funnel_columns import Coded, coded, flags_of, floats_of, followed, one_stratum
from ledger.analysis.funnel_marks import attained, p_values, tails_of
from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    TooFewLives,
    refuse,
    refuse_no_figure,
    same_length,
    share_between,
)


@dataclass(frozen=True, slots=True)
class LogRank:
    """Events of one arm beside what the other arm's would give it, summed over strata and times."""

    observed: int
    """Events in the arm marked."""
    expected: float
    variance: float
    chi2: float
    """(observed - expected) squared over variance; 0 where nothing can be compared."""
    p: float
    """By chi-squared with one degree of freedom; rough where events are few."""
    p_exact: float
    """Each event falling by the shares of those at risk then: right where events are few too."""
    hazard_ratio: float
    """Of the arm marked over the other: exp((observed - expected) / variance), Peto's; 1 if 0/0."""


def log_rank(
    time: Column, is_event: Column, is_marked: Column, *, stratum: Column | None = None
) -> LogRank:
    """Give the test of the rows marked against the others, within strata.

    `time` is how long each was followed, until its event or the last contact, in one unit. Sums
    of hypergeometric means and variances over the times of events: Mantel, Cancer Chemotherapy
    Reports 50 (1966); Peto and Peto, J. R. Stat. Soc. A 135 (1972). Raises `BadLives` naming bad
    rows, `TooFewLives` for none.
    """
    return log_rank_of(*columns_of(time, is_event, is_marked, stratum))


def columns_of(
    time: Column, is_event: Column, is_marked: Column, stratum: Column | Coded | None
) -> tuple[FloatArray, BoolArray, BoolArray, Coded]:
    """Give lengths, events, arms and strata as arrays, one stratum where none is told.

    Raises `BadLives` naming bad rows, `TooFewLives` for none.
    """
    length, came = floats_of(time, "time"), flags_of(is_event, "is_event")
    arm = flags_of(is_marked, "is_marked")
    same_length(length, {"is_event": came.astype(float), "is_marked": arm.astype(float)})
    if not len(length):
        raise TooFewLives("rows", "time", "there are none", "A test needs some in either arm")
    is_length = (length >= 0) & np.isfinite(length)
    refuse(~is_length, "time", "it is no length", "Give 0 or a length")
    strata = one_stratum(len(length)) if stratum is None else stratum
    if not isinstance(strata, Coded):
        strata = coded(strata, "stratum", len(length), may_lack=True)
    return length, came, arm, strata


def log_rank_of(length: FloatArray, came: BoolArray, arm: BoolArray, strata: Coded) -> LogRank:
    """Give the test of columns that are known to be right."""
    arms = Coded((False, True), arm.astype(np.int64))
    cells = followed(arms, strata, length, came).cells
    observed = int(np.count_nonzero(came & arm))
    expected, variance = float(cells.expected[1]), float(cells.variance[1])
    off = observed - expected
    chi2 = off**2 / variance if variance > 0 else 0.0
    p = float(stats.chi2.sf(chi2, 1))
    ratio = float(np.exp(off / variance)) if variance > 0 else 1.0
    return LogRank(observed, expected, variance, chi2, p, _exact(cells, observed), ratio)


def _exact(cells: Cells, observed: int) -> float:
    marked = Cells(cells.at_risk, cells.events, cells.of_unit[:, 1:])
    tails = [tails_of(each) for each in chances_of(marked)]
    return float(p_values(tails, [attained(tails)], np.array([observed]))[0])


def events_needed(
    ratio: float, *, share: float = 0.5, level: float = 0.95, power: float = 0.8
) -> float:
    """Give how many events show a ratio of hazards with this power, `share` of rows in one arm.

    Source: Schoenfeld, Biometrics 39 (1983). Raises `BadLives` for a ratio of 1 or not above 0.
    """
    refuse_no_figure(ratio, "ratio", "Give one above 0, other than 1")
    if not 0 < ratio < np.inf or ratio == 1:
        raise BadLives("argument", "ratio", f"it is {ratio}", "Give one above 0, other than 1")
    for value, field in ((share, "share"), (level, "level"), (power, "power")):
        share_between(value, field)
    reach = stats.norm.ppf((1 + level) / 2) + stats.norm.ppf(power)
    return float(reach**2 / (share * (1 - share) * np.log(ratio) ** 2))
