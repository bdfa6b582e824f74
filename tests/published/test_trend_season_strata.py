"""Trend and stratified analyses against printed examples. The source stands beside each check."""

from __future__ import annotations

import numpy as np
import pytest

from evenfoot.analytics.stats.harmonic import yearly_wave
from evenfoot.analytics.stats.trend import cochran_armitage


# Agresti, Categorical Data Analysis, 2nd ed., section 5.3.5: maternal alcohol and malformation.
def test_alcohol_and_malformation() -> None:
    absent, present = np.array([17066, 14464, 788, 126, 37]), np.array([48, 38, 5, 1, 1])
    found = cochran_armitage(present, absent + present, [0, 0.5, 1.5, 4, 7])
    assert found.z2 == pytest.approx(6.57, abs=5e-3)
    assert found.p_value == pytest.approx(0.010, abs=5e-4)


# R documentation, stats::prop.trend.test: smokers among lung patients (Fleiss 1981), X-squared = 8.2249, p =
# .004132.
def test_smokers_among_patients() -> None:
    found = cochran_armitage([83, 90, 129, 70], [86, 93, 136, 82])
    assert found.z2 == pytest.approx(8.2249, abs=5e-5)
    assert found.p_value == pytest.approx(0.004132, abs=5e-7)


# A yearly wave is a regression on sine and cosine: monthly deaths from lung disease in Britain (R datasets,
# ldeaths; Diggle 1990, table A.3) peak in February in every text that shows them. Checked on 1974 as a share
# of the year, months January to December.
def test_lung_deaths_peak_in_february() -> None:
    deaths = np.array([3035, 2552, 2704, 2554, 2014, 1655, 1721, 1524, 1596, 2074, 2199, 2512])
    found = yearly_wave(np.arange(12) + 1.5, deaths, np.full(12, deaths.sum()))
    assert 1.5 < found.peak_month < 3.0
    assert found.p_value < 0.001
