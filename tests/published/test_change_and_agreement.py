"""Interrupted time series and agreement against printed examples. The source stands beside each check."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from evenfoot.analytics.stats.autoregression import autoregression, estimate_of, wave
from evenfoot.analytics.stats.kappa import equal_margins, kappa_of_table, symmetry

# Acute coronary episodes in Sicily by month, January 2002 to November 2006, and standardised population;
# indoor smoking ban in January 2005. Data and code: github.com/gasparrini/2017_lopezbernal_IJE_codedata, for
# Lopez Bernal, Cummins & Gasparrini 2017, Int J Epidemiol 46:348.
EPISODES = [
    728, 659, 791, 734, 757, 726, 760, 740, 720, 814, 795, 858, 887, 766, 851, 769, 781, 756, 766, 752, 765,
    831, 879, 928, 914, 808, 937, 840, 916, 828, 845, 818, 860, 839, 887, 886, 831, 796, 833, 820, 877, 758,
    767, 738, 781, 843, 850, 908, 1021, 859, 976, 888, 962, 838, 810, 876, 843, 936, 912,
]  # fmt: skip
POPULATION = [
    379875.3, 376495.5, 377040.8, 377116.4, 377383.4, 374113.1, 379513.3, 376295.5, 374653.2, 378485.6,
    375955.5, 378349.7, 376762.4, 379032.3, 379360.4, 376162, 377972.4, 381830.7, 379888.6, 380872.2,
    380966.9, 381240.4, 382104.9, 381802.7, 381656.3, 383680, 383504.2, 386462.9, 383783.1, 380836.8, 383483,
    380906.2, 382926.8, 384052.4, 384449.6, 383428.4, 388153.2, 388373.2, 386470.1, 386033.2, 383686.4,
    385509.3, 385901.9, 386516.6, 388436.5, 383255.2, 390148.7, 385874.9, 391613.6, 391750.4, 394005.6,
    391364.9, 391664.6, 389022.3, 391878.5, 388575.3, 392989, 390018.8, 390712.3,
]  # fmt: skip


# The paper's text [figures from memory of it]: rate ratio 0.894 without season; 0.885 (0.839-0.933) with two pairs of
# harmonics and over-dispersion. Episodes are rare among the people at risk, so an odds ratio is a rate ratio. Ours
# allows for autocorrelation besides, so its limits are somewhat wider.
@pytest.mark.parametrize(("harmonics", "printed"), [(0, 0.894), (2, 0.885)])
def test_smoking_ban(harmonics: int, printed: float) -> None:
    time = np.arange(1.0, 60.0)
    waves = [wave(time, 12.0 / k) for k in range(1, harmonics + 1)]
    x = np.column_stack([np.ones(59), (time - 37) / 12, time >= 37, *waves])
    found = autoregression(x, EPISODES, POPULATION, time)
    assert found is not None
    ban = estimate_of(found, np.arange(x.shape[1]) == 2)
    assert ban.value == pytest.approx(printed, abs=0.008)
    assert ban.high < 1
    if harmonics:
        assert (ban.low, ban.high) == pytest.approx((0.839, 0.933), abs=0.015)


# SAS/STAT User's Guide, PROC FREQ, Getting Started "Agreement Study": skin condition, two dermatologists.
# Table from the guide; output (simple kappa .3449, ASE .0724, .2030-.4868; weighted .5082, ASE .0655,
# .3798-.6366) as printed there [the weighted line from memory].
def test_skin_condition() -> None:
    table = [[10, 4, 1, 0], [5, 10, 12, 2], [2, 4, 12, 5], [0, 2, 6, 13]]
    simple = kappa_of_table(table)
    assert (simple.kappa, simple.kappa_se) == pytest.approx((0.3449, 0.0724), abs=5e-5)
    # Score limits lie near the printed large-sample ones where the table is not small.
    assert (simple.kappa_low, simple.kappa_high) == pytest.approx((0.2030, 0.4868), abs=0.025)
    weighted = kappa_of_table(table, weights="linear")
    assert (weighted.kappa, weighted.kappa_se) == pytest.approx((0.5082, 0.0655), abs=5e-5)
    assert (weighted.kappa_low, weighted.kappa_high) == pytest.approx((0.3798, 0.6366), abs=0.025)


# Agresti, Categorical Data Analysis, 2nd ed., section 10.5: carcinoma, two pathologists; kappa .493, SE .057.
def test_carcinoma() -> None:
    found = kappa_of_table([[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]])
    assert (found.kappa, found.kappa_se) == pytest.approx((0.493, 0.057), abs=5e-4)


# Stuart A (1955). Biometrika 42:412-416: unaided vision of 7477 women, right eye against left: chi-square 11.96 on 3.
# Symmetry, 19.11 on 6: Bishop, Fienberg & Holland, Discrete Multivariate Analysis, section 8.2 [from memory].
def test_paired_tests_of_unaided_vision() -> None:
    vision = [[1520, 266, 124, 66], [234, 1512, 432, 78], [117, 362, 1772, 205], [36, 82, 179, 492]]
    assert special.chdtri(3, equal_margins(vision)) == pytest.approx(11.96, abs=5e-3)
    assert special.chdtri(6, symmetry(vision)) == pytest.approx(19.11, abs=5e-3)


# R documentation, stats::mcnemar.test: approval of the president, 1600 voters asked twice. Agresti, Categorical Data
# Analysis, 2nd ed., section 10.1.1: z squared 17.36 from 150 and 86 [pub]; exact p from the binomial of 86 in 236.
def test_mcnemar_of_approval() -> None:
    approval = [[794, 150], [86, 570]]
    assert symmetry(approval) == pytest.approx(special.chdtrc(1, 64**2 / 236))
    assert special.chdtri(1, symmetry(approval)) == pytest.approx(17.36, abs=5e-3)
    assert equal_margins(approval) == pytest.approx(2 * stats.binom.cdf(86, 236, 0.5))
