from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.methods.cost import simulate_cost
from analytics.methods.power import design_effect, detectable, power_of, sample_size

COST = {"DD": (137.0, 36.0), "SU": (252.0, 39.0)}


@pytest.mark.parametrize("shape", ["gamma", "lognormal"])
@pytest.mark.parametrize("spread", ["herd", "case"])
def test_draws_keep_mean_and_spread(shape, spread) -> None:
    found = simulate_cost({"DD": 30}, COST, level=0.6826895, shape=shape, spread=spread, draws=200_000)
    sd = 36 * 30 if spread == "herd" else 36 * np.sqrt(30)
    assert found.total == pytest.approx(30 * 137)
    assert found.median == pytest.approx(30 * 137, rel=0.05)
    assert (found.high - found.low) / 2 == pytest.approx(sd, rel=0.05)


def test_gamma_limits_are_the_quantiles() -> None:
    found = simulate_cost({"SU": 1}, COST, draws=400_000)
    low, high = stats.gamma.ppf([0.025, 0.975], (252 / 39) ** 2, scale=39**2 / 252)
    assert (found.low, found.high) == pytest.approx((low, high), rel=0.01)


def test_kinds_add_up() -> None:
    found = simulate_cost({"DD": 10, "SU": 4, "WL": 0}, {**COST, "WL": (203, 33)})
    assert found.total == pytest.approx(found.table["total"].sum()) == pytest.approx(2378)
    assert found.table["high"].max() < found.high < found.table["high"].sum()
    assert list(found.table.loc[2, ["low", "high"]]) == [0, 0]
    assert simulate_cost({}, COST).total == 0
    fixed = simulate_cost({"a": 3}, {"a": (50, 0)})
    assert fixed.low == fixed.high == 150


@pytest.mark.parametrize(
    ("cases", "cost", "extra"),
    [
        ({"TN": 1}, COST, {}),
        ({"DD": -1}, COST, {}),
        ({"a": 1}, {"a": (0, 5)}, {}),
        ({"DD": 1}, COST, {"shape": "normal"}),
        ({"DD": 1}, COST, {"spread": "farm"}),
    ],
)
def test_cost_refuses(cases, cost, extra) -> None:
    with pytest.raises(ValueError):
        simulate_cost(cases, cost, **extra)


def test_sample_size_and_power_agree() -> None:
    for ratio in (1.0, 2.5):
        size = sample_size(0.3, 0.2, power=0.85, ratio=ratio)
        assert power_of(0.3, 0.2, size.n1, size.n2) == pytest.approx(0.85, abs=1e-9)
    assert sample_size(0.2, 0.3).n1 == pytest.approx(sample_size(0.3, 0.2).n1)


def test_power_against_made_up_trials() -> None:
    rng = np.random.default_rng(0)
    c1, c0 = rng.binomial(120, 0.35, 20_000), rng.binomial(120, 0.20, 20_000)
    p = (c1 + c0) / 240
    z = np.abs(c1 - c0) / 120 / np.sqrt(p * (1 - p) * 2 / 120)
    assert power_of(0.35, 0.20, 120, 120) == pytest.approx(np.mean(z > 1.96), abs=0.015)


def test_clusters_cost_cows() -> None:
    alone, herds = sample_size(0.3, 0.2), sample_size(0.3, 0.2, icc=0.1, size=50)
    assert herds.n1 == pytest.approx(alone.n1 * 5.9) and herds.clusters1 == pytest.approx(herds.n1 / 50)
    assert np.isnan(alone.clusters1)
    assert design_effect(0.1, 50, cv=0.6) > design_effect(0.1, 50)
    assert design_effect(0.0, 50) == 1 and design_effect(0.4, 1) == 1


def test_detectable_is_the_power_turned_round() -> None:
    below, above = detectable(0.3, 150, 100, power=0.9, deff=1.5)
    assert power_of(0.3, below, 150, 100, deff=1.5) == pytest.approx(0.9)
    assert power_of(0.3, above, 150, 100, deff=1.5) == pytest.approx(0.9)
    below, above = detectable(0.05, 20, 20)
    assert np.isnan(below) and above > 0.3


@pytest.mark.parametrize(
    "call",
    [
        lambda: sample_size(0.2, 0.2),
        lambda: sample_size(0, 0.2),
        lambda: sample_size(0.1, 0.2, ratio=0),
        lambda: power_of(0.1, 0.2, 0, 5),
        lambda: design_effect(2, 5),
    ],
)
def test_planning_refuses(call) -> None:
    with pytest.raises(ValueError):
        call()
