from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from evenfoot.analytics.stats.cluster_rates import (
    cluster_rate_ratios,
    cluster_rates,
    highest_without_events,
    lowest_all_free,
)
from tests.scale.worlds_rates import herds_over_time, rate_coverage, ratio_coverage


def test_variance_is_that_of_leaving_one_farm_out() -> None:
    """Each pull is the first order of leaving one out; the sum is near the jackknife of the log rate itself."""
    frame, _ = herds_over_time(30, 0.4, 2.0, 1, np.random.default_rng(3))
    found = cluster_rates(frame, [], "farm").iloc[0]
    events, time = frame["events"].to_numpy(), frame["time"].to_numpy()
    left = np.log((events.sum() - events) / (time.sum() - time))
    jackknife = 29 / 30 * ((left - left.mean()) ** 2).sum()
    assert found["variance"] == pytest.approx(jackknife, rel=0.1)


def test_near_the_cluster_robust_poisson_model_of_statsmodels() -> None:
    """With 400 farms the sandwich variance of a Poisson model and the jackknife are one."""
    frame, _ = herds_over_time(400, 0.6, 2.0, 1, np.random.default_rng(4))
    model = sm.GLM(frame["events"], np.ones(len(frame)), family=sm.families.Poisson(), exposure=frame["time"])
    theirs = model.fit(cov_type="cluster", cov_kwds={"groups": frame["farm"]})
    found = cluster_rates(frame, [], "farm").iloc[0]
    assert np.log(found["rate"]) == pytest.approx(theirs.params.iloc[0])
    assert np.sqrt(found["variance"]) == pytest.approx(theirs.bse.iloc[0], rel=0.02)


def test_ratio_within_farms_is_mantel_and_haenszels() -> None:
    """By the formula, and near the Poisson model with a term for each farm, whose robust errors statsmodels gives."""
    rng = np.random.default_rng(5)
    farm = np.tile(np.arange(60), 2)
    kind = np.repeat([1, 0], 60)
    time = rng.uniform(10, 60, 120)
    events = rng.poisson(time * 0.4 * np.exp(0.8 * np.sin(farm) + 0.5 * kind))
    frame = pd.DataFrame({"farm": farm, "kind": kind, "time": time, "events": events})
    found = cluster_rate_ratios(frame, "kind", 0, "farm", within=True).loc[1]
    e1, e0, t1, t0 = events[:60], events[60:], time[:60], time[60:]
    assert found["ratio"] == pytest.approx((e1 * t0 / (t1 + t0)).sum() / (e0 * t1 / (t1 + t0)).sum())
    design = np.column_stack([kind, np.eye(60)[farm]])
    theirs = sm.GLM(events, design, family=sm.families.Poisson(), exposure=time).fit(
        cov_type="cluster", cov_kwds={"groups": farm, "use_correction": False}
    )
    assert np.log(found["ratio"]) == pytest.approx(theirs.params[0], abs=0.02)
    reach = np.log(found["high"] / found["low"]) / 2
    assert reach == pytest.approx(theirs.bse[0] * stats.t.ppf(0.975, 58), rel=0.1)


def test_shared_clusters_cancel_in_a_ratio() -> None:
    """Two lesions on the same farms rise and fall together: their ratio is known far better than their rates."""
    own = np.array([40, 200, 80, 10, 120, 60, 30, 90])
    frame = pd.concat([pd.DataFrame({"farm": range(8), "lesion": x, "time": 10.0, "events": own * y}) for x, y in
                       (("DD", 2), ("SU", 1))])  # fmt: skip
    found = cluster_rate_ratios(frame, "lesion", "SU", "farm").loc["DD"]
    assert found["ratio"] == pytest.approx(2) and found["high"] / found["low"] < 1.4
    rates = cluster_rates(frame, ["lesion"], "farm").set_index("lesion").loc["DD"]
    assert rates["high"] / rates["low"] > 2.5


def test_without_events_or_spread_the_likeness_is_assumed() -> None:
    """The rule of three for many clusters; far wider for four; one cluster alone gives a rate nobody knows."""
    assert highest_without_events(100.0, 1e9) == pytest.approx(-np.log(0.025) / 100, rel=1e-6)
    none = pd.DataFrame({"farm": list("abcd"), "events": 0, "time": 25.0})
    found = cluster_rates(none, [], "farm").iloc[0]
    assert (found["rate"], found["low"]) == (0, 0) and found["high"] == pytest.approx(0.0606, abs=1e-4)
    one = cluster_rates(pd.DataFrame({"farm": ["a"], "events": [50], "time": [10.0]}), [], "farm").iloc[0]
    assert one["low"] < 1.2 and one["high"] > 20
    assert lowest_all_free(20, 20) == pytest.approx(0.025 ** (1 / 20)) and lowest_all_free(20, 4) < 0.78
    ratio = cluster_rate_ratios(none.assign(kind=["x", "x", "y", "y"]), "kind", "y", "farm").loc["x"]
    assert np.isnan(ratio["ratio"]) or ratio["low"] == 0


def test_limits_hold_the_truth() -> None:
    """Farms whose rates differ by a log SD of 0.3 to 0.8: limits hold the mean rate in 93 % or more of 1,000 worlds
    (the Monte Carlo error is 0.7 %), where exact Poisson limits hold it in 20 to 60 %."""
    for farms, spread in ((4, 0.5), (6, 0.8), (20, 0.5), (40, 0.8)):
        found = rate_coverage(farms, spread, 2.0, 1000, seed=11)
        assert 0.92 <= found["coverage"] <= 0.985, (farms, spread, found)
        assert found["poisson"] < 0.6
    ratio = ratio_coverage(10, 0.5, 2.0, 60, seed=12)
    assert ratio["coverage"] > 0.9 and ratio["poisson"] < 0.75
