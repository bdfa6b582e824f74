from __future__ import annotations

import numpy as np
import pytest

from analytics.methods.control import p_chart
from analytics.methods.multiple import benjamini_hochberg


def test_limits_follow_the_cows_looked_at_and_gaps_stay() -> None:
    chart = p_chart([10, 0, 3, 40], [50, 0, 10, 200])
    width = chart.table["high"] - chart.table["centre"]
    assert width[3] < width[0] < width[2]
    assert np.isnan(chart.table["value"][1]) and chart.table["outside"][1] == 0
    assert chart.centre == pytest.approx(53 / 260)
    assert (chart.table["low"].dropna() >= 0).all() and (chart.table["high"].dropna() <= 1).all()


def test_baseline_keeps_a_later_change_out_of_the_centre() -> None:
    chart = p_chart([10] * 12 + [25] * 6, [100] * 18, baseline=12)
    assert chart.centre == pytest.approx(0.1)
    assert chart.table.index[chart.table["outside"] == 1].tolist() == [12, 13, 14, 15, 16, 17]


def test_nothing_and_the_impossible() -> None:
    assert np.isnan(p_chart([], []).centre)
    assert p_chart([0, 0], [0, 0]).table["outside"].tolist() == [0, 0]
    with pytest.raises(ValueError, match="more cases"):
        p_chart([3], [2])


def test_benjamini_hochberg_keeps_gaps_and_order() -> None:
    adjusted, called = benjamini_hochberg([0.5, np.nan, 0.001, 0.02])
    assert adjusted[[0, 2, 3]] == pytest.approx([0.5, 0.003, 0.03])
    assert np.isnan(adjusted[1]) and list(called) == [False, False, True, True]
    assert len(benjamini_hochberg([])[0]) == 0
    with pytest.raises(ValueError, match="between"):
        benjamini_hochberg([1.2])
