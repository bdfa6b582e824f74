"""Shrinkage, heritability and power against printed examples, each with its source."""

from __future__ import annotations

import numpy as np
import pytest

from evenfoot.analytics.stats.heritability import liability_h2
from evenfoot.analytics.stats.lameness_sample import cows_to_score
from evenfoot.analytics.stats.power import design_effect, power_of, sample_size
from evenfoot.analytics.stats.random_herd import latent_icc
from evenfoot.analytics.stats.shrinkage import _log_posterior, shrunken_rates

# Tarone 1982, Biometrics 38:215, as table 5.1 of Gelman et al., Bayesian Data Analysis: rats with tumours in
# 70 historical control groups and the current one (4 of 14).
TUMOURS = [0] * 14 + [1] * 8 + [2] * 9 + [
    1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10, 4, 4, 4, 4, 4, 4, 4, 10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6,
    6, 16, 15, 15, 9, 4,
]  # fmt: skip
RATS = [20] * 7 + [19] * 4 + [18] * 2 + [17] + [20] * 4 + [19] * 2 + [18] * 2 + [25, 24, 23] + [20] * 6 + [
    10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50, 20, 20, 20, 20, 20, 20, 20, 48, 19, 19, 19, 22, 46,
    49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14,
]  # fmt: skip


# Bayesian Data Analysis, section 5.3: E(alpha | y) = 2.4, E(beta | y) = 14.3 on the book's grid.
def test_rat_tumours() -> None:
    assert len(TUMOURS) == len(RATS) == 71
    found = shrunken_rates(TUMOURS, RATS, draws=40_000, seed=1)
    assert found.alpha == pytest.approx(2.4, abs=0.1)
    assert found.beta == pytest.approx(14.3, abs=0.4)


# Same section, figure 5.3: the posterior mode lies near (log(alpha/beta), log(alpha + beta)) = (-1.79, 2.74).
def test_rat_tumour_mode() -> None:
    u, v = np.meshgrid(np.linspace(-2.3, -1.3, 201), np.linspace(1, 5, 401), indexing="ij")
    log = _log_posterior(np.array(TUMOURS, float), np.array(RATS, float), u, v)
    at = np.unravel_index(log.argmax(), log.shape)
    assert (u[at], v[at]) == pytest.approx((-1.79, 2.74), abs=0.02)


# R documentation, stats::power.prop.test: n = 50 each, .50 against .75, power .740; for power .90, n = 76.7.
def test_power_prop_test() -> None:
    assert power_of(0.50, 0.75, 50, 50) == pytest.approx(0.740, abs=5e-4)
    assert sample_size(0.50, 0.75, power=0.90).n1 == pytest.approx(76.7, abs=0.05)


# Otte & Gumm 1997, Prev Vet Med 31:147, the usual reading: 50 animals a farm and rho = .1 make a design
# effect of 5.9.
def test_design_effect() -> None:
    assert design_effect(0.1, 50) == pytest.approx(5.9)


# lme4's cbpp (Lesnoff et al. 2004): SD of herd 0.6421; ICC = .6421^2 / (.6421^2 + pi^2/3) = .111, as
# performance::icc prints "adjusted ICC" for it [from memory]. Were the herds sires, heritability would be
# four times that.
def test_latent_scale() -> None:
    assert latent_icc(0.6421) == pytest.approx(0.111, abs=5e-4)
    assert liability_h2(0.6421) == pytest.approx(4 * latent_icc(0.6421))


# BC Dairy, proAction cattle assessment: cows to score by size of the herd.
TO_SCORE = {
    20: 14,
    30: 18,
    40: 21,
    50: 23,
    70: 27,
    90: 29,
    100: 30,
    150: 33,
    250: 37,
    350: 38,
    450: 39,
    550: 40,
    700: 40,
}


def test_cows_to_score() -> None:
    assert {herd: cows_to_score(herd) for herd in TO_SCORE} == TO_SCORE
    assert [cows_to_score(herd) for herd in (0, 1, 2, 3)] == [0, 1, 2, 3]
