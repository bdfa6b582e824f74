from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.methods.harmonic import yearly_wave
from analytics.methods.ratios import odds_ratio, risk_ratio, two_group_p
from analytics.methods.stratified import mantel_haenszel
from analytics.methods.trend import cochran_armitage


def test_trend_of_two_groups_is_the_chi_square() -> None:
    found = cochran_armitage([20, 35], [100, 100])
    assert found.p_value == pytest.approx(two_group_p(35, 100, 20, 100))
    assert found.z > 0 and found.slope == pytest.approx(0.15)
    assert found.departure == pytest.approx(0) and np.isnan(found.departure_p)


def test_trend_and_departure_add_up_to_the_whole_chi_square() -> None:
    c, n = np.array([5, 9, 30, 14]), np.array([50, 60, 90, 40])
    found = cochran_armitage(c, n)
    whole = stats.chi2_contingency([c, n - c], correction=False)[0]
    assert found.z2 + found.departure == pytest.approx(whole)
    assert found.departure_df == 2
    assert cochran_armitage(c[::-1], n[::-1]).z == pytest.approx(-found.z)
    assert cochran_armitage(c, n, [10, 20, 30, 40]).z2 == pytest.approx(found.z2)


def test_trend_with_too_little() -> None:
    for found in (
        cochran_armitage([0, 0], [5, 5]),
        cochran_armitage([3], [5]),
        cochran_armitage([], []),
        cochran_armitage([1, 2], [0 + 4, 4], [1, 1]),
    ):
        assert np.isnan(found.p_value)
    assert cochran_armitage([0, 3, 4], [0, 10, 10]).groups == 2


def wave_counts(peak: float, ratio: float, n: int, seed: int | None) -> tuple[np.ndarray, np.ndarray]:
    month = np.tile(np.arange(12) + 1.5, 3)
    half = np.log(ratio) / 2
    p = 1 / (1 + np.exp(1.2 - half * np.cos(2 * np.pi * (month - peak) / 12)))
    c = np.round(n * p) if seed is None else np.random.default_rng(seed).binomial(n, p)
    return month, c


@pytest.mark.parametrize("peak", [1.2, 4.0, 8.7, 12.6])
def test_wave_finds_the_peak_even_at_new_year(peak: float) -> None:
    month, c = wave_counts(peak, 3.0, 300, 5)
    found = yearly_wave(month, c, np.full(36, 300))
    off = (found.peak_month - peak + 6) % 12 - 6
    assert abs(off) < 0.4
    width = (found.peak_high - found.peak_low) % 12
    assert 0 < width < 2 and (peak - found.peak_low) % 12 < width
    assert found.amplitude_low < 3 < found.amplitude_high
    assert found.p_value < 1e-6
    assert found.curve(peak) > found.curve(peak + 6)


def test_wave_limits_cover_the_truth() -> None:
    held = 0
    for seed in range(60):
        month, c = wave_counts(3.0, 2.0, 80, seed)
        found = yearly_wave(month, c, np.full(36, 80))
        held += found.amplitude_low <= 2.0 <= found.amplitude_high
    assert held >= 52


def test_no_season_gives_no_peak_limits_and_a_limit_of_1() -> None:
    rng = np.random.default_rng(2)
    found = yearly_wave(np.arange(12) + 1.5, rng.binomial(100, 0.2, 12), np.full(12, 100))
    assert found.p_value > 0.05
    assert found.amplitude_low == 1.0 and np.isnan(found.peak_low)


def test_wave_beside_a_trend() -> None:
    month = np.tile(np.arange(12) + 1.5, 4)
    year = np.repeat([2019, 2020, 2021, 2022], 12)
    p = 1 / (1 + np.exp(1.5 - 0.4 * np.cos(2 * np.pi * (month - 6) / 12) - 0.3 * (year - 2020)))
    found = yearly_wave(month, np.round(1000 * p), np.full(48, 1000), year=year)
    assert found.coefficients[3] == pytest.approx(0.3, abs=0.02)
    assert found.peak_month == pytest.approx(6, abs=0.1)


@pytest.mark.parametrize(
    ("month", "cases", "n"),
    [
        ([], [], []),
        ([1.5, 2.5], [1, 2], [5, 5]),
        (np.arange(12) + 1.5, np.zeros(12), np.full(12, 9)),
        (np.arange(12) + 1.5, np.full(12, 9), np.full(12, 9)),
        ([1.5, 1.6, 1.7, 2.1, 2.2, 2.3], [1] * 6, [5] * 6),
    ],
)
def test_wave_with_too_little_says_why(month, cases, n) -> None:
    found = yearly_wave(month, cases, n)
    assert found.reason and np.isnan(found.amplitude)


def test_one_stratum_is_the_crude_table() -> None:
    found = mantel_haenszel(30, 100, 15, 110)
    assert found.odds_ratio == pytest.approx(odds_ratio(30, 100, 15, 110)[0])
    assert (found.odds_ratio_low, found.odds_ratio_high) == pytest.approx(odds_ratio(30, 100, 15, 110)[1:])
    assert (found.risk_ratio, found.risk_ratio_low, found.risk_ratio_high) == pytest.approx(
        risk_ratio(30, 100, 15, 110, method="log")
    )
    assert found.risk_difference == pytest.approx(0.3 - 15 / 110)
    assert np.isnan(found.homogeneity) and found.strata == 1


def test_strata_free_the_ratio_from_confounding() -> None:
    # Same odds ratio, 1, in both herds, but herd 2 has more cases and more of group 1.
    found = mantel_haenszel([10, 160], [100, 400], [40, 40], [400, 100])
    assert found.odds_ratio == pytest.approx(1) and found.risk_difference == pytest.approx(0)
    assert found.homogeneity_p == pytest.approx(1)
    assert odds_ratio(170, 500, 80, 500)[0] > 2


def test_homogeneity_agrees_with_statsmodels() -> None:
    from statsmodels.stats.contingency_tables import StratifiedTable

    a, m1, c, m0 = (np.array(x) for x in ([12, 30, 9], [40, 60, 50], [8, 40, 12], [50, 80, 45]))
    theirs = StratifiedTable(np.stack([a, m1 - a, c, m0 - c]).reshape(2, 2, 3)).test_equal_odds(adjust=True)
    found = mantel_haenszel(a, m1, c, m0)
    assert found.homogeneity == pytest.approx(theirs.statistic)
    assert found.homogeneity_p == pytest.approx(theirs.pvalue)


def test_strata_that_disagree_are_reported() -> None:
    assert mantel_haenszel([40, 10], [100, 100], [10, 40], [100, 100]).homogeneity_p < 0.001


@pytest.mark.parametrize(
    "cells",
    [([], [], [], []), ([0], [0], [3], [9]), ([0, 0], [5, 5], [0, 0], [5, 5]), (0, 5, 2, 5), (5, 5, 5, 5)],
)
def test_strata_with_too_little(cells) -> None:
    found = mantel_haenszel(*cells)
    assert np.isnan(found.odds_ratio_low)
    assert np.isnan(found.odds_ratio) or found.odds_ratio == 0
