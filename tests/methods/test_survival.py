from __future__ import annotations

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from lifelines.statistics import logrank_test, multivariate_logrank_test

from analytics.methods.survival import kaplan_meier, log_rank


def followed(seed: int, n: int = 120) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    group = rng.integers(0, 3, n)
    time = np.ceil(rng.exponential(60 + 25 * group))
    end = np.ceil(rng.uniform(10, 150, n))
    return np.minimum(time, end), time <= end, group


@pytest.mark.parametrize("seed", [0, 1])
def test_curve_agrees_with_lifelines(seed: int) -> None:
    time, event, _ = followed(seed)
    found = kaplan_meier(time, event)
    theirs = KaplanMeierFitter().fit(time, event)
    at = np.array([0, 5, 20, 47.5, 80])
    read = found.at(at)
    assert read["survival"].to_numpy() == pytest.approx(theirs.survival_function_at_times(at).to_numpy())
    limits = theirs.confidence_interval_.reindex(found.curve["time"])
    inside = (found.curve["survival"] > 0).to_numpy() & (found.curve["survival"] < 1).to_numpy()
    assert found.curve["low"].to_numpy()[inside] == pytest.approx(limits.iloc[:, 0].to_numpy()[inside])
    assert found.curve["high"].to_numpy()[inside] == pytest.approx(limits.iloc[:, 1].to_numpy()[inside])
    assert found.median == theirs.median_survival_time_
    risk = theirs.event_table["at_risk"].reindex(found.curve["time"])
    assert (found.curve["at_risk"].to_numpy() == risk.to_numpy()).all()
    assert found.curve["events"].sum() == found.events == event.sum()
    assert found.curve["censored"].sum() == (~event).sum()


def test_delayed_entry_agrees_with_lifelines() -> None:
    time, event, _ = followed(2)
    entry = np.floor(np.random.default_rng(9).uniform(0, 0.6, len(time)) * time)
    entry = np.minimum(entry, time - 1)
    found = kaplan_meier(time, event, entry=entry)
    theirs = KaplanMeierFitter().fit(time, event, entry=entry)
    at = np.array([10.0, 30.0, 60.0])
    assert found.at(at)["survival"].to_numpy() == pytest.approx(theirs.survival_function_at_times(at).to_numpy())


def test_log_rank_agrees_with_lifelines() -> None:
    time, event, group = followed(3)
    found = log_rank(time, event, group)
    theirs = multivariate_logrank_test(time, group, event)
    assert found.chi2 == pytest.approx(theirs.test_statistic) and found.df == 2
    assert found.p_value == pytest.approx(theirs.p_value)
    assert found.table["observed"].sum() == pytest.approx(found.table["expected"].sum())
    a, b = group == 0, group == 1
    two = log_rank(time[a | b], event[a | b], group[a | b])
    assert two.chi2 == pytest.approx(logrank_test(time[a], time[b], event[a], event[b]).test_statistic)


def test_strata_take_out_a_difference_between_herds() -> None:
    rng = np.random.default_rng(5)
    herd = np.repeat([0, 1], 200)
    group = np.where(rng.random(400) < np.where(herd == 0, 0.8, 0.2), "soft", "hard")
    time = rng.exponential(np.where(herd == 0, 100, 20))
    event = np.ones(400, bool)
    assert log_rank(time, event, group).p_value < 1e-6
    within = log_rank(time, event, group, strata=herd)
    assert within.p_value > 0.01
    assert within.table["observed"].sum() == pytest.approx(within.table["expected"].sum())


def test_reading_a_curve() -> None:
    found = kaplan_meier([5, 8, 8, 12], [True, True, False, False])
    read = found.at([0, 5, 7, 8, 12, 13])
    assert list(read["survival"][:5]) == pytest.approx([1, 0.75, 0.75, 0.5, 0.5])
    assert np.isnan(read["survival"][5])
    assert list(read["at_risk"]) == [4, 4, 3, 3, 1, 0]
    assert found.median == 8 and found.median_high == np.inf


def test_ends() -> None:
    empty = kaplan_meier([], [])
    assert empty.n == 0 and np.isnan(empty.median) and empty.at([3]).survival.isna().all()
    none = kaplan_meier([4, 6], [False, False])
    assert none.median == np.inf and (none.curve["survival"] == 1).all() and (none.curve["low"] == 1).all()
    every = kaplan_meier([4, 4], [True, True])
    assert every.curve["survival"].iloc[-1] == 0 and every.curve["low"].iloc[-1] == 0
    assert every.curve["high"].notna().all()
    assert np.isnan(log_rank([1, 2], [1, 1], ["a", "a"]).p_value)
    assert np.isnan(log_rank([1, 2], [0, 0], ["a", "b"]).p_value)
    assert np.isnan(log_rank([], [], []).p_value)
    with pytest.raises(ValueError, match="negative"):
        kaplan_meier([-1], [True])
    with pytest.raises(ValueError, match="entry"):
        kaplan_meier([3], [True], entry=[3])
