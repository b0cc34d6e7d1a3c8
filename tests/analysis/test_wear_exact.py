"""The wear model's arithmetic against integration, brute force and sampling, case by case."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from ledger.analysis import wear_forecast
from ledger.analysis.wear_data import Family, Floats, arrange
from ledger.analysis.wear_flags import moments
from ledger.analysis.wear_forecast import Mixture, State, Use, state_of
from ledger.analysis.wear_lines import intervals_as_figures, leave_one_out, lines
from ledger.analysis.wear_rates import Rates, posterior, tangent
from ledger.analysis.wear_scale import Scales

START, START_VARIANCE, WANDER, ERROR, TYPICAL = 0.05, 0.03**2, 0.02, 0.04, 0.2
LOG_MEAN, LOG_VARIANCE = np.log(0.2), 0.35**2


def family_of(x: list[float], **columns: list[Any]) -> Family:
    """Give the family of one part read at exposures `x`."""
    (family,) = arrange({"series": ["one"] * len(x), "exposure": x, **columns})
    return family


def scales_of(family: Family) -> Scales:
    """Give scales that are known, with one gauge that has no bias."""
    size, nothing = len(family.series), np.zeros(len(family.gauges))
    return Scales(
        rate=np.full(size, TYPICAL),
        start=np.full(size, START),
        start_variance=np.full(size, START_VARIANCE),
        wander=WANDER,
        bias=nothing,
        bias_error=nothing,
        gain=nothing,
        gain_error=nothing,
        error=np.full(len(family.gauges), ERROR),
        count=np.zeros(len(family.gauges), dtype=np.int64),
        span=0.7,
    )


def covariance_of(x: list[float]) -> Floats:
    """Give the covariance of start, wandering and the gauge's error, written out entry by entry."""
    made = np.empty((len(x), len(x)))
    for row, one in enumerate(x):
        for column, other in enumerate(x):
            made[row, column] = START_VARIANCE + WANDER * TYPICAL**2 * min(one, other)
            made[row, column] += ERROR**2 if row == column else 0.0
    return made


def every(family: Family) -> Any:
    return np.ones(len(family.x), dtype=bool)


@pytest.mark.parametrize(
    ("x", "y"),
    [([1.5], [0.5]), ([0.8, 2.5], [0.22, 0.75]), ([0.3, 1.0, 3.0], [0.1, 0.18, 0.45])],
)
def test_a_parts_rate_is_that_of_dense_integration(x: list[float], y: list[float]) -> None:
    """Mean and variance of a log rate, for one to three readings, are those on a dense grid."""
    family = family_of(x, value=y)
    scales = scales_of(family)
    summed = lines(family, scales, family.y, scales.variances(family), every(family))
    mean, variance = posterior(summed, np.array([LOG_MEAN]), np.array([LOG_VARIANCE]))

    grid = np.linspace(LOG_MEAN - 8 * 0.35, LOG_MEAN + 8 * 0.35, 40_001)
    off = np.array(y)[None, :] - START - np.exp(grid)[:, None] * np.array(x)[None, :]
    log = stats.multivariate_normal(np.zeros(len(x)), covariance_of(x)).logpdf(off)
    log = log + stats.norm(LOG_MEAN, 0.35).logpdf(grid)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    exact = weight @ grid
    assert mean[0] == pytest.approx(exact, abs=1e-3)
    assert variance[0] == pytest.approx(weight @ (grid - exact) ** 2, rel=0.01)


