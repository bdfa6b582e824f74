"""A change against the trend there was: the regression it extends, kinds held alike, few visits, two farms."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.change import compared_change, held_change


def _frame(seed: int, *, step: float = 0.0, wander: float = 0.0, kinds: bool = True) -> pd.DataFrame:
    """36 months from month 2 of a year, the change at month 17; lame-cow visits at three times the odds."""
    rng = np.random.default_rng(seed)
    rows = []
    for month in range(36):
        middle = -1.2 + 0.4 * np.cos(2 * np.pi * month / 12) + step * (month >= 17) + rng.normal(0, wander)
        for kind, n, more in (("whole-herd", 120 if month % 4 == 0 else 0, 0.0), ("lame-cow", 15, 1.1)):
            if n and (kinds or kind == "whole-herd"):
                rows.append((month, kind, rng.binomial(n, 1 / (1 + np.exp(-middle - more))), n))
    return pd.DataFrame(rows, columns=["time", "kind", "cases", "n"])


def _effect(frame: pd.DataFrame, change: float = 17.0) -> pd.Series:
    return held_change(frame, change).terms.set_index("term").loc["effect"]


def test_large_counts_without_luck_are_segmented_regression() -> None:
    """Months that lie on the line: ratio and lines are those of plain logistic regression. [pub: statsmodels, GLM]"""
    import statsmodels.api as sm

    time = np.arange(36)
    after, angle = (time >= 17).astype(float), 2 * np.pi * time / 12
    x = np.column_stack([np.ones(36), time - 17, after, np.cos(angle), np.sin(angle)])
    n = np.full(36, 50000)
    cases = np.round(n / (1 + np.exp(-(x @ [-1.0, -0.02, -0.5, 0.3, 0.1]))))
    fit = sm.GLM(np.column_stack([cases, n - cases]), x, family=sm.families.Binomial()).fit()
    found = held_change(pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": n}), 17.0)
    terms = found.terms.set_index("term")["ratio"]
    assert np.log(terms["effect"]) == pytest.approx(fit.params[2], abs=2e-3)
    assert np.log(terms["before"]) == pytest.approx(fit.params[1], abs=2e-4)
    assert found.series["fitted"].to_numpy() == pytest.approx(np.asarray(fit.fittedvalues), abs=1e-3)
    without = 1 / (1 + np.exp(-(x @ (fit.params * [1, 1, 0, 1, 1]))))
    assert found.expected == pytest.approx(without[17:29].mean(), abs=1e-3)


def test_a_falling_herd_is_not_told_that_nothing_helped() -> None:
    """Odds fall by 0.8 a year all along: after against before is far below 1, whatever was changed."""
    time = np.arange(48)
    n = np.full(48, 3000)
    cases = np.round(n / (1 + np.exp(1.0 - np.log(0.8) * time / 12)))
    effect = _effect(pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": n}), 24.0)
    assert effect["ratio"] == pytest.approx(1.0, abs=0.02)
    assert effect["low"] < 1 < effect["high"]


def test_a_rising_herd_is_told_that_its_odds_were_halved() -> None:
    time = np.arange(48)
    n = np.full(48, 3000)
    logit = -1.5 + np.log(1.35) * time / 12 + np.log(0.5) * (time >= 24)
    cases = np.round(n / (1 + np.exp(-logit)))
    frame = pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": n})
    effect = _effect(frame, 24.0)
    assert effect["ratio"] == pytest.approx(0.5, abs=0.02)
    assert effect["high"] < 1


def test_a_change_that_grows_is_averaged_over_its_first_year() -> None:
    """With three years on either side the slope may change: nothing at once, the odds a third less a year on."""
    time = np.arange(84)
    logit = -1.0 - 0.035 * np.maximum(time - 41.0, 0.0) * (time >= 42)
    n = np.full(84, 4000)
    frame = pd.DataFrame({"time": time, "kind": "all", "cases": np.round(n / (1 + np.exp(-logit))), "n": n})
    found = held_change(frame, 42.0)
    terms = found.terms.set_index("term")["ratio"]
    assert found.months == 12
    assert np.log(terms["effect"]) == pytest.approx(-0.035 * 6.5, abs=0.02)
    assert np.log(terms["slope"]) == pytest.approx(-0.035, abs=0.002)


def _visits(years: int, effect: float, *, drop: int = 0, seed: int = 1, n: int = 150) -> pd.DataFrame:
    """Visits every April and October; October is worse; the odds fall by a tenth a year."""
    rng = np.random.default_rng(seed)
    time = np.array([12 * year + month for year in range(years) for month in (4, 10)][drop:])
    middle = 12 * years / 2
    logit = -1.2 + 0.35 * (time % 12 == 10) + np.log(0.9) * time / 12 + np.log(effect) * (time >= middle)
    cases = rng.binomial(n, 1 / (1 + np.exp(-logit - rng.normal(0, 0.1, len(time)))))
    return pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": n})


def test_a_herd_trimmed_in_the_same_two_months_gets_an_answer() -> None:
    found = held_change(_visits(8, 0.3, n=400), 48.0)
    assert found.reason == ""
    effect = found.terms.set_index("term").loc["effect"]
    assert effect["low"] < 0.3 < effect["high"] < 1
    few = held_change(_visits(5, 0.3, drop=1), 30.0)
    assert few.terms["ratio"].isna().all()
    assert "4 before and 5 after" in few.reason and "about 36 months" in few.reason


def test_a_farm_that_moved_alike_leaves_nothing_and_its_months_count() -> None:
    """Both farms lose half the odds on the same day; the limits know of the luck of the months of both."""
    own, other = (_frame(s, step=np.log(0.5), wander=0.3, kinds=False) for s in (1, 2))
    found = compared_change(own, other, 17.0)
    assert found.reason and np.isnan(found.ratio)
    rng = np.random.default_rng(3)
    time = np.arange(48)
    frames = []
    for wander in (0.0, 0.0, 0.5):
        logit = -1 + np.log(0.5) * (time >= 24) + rng.normal(0, wander, 48)
        frames.append(pd.DataFrame({"time": time, "kind": "all", "n": 400,
                                    "cases": rng.binomial(400, 1 / (1 + np.exp(-logit)))}))  # fmt: skip
    quiet, loud = compared_change(frames[0], frames[1], 24.0), compared_change(frames[0], frames[2], 24.0)
    assert quiet.low < 1 < quiet.high and loud.low < 1 < loud.high
    assert loud.high / loud.low > 1.5 * quiet.high / quiet.low


def test_a_shift_of_visits_is_no_change() -> None:
    """Nothing changes but how many lame-cow visits there are, and twice as many in a hundred are cases at them."""
    time = np.repeat(np.arange(36), 2)
    n = np.where(np.arange(72) % 2 == 0, 100, np.where(time < 17, 20, 200))
    kind = np.where(np.arange(72) % 2 == 0, "whole-herd", "lame-cow")
    cases = np.where(kind == "whole-herd", 0.2, 0.4) * n + np.tile([2, -2, -2, 2], 18)
    frame = pd.DataFrame({"time": time, "kind": kind, "cases": cases, "n": n})
    pooled = frame.groupby("time", as_index=False)[["cases", "n"]].sum().assign(kind="all")
    assert _effect(pooled)["low"] > 1.2
    held = _effect(frame)
    assert held["low"] < 1 < held["high"]


def test_too_little_is_said() -> None:
    frame = _frame(1)
    assert "5 before" in held_change(frame[frame["time"] >= 12], 17.0).reason
    assert "one side" in held_change(frame.assign(cases=frame["cases"].where(frame["time"] < 17, 0)), 17.0).reason
    assert held_change(frame.assign(cases=0), 17.0).reason
    whole = held_change(frame, 17.0)
    assert whole.terms.set_index("term")["ratio"].isna()["slope"]
    assert whole.reason == ""
    assert held_change(frame.iloc[:0], 17.0).reason


def test_the_lines_do_not_follow_what_kind_of_visit_a_month_had() -> None:
    """Months of whole-herd visits and months of calls by turns: seen shares zigzag, the lines do not."""
    frame = _frame(4)
    frame = frame[(frame["kind"] == "whole-herd") | (frame["time"] % 4 != 0)]
    found = held_change(frame, 17.0)
    seen = (found.series["cases"] / found.series["n"]).diff().abs().mean()
    assert found.series["fitted"].diff().abs().mean() < seen / 4
    curve = found.curve.set_index("time")
    for _, row in found.series.iterrows():
        assert curve.loc[row["time"], "fitted"] == pytest.approx(row["fitted"])
    steps = curve["fitted"].diff().abs()
    assert steps[curve.index != 17.0].max() < 0.03


def test_the_lines_are_the_mean_of_the_kinds() -> None:
    """A whole-herd share of 0.2 and a share of 0.5 at calls, one call to four others: 0.26."""
    time = np.repeat(np.arange(36), 2)
    kind = np.where(np.arange(72) % 2 == 0, "whole-herd", "lame-cow")
    n = np.where(kind == "whole-herd", 80, 20)
    cases = np.where(kind == "whole-herd", 16, 10)
    found = held_change(pd.DataFrame({"time": time, "kind": kind, "cases": cases, "n": n}), 17.0)
    assert found.curve["fitted"].to_numpy() == pytest.approx(0.26, abs=1e-6)
