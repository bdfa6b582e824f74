"""Counts that wander together: against statsmodels and printed coefficients, and the season of few visits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from evenfoot.analytics.stats.autoregression import CORRELATIONS, SPREADS, autoregression, season_axes, wave


def _series(seed: int, rho: float, wander: float, months: int = 60, n: int = 200) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    u = rng.normal(0, wander, months)
    for month in range(1, months):
        u[month] = rho * u[month - 1] + np.sqrt(1 - rho**2) * u[month]
    time = np.arange(months, dtype=float)
    x = np.column_stack([np.ones(months), (time - months / 2) / 120, time >= months / 2])
    size = np.full(months, n)
    cases = rng.binomial(size, 1 / (1 + np.exp(1.0 - x @ [0.0, 0.2, -0.4] - u)))
    return x, cases, size, time


@pytest.mark.parametrize("setting", [(4, 0), (7, 6), (10, 4), (2, 9)])
def test_each_setting_is_generalised_least_squares(setting: tuple[int, int]) -> None:
    """At a correlation and a spread: the library's GLS of the working values. [pub: statsmodels, GLS]"""
    import statsmodels.api as sm

    x, cases, n, time = _series(3, 0.5, 0.3)
    found = autoregression(x, cases, n, time)
    assert found is not None
    mu = special.expit(x @ found.beta)
    weight = n * mu * (1 - mu)
    rho, spread = CORRELATIONS[setting[0]], SPREADS[setting[1]]
    apart = np.abs(time[:, None] - time)
    alike = np.abs(rho) ** apart * np.where((rho < 0) & (apart % 2 == 1), -1, 1)
    theirs = sm.GLS(x @ found.beta + (cases - n * mu) / weight, x, np.diag(1 / weight) + spread**2 * alike).fit()
    g = setting[0] * len(SPREADS) + setting[1]
    assert found.betas[g] == pytest.approx(np.asarray(theirs.params), abs=2e-3)
    assert found.covariances[g] == pytest.approx(np.asarray(theirs.normalized_cov_params), rel=2e-2, abs=1e-5)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8])
def test_the_correlation_is_that_of_autoregressive_least_squares(rho: float) -> None:
    """Of empirical logits of large counts, which are as good as known. [pub: statsmodels, GLSAR]"""
    import statsmodels.api as sm

    x, cases, n, time = _series(4, rho, 0.3, months=150, n=4000)
    ours = autoregression(x, cases, n, time)
    assert ours is not None
    model = sm.GLSAR(np.log((cases + 0.5) / (n - cases + 0.5)), x, rho=1)
    model.iterative_fit(maxiter=30)
    assert ours.correlation == pytest.approx(float(np.asarray(model.rho).item()), abs=0.08)
    assert ours.spread == pytest.approx(0.3, abs=0.1)


def test_binomial_months_are_plain_logistic_regression() -> None:
    """Large months that differ by nothing but the line: no spread is found, and the fit is the library's."""
    import statsmodels.api as sm

    time = np.arange(60.0)
    x = np.column_stack([np.ones(60), time / 12])
    n = np.full(60, 20000)
    cases = np.round(n / (1 + np.exp(1.4 - 0.05 * time / 12)))
    found = autoregression(x, cases, n, time)
    fit = sm.GLM(np.column_stack([cases, n - cases]), x, family=sm.families.Binomial()).fit()
    assert found is not None
    assert found.beta == pytest.approx(np.asarray(fit.params), abs=1e-3)
    assert found.spread < 0.02


def test_limits_are_wider_where_months_are_alike() -> None:
    widths = []
    for rho in (0.0, 0.8):
        x, cases, n, time = _series(5, rho, 0.3, months=60, n=200)
        found = autoregression(x, cases, n, time)
        assert found is not None
        slope = found.estimate([0, 1, 0])
        widths.append(slope.high - slope.low)
    assert widths[1] > 1.5 * widths[0]


def test_two_kinds_in_a_month_share_its_luck() -> None:
    """A month counted in two halves says no more of its level than the same month counted whole."""
    x, cases, n, time = _series(7, 0.3, 0.4, months=36, n=2000)
    whole = autoregression(x, cases, n, time)
    halves = autoregression(np.vstack([x, x]), np.tile(cases / 2, 2), np.tile(n / 2, 2), np.tile(time, 2))
    assert whole is not None and halves is not None
    assert np.diag(halves.covariance) == pytest.approx(np.diag(whole.covariance), rel=0.1)


def test_what_cannot_settle_is_none() -> None:
    time = np.arange(12.0)
    x = np.column_stack([np.ones(12), time >= 6])
    assert autoregression(x, np.where(time < 6, 0, 50), np.full(12, 100), time) is None


def test_the_season_of_two_months_is_the_difference_of_the_two() -> None:
    time = np.array([3.0, 9.0, 15.0, 21.0, 27.0, 33.0])
    axes = season_axes(time, 12.0)
    assert axes.shape == (2, 1)
    season = (wave(time, 12.0) @ axes)[:, 0]
    assert season[0::2] == pytest.approx(season[0]) and season[1::2] == pytest.approx(-season[0])
