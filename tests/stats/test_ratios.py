from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from evenfoot.analytics.stats.ratios import exact_odds_ratio, two_group_p

counts = st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@pytest.mark.parametrize("cells", [(3, 20, 8, 30), (1, 12, 9, 40), (0, 15, 6, 30), (12, 12, 20, 30)])
def test_exact_limits_are_scipys(cells: tuple[int, int, int, int]) -> None:
    a, m1, c, m0 = cells
    theirs = stats.contingency.odds_ratio([[a, m1 - a], [c, m0 - c]])
    limits = theirs.confidence_interval(0.95)
    ratio, low, high, _p = exact_odds_ratio(*cells, mid=False)
    assert (ratio, low, high) == pytest.approx((theirs.statistic, limits.low, limits.high), rel=1e-6)


def test_mid_p_limits_leave_half_the_error_on_either_side() -> None:
    """At a limit, the chance of more extreme results and half that of the result itself make 2.5 %."""
    _ratio, low, high, p = exact_odds_ratio(3, 20, 8, 30)
    for limit, side in ((low, "sf"), (high, "cdf")):
        at = stats.nchypergeom_fisher(50, 11, 20, limit)
        tail = at.sf(3) if side == "sf" else at.cdf(2)
        assert tail + at.pmf(3) / 2 == pytest.approx(0.025, abs=1e-9)
    null = stats.hypergeom(50, 11, 20)
    assert p == pytest.approx(2 * (null.cdf(2) + null.pmf(3) / 2))


def test_exact_odds_ratio_holds_strata_apart() -> None:
    """Two strata by hand: every way to share the cases out, weighed by the odds ratio."""
    cells = ([2, 1], [4, 3], [1, 0], [5, 3])
    ratio, low, high, _p = exact_odds_ratio(*cells, mid=False)

    def chances(odds: float) -> dict[int, float]:
        out: dict[int, float] = {}
        for x in range(4):
            for y in range(2):
                weight = math.comb(4, x) * math.comb(5, 3 - x) * math.comb(3, y) * math.comb(3, 1 - y) * odds ** (x + y)
                out[x + y] = out.get(x + y, 0.0) + weight
        return {total: weight / sum(out.values()) for total, weight in out.items()}

    assert sum(total * p for total, p in chances(ratio).items()) == pytest.approx(3)
    assert sum(p for total, p in chances(low).items() if total >= 3) == pytest.approx(0.025)
    assert sum(p for total, p in chances(high).items() if total <= 3) == pytest.approx(0.025)


def test_strata_without_cases_say_nothing() -> None:
    ratio, low, high, p = exact_odds_ratio([0, 4], [5, 4], [0, 6], [5, 6])
    assert math.isnan(ratio) and (low, high, p) == (0.0, math.inf, 1.0)
    assert exact_odds_ratio(0, 10, 5, 10)[:2] == (0.0, 0.0)
    assert exact_odds_ratio(5, 10, 0, 10)[2] == math.inf
    with pytest.raises(ValueError, match="whole counts"):
        exact_odds_ratio(0.5, 10, 5, 10)


@settings(deadline=None, max_examples=60)
@given(counts, counts)
def test_p_agrees_with_scipy(a: tuple[int, int], b: tuple[int, int]) -> None:
    table = np.array([[a[0], a[1] - a[0]], [b[0], b[1] - b[0]]])
    p = two_group_p(*a, *b)
    if (table.sum(axis=0) == 0).any():
        assert p == 1
        return
    if stats.contingency.expected_freq(table).min() < 5:
        assert p == pytest.approx(stats.fisher_exact(table)[1])
    else:
        assert p == pytest.approx(stats.chi2_contingency(table, correction=False)[1])


def test_p_of_an_empty_group_is_nan() -> None:
    assert np.isnan(two_group_p(0, 0, 3, 10))
