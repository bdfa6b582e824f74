"""Proportions, rates and ratios against printed examples. The source stands beside each check."""

from __future__ import annotations

import numpy as np
import pytest

from evenfoot.analytics.stats.cluster_logistic import compare_counts
from evenfoot.analytics.stats.intervals import clopper_pearson, difference, rate_ratio, wilson
from evenfoot.analytics.stats.ratios import exact_odds_ratio, two_group_p


# Newcombe 1998, Stat Med 17:857, table I, method 3 (Wilson score).
@pytest.mark.parametrize(
    ("cases", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson(cases: int, n: int, low: float, high: float) -> None:
    assert wilson(cases, n) == pytest.approx((low, high), abs=5e-5)


# Newcombe 1998, Stat Med 17:857, table I, method 5 (Clopper-Pearson) [from memory of the table].
@pytest.mark.parametrize(
    ("cases", "n", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_clopper_pearson(cases: int, n: int, low: float, high: float) -> None:
    assert clopper_pearson(cases, n) == pytest.approx((low, high), abs=5e-5)


# R documentation, stats::binom.test: Conover 1971, p. 97, 682 of 925 giant plants.
def test_clopper_pearson_mendel() -> None:
    assert clopper_pearson(682, 925) == pytest.approx((0.7076683, 0.7654066), abs=5e-8)


# Newcombe 1998, Stat Med 17:873, table II, method 10: 56/70 - 48/80.
def test_difference() -> None:
    assert difference(56, 70, 48, 80) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


# Same table, 9/10 - 3/10 and 10/10 - 0/10 [from memory of the table].
def test_difference_of_small_groups() -> None:
    assert difference(9, 10, 3, 10) == pytest.approx((0.6, 0.1705, 0.8090), abs=5e-5)
    assert difference(10, 10, 0, 10) == pytest.approx((1.0, 0.6075, 1.0), abs=5e-5)


# R documentation, stats::poisson.test, eba1977: 11 in 800 against 6+8+7 in 1083+1050+878.
def test_rate_ratio() -> None:
    assert rate_ratio(11, 800, 21, 3011) == pytest.approx((1.971488, 0.8584264, 4.2772659), abs=5e-7)


# R documentation, stats::fisher.test, "TeaTasting" (Agresti 1990, p. 61): two-sided p and conditional odds
# ratio. R prints 0.2117329 to 621.9337505; its root finder stops early on the upper one, so that is held to 1
# %.
def test_tea_tasting() -> None:
    assert two_group_p(3, 4, 1, 4) == pytest.approx(0.4857, abs=5e-5)
    ratio, low, high, p = exact_odds_ratio(3, 4, 1, 4, mid=False)
    assert ratio == pytest.approx(6.408309, abs=5e-4)
    assert low == pytest.approx(0.2117329, rel=1e-4)
    assert high == pytest.approx(621.9337505, rel=1e-2)
    assert p == pytest.approx(0.4857, abs=5e-5)


# R documentation, stats::fisher.test, "Convictions" (Fisher 1962): 2 of 17 against 10 of 13.
def test_convictions() -> None:
    ratio, low, high, _p = exact_odds_ratio(2, 17, 10, 13, mid=False)
    assert (ratio, low, high) == pytest.approx((0.04693661, 0.003325764, 0.363182271), rel=5e-3)


# Agresti, Categorical Data Analysis, 2nd ed., section 3.1 (aspirin and myocardial infarction): 189 of 11,034
# on placebo, 104 of 11,037 on aspirin; odds ratio 1.83 (1.44-2.33), relative risk 1.82 (1.43-2.31). Everybody is a
# cluster of one, so that the robust errors are the textbook's.
def test_aspirin() -> None:
    cases = np.repeat([1, 0, 1, 0], [189, 11034 - 189, 104, 11037 - 104])
    group = np.repeat([1, 1, 0, 0], [189, 11034 - 189, 104, 11037 - 104])
    one = np.ones(len(cases))
    row = compare_counts(cases, one, group, ["aspirin", "placebo"], np.arange(len(cases)), 0 * one).table.iloc[1]
    assert tuple(row[["odds_ratio", "odds_ratio_low", "odds_ratio_high"]]) == pytest.approx(
        (1.83, 1.44, 2.33), abs=5e-3
    )
    assert tuple(row[["ratio", "ratio_low", "ratio_high"]]) == pytest.approx((1.82, 1.43, 2.31), abs=6e-3)
