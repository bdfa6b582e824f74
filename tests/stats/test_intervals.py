from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from evenfoot.analytics.stats.intervals import clopper_pearson, difference, rate_ratio, wilson

counts = st.integers(0, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts.filter(lambda x: x[1] > 0), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_single_proportion_agrees_with_statsmodels(cn: tuple[int, int], level: float) -> None:
    c, n = cn
    assert wilson(c, n, level) == pytest.approx(proportion_confint(c, n, 1 - level, "wilson"), abs=1e-9)
    assert clopper_pearson(c, n, level) == pytest.approx(proportion_confint(c, n, 1 - level, "beta"), abs=1e-9)


@given(counts, counts)
def test_difference_is_antisymmetric_and_holds_its_estimate(a: tuple[int, int], b: tuple[int, int]) -> None:
    d, low, high = difference(*a, *b)
    other, olow, ohigh = difference(*b, *a)
    if a[1] == 0 or b[1] == 0:
        assert np.isnan([d, low, high]).all()
        return
    assert -1 <= low <= d <= high <= 1
    assert (d, low, high) == pytest.approx((-other, -ohigh, -olow), abs=1e-12)


def test_arrays_broadcast_and_n_of_zero_is_nan() -> None:
    low, high = wilson([0, 3, 10], [0, 10, 10])
    assert low.shape == (3,)
    assert np.isnan(low[0]) and np.isnan(high[0])
    assert high[2] == 1.0 and 0 < low[2] < 1
    low, high = clopper_pearson([[1], [2]], [10, 20, 30])
    assert low.shape == (2, 3)
    assert isinstance(float(wilson(1, 10)[0]), float)


def test_rate_ratio_ends() -> None:
    assert rate_ratio(5, 10, 0, 10)[0] == np.inf
    assert rate_ratio(5, 10, 0, 10)[2] == np.inf
    ratio, low, high = rate_ratio(0, 10, 0, 10)
    assert np.isnan(ratio) and low == 0 and high == np.inf
    a, b = rate_ratio(8, 100, 3, 90), rate_ratio(3, 90, 8, 100)
    assert a[1] == pytest.approx(1 / b[2])
    assert np.isnan(rate_ratio(1, 0, 1, 1)).all()


@pytest.mark.parametrize("call", [lambda: wilson(3, 2), lambda: wilson(-1, 2), lambda: wilson(1, 2, 1.0)])
def test_illegal_input_is_refused(call) -> None:
    with pytest.raises(ValueError):
        call()


def test_wilson_covers_about_its_level() -> None:
    n, p = 60, 0.12
    c = np.arange(n + 1)
    low, high = wilson(c, n)
    cover = stats.binom.pmf(c, n, p)[(low <= p) & (p <= high)].sum()
    assert 0.93 < cover < 0.97