def test_a_start_is_integrated_out() -> None:
    """Two rates are as likely to each other as with the start integrated by quadrature."""
    family = family_of([1.5], value=[0.5])
    scales = scales_of(family)
    summed = lines(family, scales, family.y, scales.variances(family), every(family))

    def likelihood(rate: float) -> float:
        spread = np.sqrt(WANDER * TYPICAL**2 * 1.5 + ERROR**2)

        def of_start(start: float) -> float:
            seen = stats.norm.pdf(0.5, start + rate * 1.5, spread)
            return float(seen * stats.norm.pdf(start, START, np.sqrt(START_VARIANCE)))

        return float(integrate.quad(of_start, START - 0.3, START + 0.3, epsabs=1e-13)[0])

    def by_lines(rate: float) -> float:
        return float(summed.score[0] * rate - summed.precision[0] * rate**2 / 2)

    expected = np.log(likelihood(0.25) / likelihood(0.4))
    assert by_lines(0.25) - by_lines(0.4) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("low", "high"), [(None, 0.5), (0.5, 0.75), (0.75, None), (1.4, None), (None, -0.2)]
)
def test_a_go_or_no_go_interval_is_that_of_integration(
    low: float | None, high: float | None
) -> None:
    """An interval moves the true figure's mean and variance as integration over it does."""
    family = family_of([2.0], low=[low], high=[high])
    scales = scales_of(family)
    rate = np.array([0.2]), np.array([0.07**2])
    figures, errors = intervals_as_figures(family, scales, rate, every(family))
    centre = START + 0.2 * 2
    variance = START_VARIANCE + WANDER * TYPICAL**2 * 2 + 0.07**2 * 4
    weight = 1 / (1 / variance + 1 / errors[0])
    found = weight * (centre / variance + figures[0] / errors[0]), weight

    def seen(true: float) -> float:
        upper = 1.0 if high is None else stats.norm.cdf(high, true, ERROR)
        lower = 0.0 if low is None else stats.norm.cdf(low, true, ERROR)
        if low is not None and high is None:
            return float(stats.norm.sf(low, true, ERROR))
        return float(upper - lower)

    wide = np.linspace(centre - 12 * np.sqrt(variance), centre + 12 * np.sqrt(variance), 40_001)
    mass = np.array([seen(one) for one in wide[::40]])
    mass = np.exp(np.interp(wide, wide[::40], np.log(np.maximum(mass, 1e-300))))
    mass *= stats.norm.pdf(wide, centre, np.sqrt(variance))
    mass /= mass.sum()
    mean = mass @ wide
    assert found[0] == pytest.approx(mean, abs=0.01 * np.sqrt(variance))
    assert found[1] == pytest.approx(mass @ (wide - mean) ** 2, rel=0.02)


@pytest.mark.parametrize(
    ("low", "high"), [(None, 0.5), (0.5, 0.75), (0.75, None), (None, 0.2), (1.4, None)]
)
def test_a_rate_from_one_interval_is_near_that_of_integration(
    low: float | None, high: float | None
) -> None:
    """A log rate told by one go/no-go look, a likely or a most unlikely one, lies within 0.05 of
    its deviation of the exact one."""
    family = family_of([2.0], low=[low], high=[high])
    scales = scales_of(family)
    prior = np.array([LOG_MEAN]), np.array([LOG_VARIANCE])
    near = moments(*prior)
    for _ in range(2):
        readings = intervals_as_figures(family, scales, near, every(family))
        mean, variance = posterior(lines(family, scales, *readings, every(family)), *prior)
        near = tangent(*prior, mean)

    grid = np.linspace(LOG_MEAN - 8 * 0.35, LOG_MEAN + 8 * 0.35, 20_001)
    spread = np.sqrt(START_VARIANCE + WANDER * TYPICAL**2 * 2 + ERROR**2)
    true = START + 2 * np.exp(grid)
    above = stats.norm.sf((-np.inf if low is None else low) - true, 0, spread)
    above -= 0.0 if high is None else stats.norm.sf(high - true, 0, spread)
    weight = above * stats.norm.pdf(grid, LOG_MEAN, 0.35)
    weight /= weight.sum()
    exact = weight @ grid
    deviation = np.sqrt(weight @ (grid - exact) ** 2)
    assert mean[0] == pytest.approx(exact, abs=0.05 * deviation)
    assert np.sqrt(variance[0]) == pytest.approx(deviation, rel=0.1)


