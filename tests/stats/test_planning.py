from __future__ import annotations

import numpy as np
import pytest

from evenfoot.analytics.stats.power import design_effect, detectable, power_of, sample_size


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
