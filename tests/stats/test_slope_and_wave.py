"""Slope and common wave against statsmodels, and where they must give no answer."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.harmonic import yearly_wave
from evenfoot.analytics.stats.slope import logistic_slope, monthly_slope
from evenfoot.analytics.stats.yearly_wave import common_wave


def _cows(seed: int, shared: float) -> pd.DataFrame:
    """120 cows at 20 times, half of them sure to be like their former selves; months that wander by *shared*."""
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame([(c, t) for c in range(120) for t in range(20)], columns=["cow", "t"])
    cow, month = rng.normal(0, 0.8, 120), rng.normal(0, shared, 20)
    p = 1 / (1 + np.exp(1.2 - cow[frame["cow"]] - month[frame["t"]]))
    return frame.assign(y=(rng.random(len(frame)) < p).astype(int), n=1)


def test_slope_is_statsmodels_gee() -> None:
    import statsmodels.api as sm

    frame = _cows(3, 0.0)
    model = sm.GEE(
        frame["y"],
        sm.add_constant(frame[["t"]]),
        groups=frame["cow"],
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Exchangeable(),
    ).fit(ctol=1e-10, maxiter=200)
    found = logistic_slope(frame, "y", "n", "t", "cow")
    assert np.log(found.odds_ratio) == pytest.approx(model.params["t"], abs=2e-4)
    assert found.start < found.start_high


def test_a_monthly_slope_without_luck_is_logistic_regression() -> None:
    """Months that lie on the line. [pub: statsmodels, GLM]"""
    import statsmodels.api as sm

    time = np.arange(36)
    angle = 2 * np.pi * time / 12
    x = np.column_stack([np.ones(36), time / 12, np.cos(angle), np.sin(angle)])
    n = np.full(36, 50000)
    cases = np.round(n / (1 + np.exp(-(x @ [-1.0, 0.2, 0.3, 0.1]))))
    fit = sm.GLM(np.column_stack([cases, n - cases]), x, family=sm.families.Binomial()).fit()
    found = monthly_slope(pd.DataFrame({"time": time, "cases": cases, "n": n}))
    assert np.log(found.odds_ratio) == pytest.approx(fit.params[1], abs=1e-3)
    assert found.start < found.end


def test_a_monthly_slope_says_what_would_be_enough() -> None:
    visits = pd.DataFrame({"time": [3, 9, 15, 21], "cases": [20, 30, 22, 28], "n": 100})
    assert "6 months with records" in monthly_slope(visits).reason
    assert "about 36 months" in monthly_slope(visits).reason
    half_a_year = pd.DataFrame({"time": range(8), "cases": range(10, 26, 2), "n": 100})
    assert "over a year or more" in monthly_slope(half_a_year).reason
    assert "every unit" in monthly_slope(half_a_year.assign(cases=0)).reason


def test_a_herd_trimmed_in_the_same_two_months_has_a_trend() -> None:
    time = np.array([12 * year + month for year in range(6) for month in (3, 9)])
    logit = -1.5 + np.log(1.5) * time / 12 + 0.4 * (time % 12 == 9)
    cases = np.round(2000 / (1 + np.exp(-logit)))
    found = monthly_slope(pd.DataFrame({"time": time, "cases": cases, "n": 2000}))
    assert found.odds_ratio == pytest.approx(1.5, abs=0.03)
    assert found.low > 1.2


def test_slope_says_why_not() -> None:
    frame = _cows(1, 0.0)
    assert "points in time" in logistic_slope(frame[frame["t"] < 3], "y", "n", "t", "cow").reason
    assert "every unit" in logistic_slope(frame.assign(y=1), "y", "n", "t", "cow").reason
    assert "clusters" in logistic_slope(frame[frame["cow"] < 2], "y", "n", "t", "cow").reason
    twice = frame.assign(again=frame["t"] * 2.0)
    assert "told apart" in logistic_slope(twice, "y", "n", "t", "cow", columns=["again"]).reason


def test_one_group_is_the_plain_wave() -> None:
    month = np.tile(np.arange(12) + 1.5, 2)
    cases = np.random.default_rng(5).binomial(90, 0.2 + 0.1 * np.cos(2 * np.pi * (month - 4) / 12))
    plain, common = yearly_wave(month, cases, 90), common_wave(month, cases, 90, ["a"] * 24)
    assert common.amplitude == pytest.approx(plain.amplitude)
    assert common.peak_month == pytest.approx(plain.peak_month)
    # Months may wander together: the same wave is less sure than with months on their own.
    assert plain.p_value < common.p_value < 0.05


def test_groups_seen_in_different_months_make_no_season() -> None:
    """A bad farm seen in winter and a good one in summer, neither with a season."""
    month = np.array([11.5, 12.5, 1.5, 2.5] * 3 + [5.5, 6.5, 7.5, 8.5] * 3)
    cases = np.array([60] * 12 + [12] * 12)
    group = ["bad"] * 12 + ["good"] * 12
    assert yearly_wave(month, cases, 100).p_value < 0.001
    found = common_wave(month, cases, 100, group)
    assert found.amplitude == pytest.approx(1.0, abs=1e-6)


def test_a_group_without_cases_is_left_out() -> None:
    month = np.tile(np.arange(12) + 1.5, 2)
    cases = np.concatenate([np.round(20 + 9 * np.cos(2 * np.pi * (month[:12] - 4) / 12)), np.zeros(12)])
    found = common_wave(month, cases, 80, np.repeat(["a", "b"], 12))
    assert (found.points, found.reason) == (12, "")
