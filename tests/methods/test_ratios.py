from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.contingency_tables import Table2x2
from statsmodels.stats.proportion import confint_proportions_2indep

from analytics.methods.ratios import odds_ratio, risk_ratio, two_group_p

counts = st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@pytest.mark.parametrize("cells", [(36, 40, 16, 80), (3, 10, 3, 10), (12, 150, 30, 140), (9, 10, 5, 10)])
def test_score_limits_agree_with_statsmodels(cells: tuple[int, int, int, int]) -> None:
    theirs = confint_proportions_2indep(*cells, compare="ratio", method="score", correction=False)
    assert risk_ratio(*cells)[1:] == pytest.approx(theirs, rel=1e-6)


def test_score_limit_with_every_unit_a_case_satisfies_its_own_equation() -> None:
    # By hand: below ratio 4/3 the restricted estimates are p0 = .75, p1 = .75 * ratio.
    low = risk_ratio(10, 10, 5, 10)[1]
    p0, p1 = 0.75, 0.75 * low
    z = (1 - low * 0.5) / np.sqrt(p1 * (1 - p1) / 10 + low**2 * p0 * (1 - p0) / 10)
    assert z == pytest.approx(stats.norm.ppf(0.975))


@given(counts, counts)
def test_risk_ratio_turned_round_is_its_inverse(a: tuple[int, int], b: tuple[int, int]) -> None:
    rr, low, high = risk_ratio(*a, *b)
    other, olow, ohigh = risk_ratio(*b, *a)
    with np.errstate(divide="ignore"):
        if a[0] or b[0]:
            assert rr == pytest.approx(np.divide(1, other))
            assert low <= rr <= high
        assert low == pytest.approx(np.divide(1, ohigh), rel=1e-6)
        assert high == pytest.approx(np.divide(1, olow), rel=1e-6)


def test_zero_cells_keep_the_limit_that_exists() -> None:
    rr, low, high = risk_ratio([0, 5, 0, 10], 10, [5, 0, 0, 10], 10)
    assert rr[0] == 0 and low[0] == 0 and 0 < high[0] < 1
    assert rr[1] == np.inf and low[1] > 1 and high[1] == np.inf
    assert np.isnan(rr[2]) and low[2] == 0 and high[2] == np.inf
    assert rr[3] == 1 and low[3] == pytest.approx(1 / high[3])
    assert np.isnan(risk_ratio(0, 0, 3, 10)).all()
    assert np.isnan(risk_ratio(0, 10, 3, 10, method="log")[1:]).all()


def test_log_limits_agree_with_statsmodels() -> None:
    table = Table2x2([[20, 80], [10, 95]])
    assert risk_ratio(20, 100, 10, 105, method="log")[1:] == pytest.approx(table.riskratio_confint())
    assert odds_ratio(20, 100, 10, 105)[1:] == pytest.approx(table.oddsratio_confint())


def test_odds_ratio_is_conditional_with_a_small_cell() -> None:
    theirs = stats.contingency.odds_ratio([[3, 17], [8, 22]])
    limits = theirs.confidence_interval(0.95)
    assert odds_ratio(3, 20, 8, 30) == pytest.approx((theirs.statistic, limits.low, limits.high))
    ratio, low, high = odds_ratio([0, 10, 0], [10, 10, 0], [0, 10, 1], 10)
    assert np.isnan(ratio).all()
    assert list(low[:2]) == [0, 0] and list(high[:2]) == [np.inf, np.inf]
    assert np.isnan(low[2])


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


def test_unknown_method_is_refused() -> None:
    with pytest.raises(ValueError, match="score"):
        risk_ratio(1, 2, 1, 2, method="exact")  # type: ignore[arg-type]
