from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from evenfoot.analytics.stats.funnel import funnel, funnel_limits
from evenfoot.analytics.stats.heritability import liability_h2
from evenfoot.analytics.stats.random_herd import random_herd_logit
from evenfoot.analytics.stats.shrinkage import shrunken_rates
from tests.scale.worlds_warn import outside_funnel


def farms(seed: int, k: int = 40, alpha: float = 3.0, beta: float = 12.0):
    rng = np.random.default_rng(seed)
    truth, n = rng.beta(alpha, beta, k), rng.integers(10, 120, k)
    return truth, rng.binomial(n, truth), n


def test_shrunken_rates_are_nearer_the_truth_than_raw_ones() -> None:
    raw = shrunk = 0.0
    for seed in range(15):
        truth, c, n = farms(seed)
        found = shrunken_rates(c, n, draws=500)
        raw += float(((c / n - truth) ** 2).sum())
        shrunk += float(((found.table["shrunken"] - truth) ** 2).sum())
    assert shrunk < 0.85 * raw


def test_credible_limits_cover() -> None:
    held = total = 0
    for seed in range(25):
        truth, c, n = farms(100 + seed)
        table = shrunken_rates(c, n, draws=2000).table
        held += int(((table["low"] <= truth) & (truth <= table["high"])).sum())
        total += len(truth)
    assert 0.93 <= held / total <= 0.97


def test_few_cows_are_pulled_harder() -> None:
    table = shrunken_rates([4, 40, 10, 12, 9, 0], [8, 80, 60, 70, 50, 0]).table
    assert table["weight"][0] < table["weight"][1] and table["weight"][5] == 0
    assert abs(table["shrunken"][0] - 0.5) > abs(table["shrunken"][1] - 0.5)
    assert np.isnan(table["observed"][5]) and 0 < table["shrunken"][5] < 1
    assert sorted(table["rank"]) == [1, 2, 3, 4, 5, 6]
    assert (table["rank_low"] <= table["rank"]).all() and (table["rank"] <= table["rank_high"]).all()
    assert table["rank_high"][5] - table["rank_low"][5] >= 4


def test_farms_alike_shrink_to_one_rate() -> None:
    found = shrunken_rates([20] * 30, [100] * 30)
    assert found.icc < 0.01 and found.mean == pytest.approx(0.2, abs=0.01)
    assert (found.table["high"] - found.table["low"]).max() < 0.08


def test_seed_makes_it_repeatable_and_ends_are_told() -> None:
    pd.testing.assert_frame_equal(
        shrunken_rates([1, 2, 3], [9, 9, 9], seed=5).table, shrunken_rates([1, 2, 3], [9, 9, 9], seed=5).table
    )
    assert shrunken_rates([1, 2], [9, 9]).reason
    assert not shrunken_rates([0, 0, 0], [9, 9, 9]).reason
    assert not shrunken_rates([9, 9, 9], [9, 9, 9]).reason
    with pytest.raises(ValueError, match="more cases"):
        shrunken_rates([5], [2])


def test_funnel_holds_its_share() -> None:
    rng = np.random.default_rng(0)
    n = rng.integers(20, 200, 4000)
    observed = rng.binomial(n, 0.2) / n
    for level in (0.95, 0.998):
        low, high = funnel_limits(n, 0.2, level)
        assert np.mean((observed >= low) & (observed <= high)) == pytest.approx(level, abs=0.02)


def test_funnel_narrows_and_large_samples_are_normal() -> None:
    low, high = funnel_limits([30, 300, 30000], 0.25)
    assert (np.diff(high - low) < 0).all()
    assert high[2] - 0.25 == pytest.approx(1.96 * np.sqrt(0.25 * 0.75 / 30000), rel=0.01)
    assert np.isnan(funnel_limits([0], 0.2)[0][0])
    assert funnel_limits([10], 0.0)[1][0] == 0
    with pytest.raises(ValueError):
        funnel_limits([10], 0.2, 1.0)


def test_funnel_widens_for_herds_unlike_each_other() -> None:
    _, c, n = farms(1, k=80)
    wide, narrow = funnel(c, n), funnel(c, n, overdispersed=False)
    assert wide.between > 0.2 and narrow.between == 0
    assert (wide.table["outside"] > 0).sum() < (narrow.table["outside"] > 0).sum()
    assert list(wide.table.columns) == [
        "cases", "n", "observed", "low_95", "high_95", "low_99.8", "high_99.8", "outside",
    ]  # fmt: skip
    luck = funnel(np.random.default_rng(2).binomial(100, 0.2, 200), np.full(200, 100))
    assert luck.between < 0.15


