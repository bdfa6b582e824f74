"""A short form of ``tests.scale.worlds_change``: little is called where nothing is, and what is there is found.

The bounds allow for the Monte Carlo error of so few runs; ``python -m tests.scale.worlds_change`` has the figures.
"""

from __future__ import annotations

import pytest

from tests.scale.worlds_change import WORLDS, World, of_change, of_comparison, of_trend


# Binomial(40, 0.07) exceeds 8 about once in 500.
@pytest.mark.parametrize("name", ["36 months, rising", "36 months, rising, rho 0.8", "48 months, falling, rho 0.5"])
def test_a_change_that_did_nothing_is_seldom_called(name: str) -> None:
    found = of_change(WORLDS[name], 40)
    assert found.answered == 40
    assert found.called <= 8 / 40


def test_halved_odds_are_found_in_a_rising_herd() -> None:
    # Found in 70 of 100 runs; Binomial(40, 0.7) is below 20 about once in 300. Its limits hold 95 of 100.
    found = of_change(World(60, trend=1.35, effect=0.5), 40)
    assert found.called >= 20 / 40
    assert found.held >= 34 / 40


def test_two_farms_with_trends_of_their_own_are_seldom_told_apart() -> None:
    found = of_comparison(World(48, trend=0.8, correlation=0.5), 30, other_trend=1.1)
    assert found.called <= 7 / 30


def test_months_that_wander_are_no_trend() -> None:
    found = of_trend(World(36, correlation=0.8, season=2.7), 40)
    assert found.called <= 8 / 40
    assert of_trend(World(60, trend=1.35), 15).called >= 13 / 15
