"""Legal but poor input (nobody looked at, no case, one herd) is answered, never met with an error or a warning."""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats import (
    baseline_chart,
    change,
    cluster,
    cluster_comparison,
    cluster_logistic,
    funnel,
    harmonic,
    intervals,
    kappa,
    paired_proportions,
    random_herd,
    ratios,
    shrinkage,
    slope,
    stratified_comparison,
    survival,
    trend,
)

Rng = np.random.Generator


def counts(rng: Rng, k: int, most: int = 8) -> tuple[np.ndarray, np.ndarray]:
    n = rng.integers(0, most, k)
    return rng.binomial(n, rng.choice([0.0, 0.1, 0.5, 0.9, 1.0])), n


def two_groups(rng: Rng) -> None:
    k = int(rng.integers(0, 7))
    cells = (*counts(rng, k), *counts(rng, k))
    intervals.wilson(*cells[:2])
    intervals.clopper_pearson(*cells[:2])
    intervals.difference(*cells)
    intervals.rate_ratio(*cells)
    ratios.exact_odds_ratio(*cells)
    ratios.two_group_p(*cells)
    stratified_comparison.mantel_haenszel(*cells, rng.integers(0, 3, k), rng.integers(0, 4, k))
    paired_proportions.paired_difference(*cells)
    trend.cochran_armitage(*cells[:2])


def clusters(rng: Rng) -> None:
    sums = list(zip(*(cluster.cluster_sums(*counts(rng, int(rng.integers(0, 5)))) for _ in range(6)), strict=True))
    for adjust in (True, False):
        many = cluster.cluster_proportion(*sums, adjust=adjust)
        one = cluster.cluster_proportion(*cluster.cluster_sums(*counts(rng, 3)), adjust=adjust)
        cluster_comparison.compare_clusters(many, many)
        cluster_comparison.compare_clusters(many, one)
        inside = (many.low <= many.p) & (many.p <= many.high)
        assert (inside | np.isnan(many.low)).all()


def series(rng: Rng) -> None:
    k = int(rng.integers(0, 30))
    c, n = counts(rng, k, 6)
    month = np.arange(k)
    harmonic.yearly_wave(month % 12 + 1.5, c, n)
    harmonic.yearly_wave(month % 12 + 1.5, c, n, year=2000 + month // 12)
    frame = pd.DataFrame({"time": month, "kind": rng.choice(["a", "b"], k), "cases": c, "n": n})
    change.held_change(frame, float(k // 2))
    change.compared_change(frame, frame.assign(kind="c"), float(k // 2))
    slope.monthly_slope(frame.groupby("time", as_index=False)[["cases", "n"]].sum())
    baseline_chart.baseline_chart(c, n, month < int(rng.integers(1, 20)), month)


def farms(rng: Rng) -> None:
    c, n = counts(rng, int(rng.integers(0, 7)))
    funnel.funnel(c, n)
    shrinkage.shrunken_rates(c, n, draws=40)


def times(rng: Rng) -> None:
    k = int(rng.integers(0, 20))
    t, event, group = rng.integers(0, 6, k), rng.random(k) < 0.5, rng.integers(0, 3, k)
    survival.kaplan_meier(t, event).at([0, 1, 99])
    survival.kaplan_meier(t + 1, event, entry=np.minimum(t, rng.integers(0, 3, k))).at(3)
    survival.log_rank(t, event, group)
    survival.log_rank(t, event, group, strata=rng.integers(0, 3, k))


def scorers(rng: Rng) -> None:
    k = int(rng.integers(0, 7))
    for weights in ("none", "linear", "quadratic"):
        kappa.kappa_of_table(rng.integers(0, 4, (k, k)) * (rng.random((k, k)) < 0.5), weights=weights)


def regressions(rng: Rng) -> None:
    k = int(rng.integers(1, 25))
    c, n = counts(rng, k, 6)
    frame = pd.DataFrame(
        {
            "herd": rng.integers(0, 5, k),
            "floor": rng.choice(["hard", "soft"], k),
            "parity": rng.integers(0, 3, k),
            "cases": c,
            "n": n + 1,
        }
    )
    cluster_logistic.gee_logistic(frame, "cases", "floor", frame["floor"][0], ["parity"], "herd", n="n")
    random_herd.random_herd_logit(frame, "cases", ["floor"], "herd", n="n", nodes=5)


@pytest.mark.parametrize(
    ("ask", "repeats"),
    [
        (two_groups, 60),
        (clusters, 150),
        (series, 60),
        (farms, 40),
        (times, 100),
        (scorers, 100),
        (regressions, 12),
    ],
)
def test_poor_input_is_answered(ask: Callable[[Rng], None], repeats: int) -> None:
    rng = np.random.default_rng(11)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for _ in range(repeats):
            ask(rng)
