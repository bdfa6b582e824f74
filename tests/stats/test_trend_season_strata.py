from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from evenfoot.analytics.stats.harmonic import yearly_wave
from evenfoot.analytics.stats.ratios import two_group_p
from evenfoot.analytics.stats.stratified_comparison import homogeneity_p, mantel_haenszel
from evenfoot.analytics.stats.trend import cochran_armitage


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


def _units(a: list[int], m1: list[int], c: list[int], m0: list[int]) -> tuple[np.ndarray, ...]:
    """One row a unit, each a cluster of its own."""
    rows = [
        (case * one, one, case * (1 - one), 1 - one, stratum)
        for stratum, cells in enumerate(zip(a, m1, c, m0, strict=True))
        for one, cases, of in ((1, *cells[:2]), (0, *cells[2:]))
        for case in [1] * cases + [0] * (of - cases)
    ]
    return (*np.array(rows).T, np.arange(len(rows)))


def test_mantel_haenszel_of_units_that_are_clusters_is_the_textbooks() -> None:
    """Robins, Breslow and Greenland's limits, by statsmodels, within a hundredth of their width."""
    from statsmodels.stats.contingency_tables import StratifiedTable

    a, m1, c, m0 = [12, 30, 9], [40, 60, 50], [8, 40, 12], [50, 80, 45]
    cells = np.array([a, np.subtract(m1, a), c, np.subtract(m0, c)])
    theirs = StratifiedTable(cells.reshape(2, 2, 3))
    found = mantel_haenszel(*_units(a, m1, c, m0))
    assert found.odds_ratio == pytest.approx(theirs.oddsratio_pooled)
    assert np.log([found.low, found.high]) == pytest.approx(np.log(theirs.oddsratio_pooled_confint()), abs=0.01)


def test_mantel_haenszel_allows_for_clusters() -> None:
    """Every unit four times over in one cluster says no more than the unit once."""
    cells = _units([10, 16], [40, 40], [4, 10], [40, 40])
    once = mantel_haenszel(*cells)
    four = mantel_haenszel(*(4 * x for x in cells[:4]), *cells[4:])
    assert (four.odds_ratio, four.low, four.high) == pytest.approx((once.odds_ratio, once.low, once.high))


def test_strata_free_the_ratio_from_confounding() -> None:
    # Same odds ratio, 1, in both herds, but herd 2 has more cases and more of group 1.
    assert mantel_haenszel(*_units([10, 160], [100, 400], [40, 40], [400, 100])).odds_ratio == pytest.approx(1)


def test_homogeneity_of_independent_strata_is_the_z_test() -> None:
    """Two strata that share no cluster: the square of the difference over its variance, as F on 1 and df."""
    influence = np.zeros((20, 2))
    influence[:10, 0], influence[10:, 1] = 0.1, 0.2
    z = (1.0 - 0.2) / np.sqrt(10 * 0.01 + 10 * 0.04)
    assert homogeneity_p([0.2, 1.0], influence, 16) == pytest.approx(2 * stats.t.sf(z, 16))
    assert np.isnan(homogeneity_p([0.2], influence[:, :1], 16))
    assert np.isnan(homogeneity_p([0.2, 1.0], influence * 0, 16))


@pytest.mark.parametrize("cells", [([], [], [], []), ([0], [0], [3], [9]), ([0, 0], [5, 5], [0, 0], [5, 5])])
def test_strata_with_too_little(cells) -> None:
    found = mantel_haenszel(*cells, np.arange(len(cells[0])), np.arange(len(cells[0])))
    assert np.isnan([found.odds_ratio, found.low, found.high]).all()