def test_a_tangent_prior_has_the_slope_and_bend_of_the_log_normal_one() -> None:
    """Where it touches, the normal prior's log density has the log-normal one's derivatives."""
    mean, variance, touch = np.array([-1.6]), np.array([0.1]), np.array([-1.2])
    centre, spread = tangent(mean, variance, touch)
    rate, step = float(np.exp(-1.2)), 1e-4

    def derivatives(of: Any) -> tuple[float, float]:
        low, middle, high = of(rate - step), of(rate), of(rate + step)
        return (high - low) / (2 * step), (high - 2 * middle + low) / step**2

    log_normal = stats.lognorm(np.sqrt(0.1), scale=np.exp(-1.6)).logpdf
    normal = stats.norm(centre[0], np.sqrt(spread[0])).logpdf
    assert derivatives(normal) == pytest.approx(derivatives(log_normal), rel=1e-4)


@given(st.integers(0, 2**32 - 1), st.integers(1, 6))
@settings(max_examples=25)
def test_leaving_one_out_is_brute_force(seed: int, count: int) -> None:
    """Each reading as the others foretell it is the normal figure conditioned without its row."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.1, 4, count)).tolist()
    y = (START + 0.2 * np.array(x) + rng.normal(0, 0.1, count)).tolist()
    family = family_of(x, value=y)
    scales = scales_of(family)
    rate = np.array([0.2]), np.array([0.06**2])
    errors = scales.variances(family)
    mean, variance = leave_one_out(family, scales, rate, family.y, errors, every(family))
    whole = covariance_of(x) + 0.06**2 * np.outer(x, x)
    expected = START + 0.2 * np.array(x)
    for row in range(count):
        rest = [other for other in range(count) if other != row]
        gain = np.linalg.solve(whole[np.ix_(rest, rest)], whole[rest, row]) if rest else np.zeros(0)
        off = (np.array(y) - expected)[rest]
        assert mean[row] == pytest.approx(expected[row] + gain @ off, abs=1e-9)
        left = whole[row, row] - gain @ whole[rest, row]
        assert variance[row] == pytest.approx(left, rel=1e-8)


STATE = State(
    x=np.array([1.0]),
    figure=np.array([0.12]),
    slope=np.array([0.6]),
    variance=np.array([0.02**2]),
    wander=np.array([0.001]),
    log_rate=np.array([np.log(0.2)]),
    log_variance=np.array([0.3**2]),
    worn_out=np.array([np.inf]),
)


def sampled(x: float, size: int = 400_000, seed: int = 5) -> Floats:
    """Draw the figure at exposure `x` of STATE."""
    rng = np.random.default_rng(seed)
    rate = np.exp(np.log(0.2) + 0.3 * rng.normal(size=size))
    spread = np.sqrt(0.02**2 + 0.001 * (x - 1.0))
    return np.asarray(0.12 + rate * (0.6 + x - 1.0) + spread * rng.normal(size=size))


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_exposure_until_due_is_that_of_sampling(share: float) -> None:
    """At the exposure foretold, that share of sampled parts has reached the limit."""
    way = wear_forecast.due_after(STATE, np.array([0.75]), np.array([1.5]), np.zeros(1), share)
    reached = np.mean(sampled(1.5 + way[0]) >= 0.75)
    assert reached == pytest.approx(share, abs=0.003)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_days_until_due_are_those_of_sampling(share: float) -> None:
    """By the day foretold, and not the day before, that share of sampled parts is at its limit."""
    fair = np.concatenate([[0.0], np.cumsum(1 + 0.5 * np.sin(np.arange(1200) / 58))])
    use = Use(np.array([0.006]), np.array([0.25]), fair[None, :], np.array([0]))
    limit, now = np.array([0.75]), np.array([1.5])
    asked = (STATE, limit, now, np.zeros(1), use)
    (day,) = wear_forecast.due_days(*asked, share)
    by = [bool(wear_forecast.is_due_by(*asked, int(day) + off, share)[0]) for off in (-1, 0, 1)]
    assert by == [False, True, True]
    rng = np.random.default_rng(11)
    size = 400_000
    rate = np.exp(np.log(0.2) + 0.3 * rng.normal(size=size))
    pace = 0.006 * np.exp(0.25 * rng.normal(size=size))
    noise = rng.normal(size=size)

    def reached(days: int) -> float:
        ahead = 0.5 + pace * fair[days]
        figure = 0.12 + rate * (0.6 + ahead) + np.sqrt(0.02**2 + 0.001 * ahead) * noise
        return float(np.mean(figure >= 0.75))

    assert reached(int(day)) >= share - 0.005
    assert reached(int(day) - 1) < share + 0.005


def test_what_is_past_is_due_now_and_what_never_comes_is_infinite() -> None:
    """A limit already passed is due in nought; one beyond the season, never."""
    nought, one = np.zeros(1), np.array([1.5])
    assert wear_forecast.due_after(STATE, np.array([0.05]), one, nought, 0.5)[0] == 0.0
    slow = replace(STATE, log_rate=np.array([-20.0]), wander=np.zeros(1))
    use = Use(np.array([0.006]), np.zeros(1), np.arange(1000.0)[None, :], np.array([0]))
    assert np.isinf(wear_forecast.due_days(slow, np.array([0.75]), one, nought, use, 0.5)[0])
    assert not wear_forecast.is_due_by(slow, np.array([0.75]), one, nought, use, 999, 0.5)[0]
    assert wear_forecast.is_due_by(slow, np.array([0.05]), one, nought, use, 0, 0.5)[0]
    assert not wear_forecast.is_due_by(STATE, np.array([np.nan]), one, nought, use, 999, 0.5)[0]


@pytest.mark.parametrize("share", [0.001, 0.1, 0.5, 0.9, 0.999])
def test_a_quantile_of_one_normal_figure_is_scipys(share: float) -> None:
    """A mixture of one is the normal distribution."""
    mixture = Mixture(np.array([[2.0]]), np.array([[0.3]]), np.array([1.0]))
    expected = stats.norm.ppf(share, 2.0, 0.3)
    assert mixture.quantile(share)[0] == pytest.approx(expected, abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(-5, 5), st.floats(0.01, 3)), min_size=1, max_size=6),
    st.floats(0.01, 0.99),
)
@settings(max_examples=40)
def test_a_quantile_of_a_mixture_solves_its_distribution(
    parts: list[tuple[float, float]], share: float
) -> None:
    """The quantile is where the mixture's distribution, by scipy, takes the share."""
    means, deviations = (np.array(each) for each in zip(*parts, strict=True))
    weights = np.full(len(parts), 1 / len(parts))
    found = Mixture(means[None, :], deviations[None, :], weights).quantile(share)[0]

    def below(figure: float) -> float:
        return float(weights @ stats.norm.cdf(figure, means, deviations) - share)

    expected = optimize.brentq(below, -60, 60, xtol=1e-12)
    assert below(found) == pytest.approx(0.0, abs=1e-6)
    assert found == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("ahead", [0.0, 0.5, 2.0])
def test_the_band_meets_the_forecast_at_the_last_reading_and_after(ahead: float) -> None:
    """Drawn at the last reading's exposure or beyond, the band is the forecast from there."""
    family = family_of([0.5, 1.2, 2.0], value=[0.16, 0.30, 0.43])
    scales = scales_of(family)
    errors = scales.variances(family)
    summed = lines(family, scales, family.y, errors, every(family))
    prior = np.array([LOG_MEAN]), np.array([LOG_VARIANCE])
    rates = Rates(*prior, *posterior(summed, *prior))
    forecast = wear_forecast.at(state_of(scales, summed, rates), np.array([2.0 + ahead]))
    band = wear_forecast.band(
        family, scales, rates, (family.y, errors), np.arange(3), 0, np.array([0.1, 2.0 + ahead])
    )
    for share in (0.1, 0.5, 0.9):
        assert band.quantile(share)[1] == pytest.approx(forecast.quantile(share)[0], abs=1e-9)
