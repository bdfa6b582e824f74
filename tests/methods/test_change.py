"""A change with kinds held alike: the segmented regression it extends, and how often it calls what is not there."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.methods.change import held_change
from analytics.methods.segmented import interrupted_series


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


def test_one_kind_is_segmented_regression() -> None:
    rng = np.random.default_rng(2)
    time = np.arange(36)
    cases = rng.binomial(100, np.where(time < 17, 0.3, 0.2))
    found = held_change(pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": 100}), 17.0)
    other = interrupted_series(time, cases, np.full(36, 100), 17.0)
    terms = found.terms.set_index("term")
    assert terms.loc["level", "ratio"] == pytest.approx(other.level_ratio)
    assert terms.loc["slope", "ratio"] == pytest.approx(other.slope_ratio)
    assert (terms.loc["level", "low"], terms.loc["level", "high"]) == pytest.approx((other.level_low, other.level_high))
    assert found.series["without"].tolist() == pytest.approx(other.table["without"].tolist())
    assert found.end_difference == pytest.approx(other.end_difference)


def test_a_shift_of_visits_is_no_change() -> None:
    """Nothing changes but how many lame-cow visits there are, and twice as many in a hundred are cases at them."""
    time = np.repeat(np.arange(36), 2)
    n = np.where(np.arange(72) % 2 == 0, 100, np.where(time < 17, 20, 200))
    kind = np.where(np.arange(72) % 2 == 0, "whole-herd", "lame-cow")
    cases = np.where(kind == "whole-herd", 0.2, 0.4) * n + np.tile([2, -2, -2, 2], 18)
    frame = pd.DataFrame({"time": time, "kind": kind, "cases": cases, "n": n})
    pooled = frame.groupby("time", as_index=False)[["cases", "n"]].sum().assign(kind="all")
    assert held_change(pooled, 17.0).terms.set_index("term").loc["step", "low"] > 1.3
    held = held_change(frame, 17.0).terms.set_index("term").loc["step"]
    assert held["low"] < 1 < held["high"]


@pytest.mark.parametrize(("wander", "most"), [(0.0, 8), (0.3, 12)])
def test_steps_are_called_about_as_often_as_they_should(wander: float, most: int) -> None:
    p = [held_change(_frame(s, wander=wander), 17.0).terms["p_value"].iloc[0] for s in range(60)]
    # Binomial(60, .05) exceeds 8 less than once in 200, binomial(60, .1), what wandering months make of it, 12.
    assert sum(value < 0.05 for value in p) <= most


def test_a_halving_is_found_and_its_size() -> None:
    found = [held_change(_frame(s, step=np.log(0.5)), 17.0).terms.iloc[0] for s in range(25)]
    assert sum(row["low"] < 0.5 < row["high"] for row in found) >= 21
    assert sum(row["high"] < 1 for row in found) >= 21


def test_too_little_is_said() -> None:
    frame = _frame(1)
    assert "5 before" in held_change(frame[frame["time"] >= 12], 17.0).reason
    assert "one side" in held_change(frame.assign(cases=frame["cases"].where(frame["time"] < 17, 0)), 17.0).reason
    assert held_change(frame.assign(cases=0), 17.0).reason
    short = held_change(frame[frame["time"] >= 8], 17.0)
    assert short.terms.set_index("term")["ratio"].isna()["slope"]
    assert short.reason == ""
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
