"""Chart on a baseline: what is outside, what little there is to say, few false signals and a doubling seen soon."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special, stats

from evenfoot.analytics.stats.baseline_chart import TAIL, baseline_chart
from evenfoot.analytics.stats.month_model import month_model, season_columns
from tests.scale.worlds_warn import World, signals

BASE = [True] * 12
STEADY = [20, 21, 19, 20, 20, 21, 19, 20, 21, 19, 20, 20]


def _chart(cases, n, baseline):
    return baseline_chart(cases, n, baseline, np.arange(len(cases)))


def test_a_month_far_out_is_outside_and_its_neighbours_are_not() -> None:
    table = _chart([*STEADY, 20, 60, 20, 1], [100] * 16, [*BASE, *[False] * 4]).table
    assert table["outside"].tolist() == [0] * 13 + [1, 0, -1]
    assert table["centre"].iloc[0] == pytest.approx(0.2, abs=0.01)


def test_limits_are_the_outermost_counts_that_are_no_signal() -> None:
    """The chance of the limit and of one case more, integrated anew over every pair of spread and correlation."""
    table = _chart([*STEADY, 20], [100] * 13, [*BASE, False]).table
    month = np.arange(12)
    model = month_model(season_columns(month), STEADY, np.full(12, 100), month, (0.35, 0.35))
    x = season_columns([12])[0]
    mean = model.mean @ x
    spread = np.sqrt(np.einsum("k,gkl,l->g", x, model.covariance, x) + model.wander**2)

    def chance(cases: int, below: bool) -> float:
        def at(eta: float) -> float:
            p = special.expit(eta)
            tail = stats.binom.cdf(cases, 100, p) if below else stats.binom.sf(cases - 1, 100, p)
            return float(tail * (model.weight @ stats.norm.pdf(eta, mean, spread)))

        return integrate.quad(at, -6, 4, limit=200)[0]

    high, low = round(100 * table["high"].iloc[-1]), round(100 * table["low"].iloc[-1])
    assert chance(high, below=False) >= TAIL > chance(high + 1, below=False)
    assert chance(low, below=True) >= TAIL > chance(low - 1, below=True)


def test_a_season_of_the_baseline_is_expected_again() -> None:
    """Two months 30 % and 8 % lame are as usual where they were so in the year before, and not where all are 18 %."""
    wave = np.round(400 * special.expit(-1.6 + 0.8 * np.cos(2 * np.pi * np.arange(24) / 12))).astype(int)
    seasonal = _chart(wave, [400] * 24, [*BASE, *[False] * 12]).table
    assert (seasonal["outside"] == 0).all()
    assert seasonal["centre"].iloc[12] > 2 * seasonal["centre"].iloc[18]


def test_wandering_months_widen_the_limits() -> None:
    wild = [10, 30, 12, 28, 9, 31, 14, 27, 11, 29, 10, 30]
    wide, narrow = (_chart([*each, 20], [100] * 13, [*BASE, False]).table for each in (wild, STEADY))
    assert wide["high"].iloc[-1] > narrow["high"].iloc[-1] + 0.1


def test_rare_cases_have_exact_limits() -> None:
    """Two cases in a month of 20 cows are no signal where one cow in fifty is the rule."""
    table = _chart([0, 1, 0, 0, 1, 0, 1, 0, 0, 1, 0, 1, 2], [20] * 13, [*BASE, False]).table
    assert table["outside"].tolist() == [0] * 13


def test_gaps_and_too_little() -> None:
    gap = _chart([*STEADY, 0, 60], [*[100] * 12, 0, 100], [*BASE, False, False]).table
    assert np.isnan(gap["value"].iloc[12]) and np.isnan(gap["high"].iloc[12])
    assert gap["outside"].tolist()[12:] == [0, 1]
    short = _chart([5, 6, 7], [50] * 3, [True] * 3)
    assert "at least 6 months" in short.reason
    assert short.table["high"].isna().all()
    assert "Nobody" in _chart([0] * 8, [50] * 8, [True] * 8).reason
    assert _chart([], [], []).reason
    with pytest.raises(ValueError, match="more cases"):
        _chart([3], [2], [True])


@pytest.mark.parametrize(
    ("cows", "share", "world"),
    [
        (120, 0.2, World(0.0, 0.0, 1.0)),
        (40, 0.05, World(0.3, 0.5, 2.7)),
        (120, 0.2, World(0.25, 0.8, 1.8)),
        (400, 0.1, World(0.3, 0.8, 2.7)),
    ],
)
def test_at_most_one_stable_herd_in_ten_signals_in_two_years(cows: int, share: float, world: World) -> None:
    """Fast version of ``python -m tests.scale.worlds_warn``; 120 herds add a doubt of 5 in 100 at most."""
    found = signals(cows, share, world, repeats=120, seed=5)
    assert found.two_years <= 0.15
    assert found.in_half_a_year[1] <= 0.05


def test_a_doubling_is_seen() -> None:
    found = signals(120, 0.2, World(0.15, 0.3, 1.0), times=2.0, repeats=60, seed=6)
    assert found.one_year >= 0.6
    assert found.months <= 8
