from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import special, stats

from evenfoot.analytics.stats.kappa import equal_margins, kappa_limits, kappa_of_table, symmetry
from tests.scale.worlds_rates import exact_kappa_coverage, tables_of_two


def test_perfect_and_chance() -> None:
    perfect = kappa_of_table(np.diag([1, 2, 1]), weights="quadratic")
    assert perfect.kappa == pytest.approx(1) and perfect.agreement == 1
    assert np.isnan(perfect.margins_p_value) and np.isnan(perfect.symmetry_p_value)
    chance = kappa_of_table(np.outer([30, 20, 50], [40, 40, 20]) / 10)
    assert chance.kappa == pytest.approx(0, abs=1e-12)
    assert chance.agreement == pytest.approx(chance.expected)


def test_two_grades_weigh_nothing() -> None:
    table = [[20, 5], [10, 15]]
    found = [kappa_of_table(table, weights=w) for w in ("none", "linear", "quadratic")]
    assert [each.kappa for each in found] == pytest.approx([0.4] * 3)
    assert len({(round(each.kappa_low, 9), round(each.kappa_high, 9)) for each in found}) == 1
    # McNemar without correction: (10 - 5)^2 / 15 = 1.667, p = .197; exact: 5 or fewer of 15, both sides.
    assert found[0].symmetry_p_value == pytest.approx(0.1967, abs=1e-4)
    assert found[0].margins_p_value == pytest.approx(2 * stats.binom.cdf(5, 15, 0.5))


def test_quadratic_kappa_forgives_near_misses() -> None:
    table = 6 * np.eye(5, k=1, dtype=int)
    table[4, 4] = 6
    none, quadratic = (kappa_of_table(table, weights=w) for w in ("none", "quadratic"))
    assert none.kappa < 0.1 < 0.6 < quadratic.kappa
    assert quadratic.margins_p_value < 0.001 and quadratic.symmetry_p_value < 0.001


def test_no_limits_from_1_to_1() -> None:
    """Two people who agree on all of 30 cows may still differ on one in ten."""
    for weights in ("none", "linear", "quadratic"):
        found = kappa_of_table(np.diag([10, 8, 6, 4, 2]), weights=weights)
        assert found.kappa == 1 and 0.5 < found.kappa_low < 0.95 and found.kappa_high == pytest.approx(1)
    low, high = kappa_limits(tables_of_two(30))
    known = np.isfinite(low)
    assert known.sum() == len(low) - 2, "only the two tables of one grade throughout have no kappa"
    assert (low[known] < 0.8).all() and (high[known] > low[known]).all() and (high[known] <= 1 + 1e-9).all()


def test_limits_hold_the_truth_at_30_pairs() -> None:
    """Worked out over all 5456 tables of 30 pairs, no simulation: 92 to 98 % at every prevalence and kappa. The
    large-sample limits hold it in 23 to 62 % where kappa is .9 or more and one cow in ten or in five is lame."""
    found = exact_kappa_coverage(30)
    assert found["coverage"].between(0.92, 0.982).all(), found.to_string()
    assert found["coverage"].mean() == pytest.approx(0.955, abs=0.015)
    assert found.loc[(found["kappa"] >= 0.9) & (found["prevalence"] <= 0.2), "large_sample"].max() < 0.65


def test_limits_near_the_large_sample_ones_in_a_large_table() -> None:
    counts = np.array([[400, 60, 10], [50, 300, 40], [5, 45, 190]])
    for weights in ("none", "linear", "quadratic"):
        found = kappa_of_table(counts, weights=weights)
        wald = found.kappa - 1.96 * found.kappa_se, found.kappa + 1.96 * found.kappa_se
        assert (found.kappa_low, found.kappa_high) == pytest.approx(wald, abs=6e-3)


def test_order_of_people_does_not_matter() -> None:
    counts = np.array([[9, 3, 0], [1, 7, 4], [0, 1, 5]])
    one, other = kappa_of_table(counts, weights="linear"), kappa_of_table(counts.T, weights="linear")
    assert (one.kappa_low, one.kappa_high) == pytest.approx((other.kappa_low, other.kappa_high))
    assert (one.margins_p_value, one.symmetry_p_value) == pytest.approx((other.margins_p_value, other.symmetry_p_value))


def test_symmetry_is_not_equal_use_of_the_grades() -> None:
    """A scorer who takes turns with two neighbours in a circle uses all grades equally often, and not symmetrically."""
    circle = np.array([[20, 12, 0], [0, 20, 12], [12, 0, 20]])
    assert symmetry(circle) < 1e-6 and equal_margins(circle) == pytest.approx(1)


def test_grades_that_are_never_mixed_up_are_tested_apart() -> None:
    two = [[5, 2, 0, 0], [9, 5, 0, 0], [0, 0, 5, 3], [0, 0, 1, 4]]
    chi2 = (9 - 2) ** 2 / 11 + (3 - 1) ** 2 / 4
    assert equal_margins(two) == pytest.approx(special.chdtrc(2, chi2))
    assert equal_margins([[3, 1, 0], [0, 3, 0], [0, 0, 4]]) == 1.0


@pytest.mark.parametrize("table", [np.zeros((3, 3)), np.diag([1, 0]), np.diag([0, 3, 0])])
def test_too_little_to_agree_on(table) -> None:
    found = kappa_of_table(table)
    assert np.isnan(found.kappa) and np.isnan(found.kappa_low) and np.isnan(found.kappa_high)


def test_kappa_refuses() -> None:
    with pytest.raises(ValueError, match="square"):
        kappa_of_table(pd.DataFrame([[1, 2, 3], [1, 2, 3]]))
    with pytest.raises(ValueError, match="weights"):
        kappa_of_table([[1, 0], [0, 1]], weights="cubic")  # type: ignore[arg-type]
