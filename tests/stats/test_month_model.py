"""Months that wander: found where they do, and neither a season nor a better year is made of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import special

from evenfoot.analytics.measures.lameness.years import _wander, _year
from evenfoot.analytics.stats.month_model import month_model, season_columns
from tests.scale.worlds_warn import World, herd, wave_calls


def test_wander_is_found_and_its_season_too() -> None:
    rng, month = np.random.default_rng(2), np.arange(48)
    found = {}
    for wander in (0.0, 0.4):
        logit = -1.4 + 0.5 * np.cos(2 * np.pi * (month - 3) / 12) + wander * rng.standard_normal(48)
        model = month_model(season_columns(month), rng.binomial(300, special.expit(logit)), [300] * 48, month, [1, 1])
        mean = model.weight @ model.mean
        assert np.hypot(*mean[1:]) == pytest.approx(0.5, abs=0.25)
        found[wander] = float(model.weight @ model.wander)
    assert found[0.0] < 0.15 and found[0.4] > 0.3


def test_months_that_go_together_are_told_from_those_that_do_not() -> None:
    month = np.arange(60)
    guess = []
    for correlation in (0.0, 0.8):
        cases, n = herd(np.random.default_rng(3), 800, 0.2, World(0.3, correlation, 1.0), months=60)
        model = month_model(season_columns(month), cases, n, month, [1, 1])
        guess.append(float(model.weight @ model.correlation))
    assert guess[0] < 0.35 < 0.55 < guess[1]


def test_no_season_is_made_of_months_that_go_together() -> None:
    assert wave_calls(World(0.3, 0.8, 1.0), repeats=60, seed=5) <= 0.12


def test_a_year_is_not_called_up_when_months_differ_as_much_among_themselves() -> None:
    """Months of 10 and 30 of 100 by turns; the year after 5 more in each: the same cows, so cows alone are sure."""
    months = pd.date_range("2024-01-01", periods=24, freq="MS")
    lame = [*[10, 30] * 6, *[15, 35] * 6]
    rows = pd.concat(
        [
            pd.DataFrame(
                {"cluster": np.arange(100).astype(str), "month": at, "cases": np.arange(100) < k, "at_risk": 1}
            )
            for at, k in zip(months, lame, strict=True)
        ]
    ).astype({"cases": int})
    now, then = (rows[rows["month"].dt.year == year] for year in (2025, 2024))
    alone = _year(now, then, 2024, 2025, 0.95, None)
    assert alone[5] > 0
    assert _year(now, then, 2024, 2025, 0.95, _wander(rows))[-1] == "unclear"