def test_limits_are_exact_where_farms_do_not_differ() -> None:
    """The outermost counts within are those whose tail, by the binomial itself, holds its half of the rest."""
    low, high = funnel_limits([40], 0.2, 0.95)
    inside = [k for k in range(41) if low[0] <= k / 40 <= high[0]]
    assert stats.binom.sf(inside[-1] - 1, 40, 0.2) >= 0.025 > stats.binom.sf(inside[-1], 40, 0.2)
    assert stats.binom.cdf(inside[0], 40, 0.2) >= 0.025 > stats.binom.cdf(inside[0] - 1, 40, 0.2)


def test_spread_of_farms_is_spiegelhalters_in_large_farms() -> None:
    """tau^2 = (I phi - (I - 1)) / (sum w - sum w^2 / sum w), phi the mean square of winsorised z, w = 1 / s^2 [pub:
    Spiegelhalter 2005, Stat Med 24:1185, section 5, as the R package FunnelPlotR documents it]; pulling 10 % in at
    either end leaves 0.68 of the square of a normal value, which phi is divided by."""
    rng = np.random.default_rng(4)
    n = rng.integers(800, 2000, 400)
    c = rng.binomial(n, 1 / (1 + np.exp(1.2 - 0.5 * rng.standard_normal(400))))
    y, s = np.log(c / (n - c)), np.sqrt(1 / c + 1 / (n - c))
    w = 1 / s**2
    z = (y - np.median(y)) / s
    phi = (np.clip(z, *np.quantile(z, [0.1, 0.9])) ** 2).mean() / 0.6800
    tau2 = (400 * phi - 399) / (w.sum() - (w**2).sum() / w.sum())
    found = funnel(c, n)
    assert found.between == pytest.approx(np.sqrt(tau2), rel=0.06)
    assert found.between == pytest.approx(0.5, rel=0.12)


def test_one_farm_far_out_does_not_widen_the_funnel_for_itself() -> None:
    found = funnel([11, 12, 13, 11, 14, 12, 10, 13, 12, 11, 12, 40], [60] * 12)
    assert found.table["outside"].tolist() == [0] * 11 + [0.998]


@pytest.mark.parametrize(
    ("share", "between", "sizes"), [(0.2, 0.0, (20, 400)), (0.2, 0.5, (20, 400)), (0.05, 0.6, (10, 40))]
)
def test_998_of_1000_farms_lie_within(share: float, between: float, sizes: tuple[int, int]) -> None:
    """Fast version of ``python -m tests.scale.worlds_warn``: of 1,200 farms 2 in 1000 outside, 3 errors either way."""
    found = outside_funnel(share, between, sizes, repeats=20, seed=11)
    error = np.sqrt(0.002 * 0.998 / found.farms)
    assert found.all <= 0.002 + 3 * error
    assert max(found.small, found.large) <= 0.002 + 3 * np.sqrt(2) * error


def test_funnel_of_nothing() -> None:
    assert np.isnan(funnel([], []).centre)
    assert funnel([0], [0]).table["outside"][0] == 0
    assert funnel([0, 0], [9, 9]).table["outside"].sum() == 0


def daughters(h2: float, seed: int, sires: int = 250) -> pd.DataFrame:
    sd = np.sqrt(h2 / (4 - h2) * np.pi**2 / 3)
    rng = np.random.default_rng(seed)
    n = rng.integers(20, 60, sires)
    p = 1 / (1 + np.exp(1.4 - sd * rng.standard_normal(sires)))
    return pd.DataFrame({"sire": range(sires), "lesion": rng.binomial(n, p), "n": n})


@pytest.mark.parametrize("h2", [0.08, 0.3])
def test_heritability_is_found(h2: float) -> None:
    assert liability_h2(np.sqrt(h2 / (4 - h2) * np.pi**2 / 3)) == pytest.approx(h2)
    found = random_herd_logit(daughters(h2, 3), "lesion", [], "sire", n="n")
    assert liability_h2(found.sd_low) < h2 < liability_h2(found.sd_high)
    assert liability_h2(found.sd) == pytest.approx(h2, abs=0.08) and found.sd_p_value < 0.01


def test_heritability_of_unrelated_records_reaches_0() -> None:
    found = random_herd_logit(daughters(0.0, 4), "lesion", [], "sire", n="n")
    assert liability_h2(found.sd_low) == 0 and liability_h2(found.sd_high) < 0.15
    assert liability_h2(float("inf")) == 1.0
