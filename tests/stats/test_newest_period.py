"""The newest period against the expected: limits and verdicts agree; cows, visits and many outcomes are allowed for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from evenfoot.analytics.stats.newest_period import FAMILY_ERROR, Comparison, compare, cow_variance_factors, expect
from tests.effort import tries


def herd(
    shares: list[float], visits: int, cows: int, newest: list[float] | None = None, wobble: float = 0.0
) -> Comparison:
    """A herd with these shares at every visit, half a year apart, and others at the newest."""
    level = np.array(shares)[:, None] * np.ones(visits)
    if wobble:
        signs = np.where(np.arange(visits) % 4 < 2, 1, -1) * wobble
        level = special.expit(special.logit(level) + signs)
    if newest is not None:
        level[:, -1] = newest
    cases = np.round(level * cows)
    years = np.arange(visits) / 2
    last = np.arange(visits) == visits - 1
    expected = expect(cases, np.full(visits, float(cows)), years, last, np.ones(len(shares)), np.ones(len(shares)))
    return compare([([expected], [np.ones(len(shares))])])[0][0]


def test_a_herd_as_ever_is_expected_as_it_is() -> None:
    found = herd([0.2, 0.05], 8, 200)
    assert found.expected == pytest.approx([0.2, 0.05], abs=0.01)
    assert not found.worse.any() and not found.better.any()
    assert (found.low < 0).all() and (found.high > 0).all()


def test_verdict_limits_and_smallest_change_agree() -> None:
    """Worse exactly where the lower limit is above 0, better where the upper is below it."""
    for now in np.linspace(0.0, 0.6, 31):
        found = herd([0.2, 0.1], 6, 120, [now, 0.1])
        assert found.worse[0] == (found.low[0] > 1e-6)
        assert found.better[0] == (found.high[0] < -1e-6)
        assert found.worse[0] == (round(now * 120) / 120 - found.expected[0] >= found.detectable[0] - 1e-6)
        assert found.low[0] <= found.difference[0] + 1e-9 and found.difference[0] <= found.high[0] + 1e-9


def test_visits_that_differ_ask_for_more() -> None:
    assert herd([0.2], 8, 200, wobble=0.6).detectable[0] > 1.5 * herd([0.2], 8, 200).detectable[0]


def test_more_things_compared_ask_for_more() -> None:
    assert herd([0.2] * 12, 8, 200).detectable[0] > herd([0.2], 8, 200).detectable[0]


def test_the_error_of_one_outcome_is_the_stated_one() -> None:
    """A long and even history leaves binomial error only; the limits then are those of the exact mid-p test."""
    cases = np.full((1, 40), 200.0)
    last = np.arange(40) == 39
    expected = expect(cases, np.full(40, 1000.0), np.arange(40) / 12, last, np.ones(1), np.ones(1))
    tail = float(expected.upper(np.array([232.0]))[0])
    exact = stats.binom.sf(231, 1000, 0.2) - stats.binom.pmf(232, 1000, 0.2) / 2
    assert exact < tail < 4 * exact


def change_factor(ill: list[list[int]], seen: list[list[int]], newest: int) -> float:
    """The factor of the change: rows are visits 20 days apart, the last ones the newest, columns are 100 cows each."""
    of_cows = (np.repeat(np.array(rows, dtype=bool), 100, axis=1) for rows in (ill, seen))
    sick, looked = of_cows
    place = np.arange(len(seen))
    return float(cow_variance_factors(sick[None], looked, 20.0 * place, place >= len(seen) - newest)[0][0])


def test_cows_in_both_periods_are_compared_with_themselves() -> None:
    assert change_factor([[1, 0, 0, 0, 0]] * 2, [[1] * 5] * 2, 1) == pytest.approx(0.6)
    # 1 of 5 in both is what chance brings: such cows are as good as others.
    ill = [[1, 1, 1, 1, 1] + [0] * 20, [1, 0, 0, 0, 0] * 5]
    assert change_factor(ill, [[1] * 25] * 2, 1) == pytest.approx(1.0)


def test_cows_looked_at_again_and_again_count_less() -> None:
    """Three looks at each of some cows who never change are no more than one look at each."""
    ill = [[1, 0, 0, 0, 0, 0, 0, 0, 0, 0]] * 3 + [[0, 0, 0, 0, 0, 1, 0, 0, 0, 0]] * 3
    seen = [[1] * 5 + [0] * 5] * 3 + [[0] * 5 + [1] * 5] * 3
    assert change_factor(ill, seen, 3) > 2.5


def kept_states(rng: np.random.Generator, outcomes: int, visits: int, cows: int, kept: float) -> np.ndarray:
    """Who is ill (outcomes x visits x cows): 15 %, each cow as at the visit before with the chance *kept*."""
    ill = rng.random((outcomes, visits, cows)) < 0.15
    for visit in range(1, visits):
        same = rng.random(cows) < kept
        ill[:, visit, same] = ill[:, visit - 1, same]
    return ill


@pytest.mark.parametrize("kept", [0.0, 0.5, 0.7])
def test_the_spread_expected_is_that_of_herds_whose_cows_stay_ill(kept: float) -> None:
    """Of 200 outcomes in herds seen monthly, the newest three visits differ from the expected by what is expected."""
    rng = np.random.default_rng(3)
    apart = []
    newest = np.arange(24) >= 21
    for _ in range(20):
        ill = kept_states(rng, 10, 24, 150, kept)
        seen = np.ones((24, 150), dtype=bool)
        factors = cow_variance_factors(ill, seen, np.arange(24) * 30.4, newest)
        found = expect(ill.sum(axis=2), seen.sum(axis=1), np.arange(24) / 12, newest, *factors)
        share = found.share
        error = special.logit(found.cases / found.looked) - special.logit(share)
        apart.append(error / np.sqrt(found.spread**2 + 1 / (found.looked * share * (1 - share))))
    assert 0.65 < np.std(apart) < 1.1


def test_calls_on_stable_herds_are_rare() -> None:
    """Twelve outcomes, visits with a standard deviation of 0.25, a season: at most the nominal error, and some."""
    rng = np.random.default_rng(7)
    called, herds = 0, tries(240)
    for _ in range(herds):
        years = np.arange(8) / 2
        level = special.logit(np.linspace(0.02, 0.3, 12))[:, None]
        season = np.log(2) / 2 * np.cos(2 * np.pi * (years - rng.uniform()))
        cases = rng.binomial(100, special.expit(level + season + rng.normal(0, 0.25, (12, 8))))
        newest = np.arange(8) == 7
        expected = expect(cases, np.full(8, 100.0), years, newest, np.ones(12), np.ones(12))
        found = compare([([expected], [np.ones(12)])])[0][0]
        called += bool(found.worse.any() or found.better.any())
    assert called / herds <= FAMILY_ERROR + 2 * np.sqrt(FAMILY_ERROR * (1 - FAMILY_ERROR) / herds)
