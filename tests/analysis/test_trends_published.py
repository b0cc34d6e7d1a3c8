"""Trend tests and the power law held against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.analysis.trend_tests import nist_score
from ledger.analysis.trends import (
    laplace,
    military_handbook,
    power_law,
    reverse_arrangements,
    trend,
)

# NIST/SEMATECH e-Handbook, the example of a repairable system of chapter 8: ten failures, observed
# to 1,500 h. Times, modified shape and scale, mean time between failures at the end and its 80 %
# limits read in an R script laid out like the handbook's own; the rest recomputed.
NIST = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]

# MIL-HDBK-189 (1981), appendix C: 27 times, T = 300. Figures read in the benchmark file of a
# statistics library, and recomputed to all digits; the handbook's page was not seen.
HANDBOOK = [
    2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1,
    132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1,
]  # fmt: skip

# Gaps between failures, watched to the last one: Modarres, Example 5.11, read in the documentation
# of the Python library `reliability` (ROCOF), with the figures it prints.
GAPS = [
    104, 131, 1597, 59, 4, 503, 157, 6, 118, 173, 114, 62, 101, 216, 106, 140, 1, 102, 3, 393, 96,
    232, 89, 61, 37, 293, 7, 165, 87, 99,
]  # fmt: skip

# Three simulated systems of Crow (1974; AMSAA TR 138, 1975), each watched for 200 h. Times and the
# printed estimates 0.615 and 0.461 from memory.
CROW = [
    [4.3, 4.4, 10.2, 23.5, 23.8, 26.4, 74.0, 77.1, 92.1, 197.2],
    [0.1, 5.6, 18.6, 19.5, 24.2, 26.7, 45.1, 45.8, 75.7, 79.7, 98.6, 120.1, 161.8, 180.6, 190.8],
    [8.4, 32.5, 44.7, 48.4, 50.6, 73.6, 98.7, 112.2, 129.8, 136.0, 195.8],
]  # fmt: skip


def test_nists_example_gives_the_printed_power_law():
    """Modified shape and scale, MTBF at the end and its limits are as NIST prints them."""
    law = power_law(NIST, 1500, level=0.8)
    assert 1 - law.shape_unbiased == pytest.approx(0.516494, abs=5e-7)
    assert law.shape_unbiased == pytest.approx(0.483506, abs=5e-7)
    assert law.scale_unbiased == pytest.approx(0.2913003, abs=5e-8)
    assert law.mtbf_unbiased == pytest.approx(310.234, abs=5e-4)
    assert (law.mtbf_low, law.mtbf_high) == pytest.approx((157.7138, 548.5566), abs=5e-5)


def test_the_modified_shape_is_not_the_most_likely_one():
    """The most likely shape has r where NIST's modified one has r - 1."""
    # Recomputed; surpyval's CrowAMSAA gives shape 0.53722887 and alpha 20.63893032
    law = power_law(NIST, 1500)
    assert law.shape == pytest.approx(0.53722887, abs=5e-9)
    assert law.scale ** (-1 / law.shape) == pytest.approx(20.63893032, abs=5e-8)
    assert law.scale == pytest.approx(0.196658, abs=5e-7)
    assert law.mtbf_at_end == pytest.approx(279.2106, abs=5e-5)
    assert law.shape_unbiased / law.shape == pytest.approx(9 / 10)


def test_nists_example_gives_the_recomputed_trend_tests():
    """Laplace, MIL-HDBK-189 and reverse arrangements are as recomputed by NIST's formulas."""
    assert laplace(NIST, 1500).statistic == pytest.approx(-1.326949, abs=5e-7)
    military = military_handbook(NIST, 1500)
    assert military.statistic == pytest.approx(37.228081, abs=5e-7)
    assert military.degrees_of_freedom == 20
    assert military.chance_worse == pytest.approx(0.989014, abs=5e-7)  # the CDF
    arranged = reverse_arrangements(NIST, 1500)
    assert arranged.statistic == 33
    assert -arranged.score == pytest.approx(1.878297, abs=5e-7)
    assert nist_score(33, 10) == pytest.approx(1.967740, abs=5e-7)


def test_the_handbooks_example_gives_its_power_law():
    """Shape, scale, intensity, MTBF and goodness of fit of 27 times are as published."""
    law = power_law(HANDBOOK, 300)
    assert law.shape == pytest.approx(0.7163392624, abs=5e-11)
    assert law.scale == pytest.approx(0.4538418614, abs=5e-11)
    assert law.intensity_at_end == pytest.approx(0.0644705336, abs=5e-11)
    assert law.mtbf_at_end == pytest.approx(15.5109620, abs=5e-8)
    assert law.shape_unbiased == pytest.approx(0.68980818, abs=5e-9)
    assert law.cramer_von_mises == pytest.approx(0.0910611, abs=5e-8)
    assert law.is_plausible


def test_a_history_ended_by_its_last_failure_gives_the_printed_rate():
    """Of thirty gaps the last failure is dropped from the tests, and the fit is as printed."""
    times = np.cumsum(GAPS)
    tested = laplace(times)
    assert (tested.statistic, tested.count_events) == (pytest.approx(2.409438, abs=5e-7), 29)
    military = military_handbook(times)
    assert military.statistic == pytest.approx(37.7821, abs=5e-5)
    assert military.degrees_of_freedom == 58
    law = power_law(times)
    assert law.end == 5256
    assert law.shape == pytest.approx(1.588053, abs=5e-7)
    assert law.scale == pytest.approx(3.7027e-05, abs=5e-10)
    assert law.shape_unbiased == pytest.approx(law.shape * 28 / 30)
    assert trend(times).judgement == "getting worse"


def test_three_systems_give_crows_estimates():
    """Systems watched alike give the printed shape and scale."""
    unit = np.repeat([0, 1, 2], [len(times) for times in CROW])
    law = power_law(np.concatenate(CROW), [200] * 3, unit_of_event=unit)
    assert law.shape == pytest.approx(0.615, abs=5e-4)
    assert law.scale == pytest.approx(0.461, abs=5e-4)
    assert (law.count_events, law.count_units) == (36, 3)
