from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from evenfoot.analytics.stats.cluster import UNSEEN_ICC, cluster_proportion, cluster_sums
from evenfoot.analytics.stats.cluster_comparison import compare_clusters
from evenfoot.analytics.stats.few_cases import few_case_chances, observed_likeness
from evenfoot.analytics.stats.intervals import clopper_pearson
from tests.scale.coverage import WORLDS, coverage

pairs = st.lists(
    st.integers(1, 40).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=30
)


@given(pairs)
def test_limits_hold_the_estimate_and_stay_between_0_and_1(clusters: list[tuple[int, int]]) -> None:
    m, n = zip(*clusters, strict=True)
    found = cluster_proportion(*cluster_sums(m, n))
    assert 0 <= found.low <= found.p <= found.high <= 1
    assert found.deff >= 1 and 0 <= found.icc <= 1 and found.df >= 1
    mirror = cluster_proportion(*cluster_sums(np.subtract(n, m), n))
    assert mirror.low == pytest.approx(1 - found.high, abs=1e-7)
    wider = cluster_proportion(*cluster_sums(m, n), level=0.99)
    assert wider.low <= found.low and wider.high >= found.high


@given(pairs)
def test_textbook_variance_is_the_residual_one(clusters: list[tuple[int, int]]) -> None:
    m, n = (np.array(x, dtype=float) for x in zip(*clusters, strict=True))
    k, p = len(m), m.sum() / n.sum()
    if p in (0.0, 1.0):
        return
    by_hand = np.sqrt(k / (k - 1) * ((m - p * n) ** 2).sum()) / n.sum()
    found = cluster_proportion(*cluster_sums(m, n), adjust=False)
    assert found.se == pytest.approx(by_hand, abs=1e-7)
    half = stats.t.ppf(0.975, k - 1) * by_hand / (p * (1 - p))
    assert found.low == pytest.approx(special.expit(special.logit(p) - half), abs=1e-6)


def test_a_table_of_rows_is_one_call() -> None:
    rows = cluster_proportion(
        [3, 0, 24, 5, 0],
        [24] * 4 + [0],
        [5, 0, 96, 25, 0],
        [12, 0, 96, 20, 0],
        [96] * 4 + [0],
        [6, 6, 6, 1, 0],
    )
    assert rows.p.shape == (5,)
    assert list(rows.exact) == [False, True, True, False, False]
    # No case among six cows of four feet: the limit is the risk at which that has a chance of 2.5 %.
    none, _ = few_case_chances(rows.high[1], observed_likeness(rows.high[1], UNSEEN_ICC), 4, 6)
    assert none == pytest.approx(0.025, rel=1e-4)
    assert rows.high[1] == pytest.approx(clopper_pearson(0, rows.n_effective[1])[1], rel=1e-5)
    assert 1 < rows.deff[1] < 4
    assert rows.low[1] == 0 and rows.high[2] == 1
    assert rows.low[2] == pytest.approx(1 - rows.high[1])
    assert rows.p[3] == pytest.approx(5 / 24) and np.isnan(rows.low[3]) and np.isnan(rows.high[3])
    assert np.isnan(rows.p[4])


def test_identical_clusters_are_not_taken_for_certainty() -> None:
    found = cluster_proportion(*cluster_sums([2, 2], [4, 4]))
    assert found.deff == 1
    assert found.high - found.low > 0.5


def test_large_independent_clusters_agree_with_the_binomial() -> None:
    rng = np.random.default_rng(4)
    m = rng.binomial(1, 0.3, 5000)
    found = cluster_proportion(*cluster_sums(m, np.ones(5000)))
    low, high = clopper_pearson(m.sum(), 5000)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-3)


def test_comparison() -> None:
    a = cluster_proportion(*cluster_sums([3, 4, 1, 2, 5, 2, 3, 4], [8] * 8))
    b = cluster_proportion(*cluster_sums([0, 1, 0, 1, 2, 0, 1, 1], [8] * 8))
    none = cluster_proportion(*cluster_sums([0] * 8, [8] * 8))
    ab, ba = compare_clusters(a, b), compare_clusters(b, a)
    assert ab.difference == pytest.approx(24 / 64 - 6 / 64)
    assert ab.difference_low == pytest.approx(-ba.difference_high)
    assert ab.ratio_low == pytest.approx(1 / ba.ratio_high)
    assert 0 < ab.p_value < 0.05
    assert compare_clusters(a, a).p_value == pytest.approx(1)
    zero = compare_clusters(none, a)
    assert zero.ratio == 0 and zero.ratio_low == 0 and 0 < zero.ratio_high < 1.5
    assert 0 < zero.p_value < 0.05
    assert compare_clusters(none, none).p_value == 1
    alone = cluster_proportion(3, 8, 9, 24, 64, 1)
    assert np.isnan(compare_clusters(alone, a).p_value)
    assert compare_clusters(alone, a).difference == pytest.approx(0)


def test_illegal_sums_are_refused() -> None:
    with pytest.raises(ValueError, match="more cases"):
        cluster_proportion(5, 4, 1, 1, 1, 2)
    with pytest.raises(ValueError, match="more cases"):
        cluster_sums([3], [2])


@pytest.mark.parametrize("world", WORLDS, ids=lambda w: w.name)
@pytest.mark.parametrize("p", [0.05, 0.15, 0.30])
@pytest.mark.parametrize("k", [10, 20, 50, 200])
def test_nominal_95_covers_93_to_97(world, p: float, k: int) -> None:
    held, error, _ = coverage(world, p, k, 6000, np.random.default_rng(7 + k))
    assert 0.93 - 3 * error <= held <= 0.97 + 3 * error


@pytest.mark.parametrize("k", [2, 3, 5])
def test_very_few_clusters_are_wide_rather_than_wrong(k: int) -> None:
    for world in WORLDS[:2]:
        held, error, _ = coverage(world, 0.15, k, 4000, np.random.default_rng(k))
        assert held >= 0.92 - 2 * error, world.name


@pytest.mark.parametrize("k", [10, 20, 50])
def test_rare_and_strongly_clustered_lesions_still_cover(k: int) -> None:
    held, error, _ = coverage(WORLDS[1], 0.05, k, 10_000, np.random.default_rng(k))
    assert held >= 0.93 - 2 * error


def test_the_corrections_are_needed() -> None:
    """Without them, ten unequal herds fall short; if this fails they could be dropped."""
    held, error, _ = coverage(WORLDS[1], 0.15, 10, 6000, np.random.default_rng(3), adjust=False)
    assert held + 2 * error < 0.93
