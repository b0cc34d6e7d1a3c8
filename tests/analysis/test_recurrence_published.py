"""Mean cumulative functions held against published recurrence data."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.analysis.recurrence import mean_cumulative, mean_cumulative_of

# Five systems: ages at repair, and the age of retirement. Read in the documentation of the Python
# library `reliability` (MCF_nonparametric), which has them from a reliability encyclopedia.
FIVE = [
    ([5, 10, 15], 17),
    ([6, 13, 17], 19),
    ([12, 20, 25], 26),
    ([13, 15], 24),
    ([16, 22, 25], 28),
]

# 41 engines, 48 valve seats replaced, days; W. Nelson (1995). Engines 251 to 420 read in the SAS/QC
# sample RELGS11, the rest in the R data set valveseat of Meeker and Escobar's book.
VALVE_SEATS = """251:-+761; 252:-+759; 327:98+667; 328:326,653,653+667; 329:-+665; 330:84+667;
331:87+663; 389:646+653; 390:92+653; 391:-+651; 392:258,328,377,621+650; 393:61,539+648;
394:254,276,298,640+644; 395:76,538+642; 396:635+641; 397:349,404,561+649; 398:-+631; 399:-+596;
400:120,479+614; 401:323,449+582; 402:139,139+589; 403:-+593; 404:573+589; 405:165,408,604+606;
406:249+594; 407:344,497+613; 408:265,586+595; 409:166,206,348+389; 410:-+601; 411:410,581+601;
412:-+611; 413:-+608; 414:-+587; 415:367+603; 416:202,563,570+585; 417:-+587; 418:-+578; 419:-+578;
420:-+586; 421:-+585; 422:-+582"""


def engines() -> dict[str, tuple[list[float], float]]:
    """Give (replacements, end) of each engine."""
    histories = {}
    for engine in VALVE_SEATS.replace("\n", " ").split(";"):
        name, history = engine.strip().split(":")
        ages, end = history.split("+")
        histories[name] = ([float(age) for age in ages.split(",") if age != "-"], float(end))
    return histories


def test_five_systems_give_the_published_curve():
    """The curve of the five systems is as the library prints it."""
    curve = mean_cumulative_of(FIVE)
    published = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.33333, 2.66667, 3.66667]
    assert curve.time.tolist() == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    assert curve.mcf == pytest.approx(published, abs=5e-6)
    assert curve.at_risk.tolist() == [5, 5, 5, 5, 5, 5, 5, 5, 3, 3, 2]
    assert curve.count.tolist() == [1, 1, 1, 1, 2, 2, 1, 1, 1, 1, 2]


def test_the_robust_variance_is_not_that_of_independent_increments():
    """On one curve the two variances differ as recomputed by hand from their definitions."""
    # The library and the encyclopedia print the roots of the second row; the first is recomputed
    # from Lawless and Nadeau, Technometrics 37 (1995), 158.
    robust = mean_cumulative_of(FIVE)
    other = mean_cumulative_of(FIVE, variance="independent increments")
    assert robust.se[:3] ** 2 == pytest.approx([0.032, 0.048, 0.128], rel=1e-12)
    assert other.se[:3] ** 2 == pytest.approx([0.032, 0.064, 0.096], rel=1e-12)
    assert other.mcf.tolist() == robust.mcf.tolist()


def test_valve_seats_give_the_recomputed_curve_and_robust_errors():
    """The curve, units at risk and robust errors of the valve seats are as recomputed."""
    curve = mean_cumulative_of(engines())
    assert (curve.count_units, curve.count_events) == (41, 48)
    ages = [61, 76, 84, 98, 139, 265, 377, 404, 573, 581, 621, 653]
    published = [
        0.024390, 0.048780, 0.073171, 0.146341, 0.219512, 0.414634,
        0.658537, 0.683537, 0.958537, 0.984852, 1.118542, 1.542688,
    ]  # fmt: skip
    at = curve.at(ages)
    assert at.mcf == pytest.approx(published, abs=1e-6)
    assert at.at_risk[[7, 9, 10, 11]].tolist() == [40, 38, 17, 9]
    errors = curve.at([61, 76, 98, 139, 653]).se
    recomputed = [0.024091, 0.033641, 0.055199, 0.073270, 0.311656]
    assert errors == pytest.approx(recomputed, abs=1e-6)


def test_plain_columns_give_the_same_as_histories():
    """Events in any order with names of their engines give what histories engine by engine give."""
    by_engine = engines()
    rows = [(name, age) for name, (ages, _) in by_engine.items() for age in ages]
    shuffled = [rows[place] for place in np.random.default_rng(1).permutation(len(rows))]
    names, ages = zip(*shuffled, strict=True)
    ends = [end for _, end in by_engine.values()]
    curve = mean_cumulative(names, ages, ends, unit=list(by_engine))
    whole = mean_cumulative_of(by_engine)
    assert curve.mcf.tolist() == whole.mcf.tolist()
    assert curve.se == pytest.approx(whole.se, rel=1e-12)
