from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.methods.control import (
    DRIFT,
    NEAR,
    OUTSIDE,
    RULES,
    SHIFT,
    ewma,
    ewma_chart,
    ewma_limits,
    false_alarms,
    p_chart,
    run_rules,
)
from analytics.methods.multiple import benjamini_hochberg


def test_limits_follow_the_cows_looked_at_and_gaps_stay() -> None:
    chart = p_chart([10, 0, 3, 40], [50, 0, 10, 200], method="p")
    width = chart.table["high"] - chart.table["centre"]
    assert width[3] < width[0] < width[2]
    assert np.isnan(chart.table["value"][1]) and chart.table["signal"][1] == ""
    assert chart.points == 3 and chart.centre == pytest.approx(53 / 260)
    assert (chart.table["low"].dropna() >= 0).all() and (chart.table["high"].dropna() <= 1).all()


def test_laney_is_the_p_chart_for_independent_cows_and_wider_for_alike_ones() -> None:
    rng = np.random.default_rng(1)
    n = np.full(400, 80)
    independent = p_chart(rng.binomial(n, 0.2), n)
    assert independent.spread == pytest.approx(1, abs=0.08)
    alike = p_chart(rng.binomial(n, rng.beta(0.2 * 19, 0.8 * 19, 400)), n)
    assert alike.spread == pytest.approx(np.sqrt(1 + 79 * 0.05), rel=0.12)
    assert len(alike.signals[alike.signals["signal"].str.contains("outside")]) <= 6


def test_exact_limits_hold_the_tail() -> None:
    chart = p_chart([2] * 20, [40] * 20, method="exact")
    low, high = chart.table["low"][0] * 40, chart.table["high"][0] * 40
    assert stats.binom.cdf(low - 1, 40, 0.05) <= 0.00135 + 1e-9
    assert stats.binom.sf(high, 40, 0.05) <= 0.00135 + 1e-9


def test_baseline_keeps_a_later_change_out_of_the_centre() -> None:
    cases = [10] * 12 + [25] * 6
    chart = p_chart(cases, [100] * 18, baseline=12)
    assert chart.centre == pytest.approx(0.1)
    assert list(chart.signals.index) == [12, 13, 14, 15, 16, 17]
    assert chart.signals["signal"].iloc[0] == OUTSIDE


def test_rules_point_by_point() -> None:
    up = run_rules([0.1 * i for i in range(7)], 0.0, [-3] * 7, [3] * 7)
    assert list(up.index[up[DRIFT]]) == [5, 6]
    shift = run_rules([1] * 4 + [np.nan] + [1] * 5, 0.0, [-3] * 10, [3] * 10)
    assert list(shift.index[shift[SHIFT]]) == [8, 9]
    broken = run_rules([1] * 4 + [-1] + [1] * 5, 0.0, [-3] * 10, [3] * 10)
    assert not broken[SHIFT].any()
    near = run_rules([2.5, 0, 2.5, 2.5, -2.5], 0.0, [-3] * 5, [3] * 5)
    assert list(near.index[near[NEAR]]) == [2, 3]
    assert not run_rules([], 0.0, [], []).any().any()
    assert run_rules([4], 0.0, [-3], [3])[OUTSIDE][0]


def test_ewma_limits_with_equal_precision_are_the_closed_form() -> None:
    i = np.arange(1, 31)
    half = 3 * 0.5 * np.sqrt(0.2 / 1.8 * (1 - 0.8 ** (2 * i)))
    low, high = ewma_limits(0.0, np.full(30, 0.5), 0.2)
    assert high == pytest.approx(half) and low == pytest.approx(-half)


def test_ewma_sees_a_small_lasting_change_sooner() -> None:
    rng = np.random.default_rng(8)
    n = np.full(36, 120)
    p = np.where(np.arange(36) < 18, 0.15, 0.21)
    later = {"shewhart": [], "ewma": []}
    for _ in range(60):
        c = rng.binomial(n, p)
        for name, chart in (
            ("shewhart", p_chart(c, n, method="p", baseline=18, rules=(OUTSIDE,))),
            ("ewma", ewma_chart(c, n, baseline=18, overdispersed=False)),
        ):
            hits = [i for i in chart.signals.index if i >= 18]
            later[name].append(hits[0] - 18 if hits else 18)
    assert np.mean(later["ewma"]) < np.mean(later["shewhart"])


def test_ewma_carries_over_a_month_without_cows() -> None:
    assert ewma([1.0, np.nan, 1.0], 0.0, 0.5) == pytest.approx([0.5, 0.5, 0.75])
    chart = ewma_chart([5, 0, 6], [50, 0, 50])
    assert np.isnan(chart.table["value"][1]) and not np.isnan(chart.table["value"][2])
    assert ewma([0.3, 0.1], 0.2, 1.0) == pytest.approx([0.3, 0.1])


def test_false_alarms() -> None:
    assert false_alarms(0.2, [60] * 24, chart="p", rules=(OUTSIDE,), repeats=300) < 0.15
    clustered = {"icc": 0.05, "rules": (OUTSIDE,), "repeats": 200}
    assert false_alarms(0.2, [60] * 24, chart="p", **clustered) > 0.5
    assert false_alarms(0.2, [60] * 24, chart="laney", **clustered) < 0.2
    assert false_alarms(0.2, [60] * 24, chart="ewma", icc=0.05, repeats=200) < 0.2


@pytest.mark.parametrize("cases", [[], [0], [0, 0]])
def test_nothing_looked_at(cases) -> None:
    for chart in (p_chart(cases, [0] * len(cases)), ewma_chart(cases, [0] * len(cases))):
        assert chart.points == 0 and not len(chart.signals)


def test_no_case_at_all_is_flat_and_quiet() -> None:
    chart = p_chart([0] * 5, [20] * 5, rules=RULES)
    assert chart.centre == 0 and not len(chart.signals)


def test_unknown_words_are_refused() -> None:
    with pytest.raises(ValueError, match="chart"):
        p_chart([1], [2], method="u")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="rule"):
        p_chart([1], [2], rules=("zone C",))
    with pytest.raises(ValueError, match="weight"):
        ewma([1], 0, 0.0)
    with pytest.raises(ValueError, match="more cases"):
        p_chart([3], [2])


def test_benjamini_hochberg_keeps_gaps_and_order() -> None:
    adjusted, called = benjamini_hochberg([0.5, np.nan, 0.001, 0.02])
    assert adjusted[[0, 2, 3]] == pytest.approx([0.5, 0.003, 0.03])
    assert np.isnan(adjusted[1]) and list(called) == [False, False, True, True]
    assert len(benjamini_hochberg([])[0]) == 0
    with pytest.raises(ValueError, match="between"):
        benjamini_hochberg([1.2])
