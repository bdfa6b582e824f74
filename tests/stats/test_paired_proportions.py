from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import special

from evenfoot.analytics.stats.paired_proportions import paired_difference


def herds(rng: np.random.Generator, k: int, effect: float, share: float = 1.0, sd: float = 0.8):
    """Herds seen in both groups with probability *share*, else in one of them."""
    base = -1.4 + sd * rng.standard_normal(k)
    n1, n2 = rng.integers(30, 120, k), rng.integers(30, 120, k)
    alone = rng.random(k) > share
    first = rng.random(k) < 0.5
    n1, n2 = np.where(alone & ~first, 0, n1), np.where(alone & first, 0, n2)
    m1 = rng.binomial(n1, special.expit(base + effect + 0.2 * rng.standard_normal(k)))
    return m1, n1, rng.binomial(n2, special.expit(base + 0.2 * rng.standard_normal(k))), n2


def test_agrees_with_clustered_regression() -> None:
    m1, n1, m2, n2 = herds(np.random.default_rng(1), 25, 0.4, share=0.6)
    rows = [
        (herd, group, y, count)
        for herd in range(25)
        for group, m, n in ((1.0, m1, n1), (0.0, m2, n2))
        for y, count in ((1.0, m[herd]), (0.0, n[herd] - m[herd]))
        if count > 0
    ]
    frame = pd.DataFrame(rows, columns=["herd", "group", "y", "w"])
    fit = sm.WLS(frame["y"], sm.add_constant(frame["group"]), weights=frame["w"]).fit(
        cov_type="cluster", cov_kwds={"groups": frame["herd"], "use_correction": False}
    )
    found = paired_difference(m1, n1, m2, n2)
    assert found.difference == pytest.approx(fit.params["group"])
    t = special.stdtrit(found.df, 0.975)
    se = (found.high - found.low) / 2 / t / np.sqrt((found.df + 1) / found.df)
    assert se == pytest.approx(fit.bse["group"])


@pytest.mark.parametrize("share", [1.0, 0.5, 0.0])
@pytest.mark.parametrize("k", [12, 40])
def test_limits_cover_whether_herds_are_shared_or_not(share: float, k: int) -> None:
    rng = np.random.default_rng(int(10 * share) + k)
    held, repeats = 0, 600
    for _ in range(repeats):
        found = paired_difference(*herds(rng, k if share else 2 * k, 0.0, share))
        held += found.low <= 0 <= found.high
    assert 0.925 <= held / repeats <= 0.985


def test_sharing_herds_sharpens() -> None:
    rng = np.random.default_rng(3)
    m1, n1, m2, n2 = herds(rng, 30, 0.5, sd=1.2)
    paired = paired_difference(m1, n1, m2, n2)
    none = np.zeros(30, int)
    apart = paired_difference(np.append(m1, none), np.append(n1, none), np.append(none, m2), np.append(none, n2))
    assert apart.difference == pytest.approx(paired.difference)
    assert (paired.shared, apart.shared) == (30, 0)
    assert paired.high - paired.low < 0.6 * (apart.high - apart.low)
    assert paired.p_value < apart.p_value


def test_turned_round() -> None:
    cells = herds(np.random.default_rng(4), 15, 0.3)
    a, b = paired_difference(*cells), paired_difference(*cells[2:], *cells[:2])
    assert (a.low, a.high) == pytest.approx((-b.high, -b.low))
    assert a.ratio_low == pytest.approx(1 / b.ratio_high)


def test_ends() -> None:
    none = paired_difference([0, 0, 0], [20] * 3, [4, 6, 2], [20] * 3)
    assert none.ratio == 0 and none.low < none.difference < none.high < 0.3 and np.isnan(none.df)
    both = paired_difference([0, 0], [20] * 2, [0, 0], [20] * 2)
    assert both.difference == 0 and both.low < 0 < both.high and both.p_value == 1
    one = paired_difference([3], [20], [5], [20])
    assert one.reason and np.isnan(one.low) and one.difference == pytest.approx(-0.1)
    assert paired_difference([], [], [], []).reason
    same = paired_difference([4, 4], [20, 20], [4, 4], [20, 20])
    assert same.difference == 0 and same.p_value == 1 and same.high - same.low > 0.3
    with pytest.raises(ValueError, match="more cases"):
        paired_difference([5], [2], [1], [2])
