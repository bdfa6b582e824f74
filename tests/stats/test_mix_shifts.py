"""Mixtures held against each other: as scipy tests one pair, rare kinds together, and which share moved most."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2_contingency

from evenfoot.analytics.stats.mix_shifts import mix_shifts

LEAST = 5.0


def test_each_pair_is_tested_as_by_itself() -> None:
    rng = np.random.default_rng(4)
    was, now = (rng.poisson(rng.choice([0.2, 3, 40], size=(200, 6))).astype(float) for _ in range(2))
    told = mix_shifts(was, now, LEAST)
    compared = 0
    for row in range(len(was)):
        both = np.array([was[row], now[row]])
        common = both.sum(axis=0) * both.sum(axis=1).min() / both.sum() >= LEAST
        counts = np.column_stack([both[:, common], both[:, ~common].sum(axis=1)])
        counts = counts[:, counts.sum(axis=0) > 0]
        if counts.shape[1] < 2:
            assert told.df[row] == 0
            continue
        own = chi2_contingency(counts, correction=False)
        assert (told.chi2[row], told.p_value[row]) == pytest.approx((own.statistic, own.pvalue))
        assert told.df[row] == own.dof
        gap = now[row] / now[row].sum() - was[row] / was[row].sum()
        assert common[told.moved[row]]
        assert abs(gap[told.moved[row]]) == pytest.approx(np.abs(gap[common]).max())
        compared += 1
    assert compared > 150


def test_of_two_that_moved_alike_the_one_that_grew_is_told() -> None:
    told = mix_shifts(np.array([[30.0, 10.0]]), np.array([[10.0, 30.0]]), LEAST)
    assert told.moved.tolist() == [1]
    assert mix_shifts(np.array([[40.0, 0.0]]), np.array([[40.0, 0.0]]), LEAST).df.tolist() == [0]
