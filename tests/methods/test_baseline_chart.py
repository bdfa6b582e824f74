"""Chart on a baseline: limits by hand, signals by hand, few false alarms and a doubling seen soon."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.methods.baseline_chart import baseline_chart
from analytics.methods.control import p_chart
from tests.scale.false_alarms import rates

BASE = [True] * 12
STEADY = [20, 21, 19, 20, 20, 21, 19, 20, 21, 19, 20, 20]


def test_limits_by_hand() -> None:
    """Twelve months of 20 in 100, then one: sqrt(.2 * .8 * (1/100 + 1/1200)) is .04163."""
    chart = baseline_chart([*STEADY, 25], [100] * 13, [*BASE, False])
    last = chart.table.iloc[-1]
    assert (chart.centre, chart.method, chart.spread) == (0.2, "p", 1.0)
    assert last["high"] == pytest.approx(0.2 + 3 * 0.0416333, abs=1e-6)
    assert last["low"] == pytest.approx(0.2 - 3 * 0.0416333, abs=1e-6)
    # In the baseline the limits are the textbook's.
    textbook = p_chart(STEADY, [100] * 12, method="p").table
    assert chart.table["high"].iloc[0] == pytest.approx(textbook["high"].iloc[0])
    assert last["ewma"] == pytest.approx(0.2 * 0.25 + 0.8 * chart.table["ewma"].iloc[-2])


def test_months_that_wander_get_laneys_limits() -> None:
    wild = [10, 30, 12, 28, 9, 31, 14, 27, 11, 29, 10, 30]
    chart = baseline_chart([*wild, 33], [100] * 13, [*BASE, False])
    assert chart.method == "laney"
    assert chart.spread == pytest.approx(p_chart(wild, [100] * 12, method="laney").spread)
    assert chart.table["outside"].iloc[-1] == 0
    assert baseline_chart([*STEADY, 34], [100] * 13, [*BASE, False]).table["outside"].iloc[-1] == 1


def test_signals_by_hand() -> None:
    up = baseline_chart([*STEADY, *[24] * 17], [100] * 29, [*BASE, *[False] * 17]).table
    assert up.index[up["run"] == 1].tolist() == [19, 27]
    assert up["outside"].sum() == 0
    down = baseline_chart([*STEADY, 5], [100] * 13, [*BASE, False]).table
    assert down["outside"].iloc[-1] == -1
    creeping = baseline_chart([*STEADY, *[28] * 6], [100] * 18, [*BASE, *[False] * 6]).table
    assert creeping["drift"].tolist().count(1) == 1


def test_rare_cases_have_exact_limits() -> None:
    """Two cases in a month of 20 cows are no signal where one cow in fifty is the rule."""
    chart = baseline_chart([0, 1, 0, 0, 1, 0, 1, 0, 0, 1, 0, 1, 2], [20] * 13, [*BASE, False])
    assert chart.table["outside"].tolist() == [0] * 13


def test_gaps_and_too_little() -> None:
    gap = baseline_chart([*STEADY, 0, 40], [*[100] * 12, 0, 100], [*BASE, False, False]).table
    assert np.isnan(gap["value"].iloc[12])
    assert gap["outside"].tolist()[12:] == [0, 1]
    short = baseline_chart([5, 6, 7], [50] * 3, [True] * 3)
    assert "at least 6 months" in short.reason
    assert short.table["high"].isna().all()
    assert "Nobody" in baseline_chart([0] * 8, [50] * 8, [True] * 8).reason
    assert baseline_chart([], [], []).reason


@pytest.mark.parametrize(("cows", "share", "wander"), [(120, 0.2, 0.0), (120, 0.2, 0.15), (40, 0.05, 0.0)])
def test_few_false_alarms_on_stable_herds(cows: int, share: float, wander: float) -> None:
    """Fast version of ``python -m tests.scale.false_alarms``: at most about one herd in six in two years."""
    still = rates(cows, share, wander, doubled=False, repeats=120, seed=5)
    assert float(still["any"]) < 0.2  # type: ignore[arg-type]


def test_a_doubling_is_seen() -> None:
    twice = rates(120, 0.2, 0.15, doubled=True, repeats=40, seed=6)
    assert twice["any"] == 1.0
    assert float(twice["median"]) <= 4  # type: ignore[arg-type]
