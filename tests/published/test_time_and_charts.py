"""Survival, control charts and many tests against printed examples. The source stands beside each check."""

from __future__ import annotations

import pytest

from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.survival import kaplan_meier, log_rank
from tests.scale.textbook_chart import p_chart

# Freireich et al. 1963, Blood 21:699: weeks in remission on 6-MP and on placebo, as in every survival text.
DRUG = ([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35],
        [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0])  # fmt: skip
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def test_remission_curve() -> None:
    found = kaplan_meier(*DRUG)
    assert list(found.at([10, 23])["survival"]) == pytest.approx([0.7529, 0.4482], abs=5e-5)
    assert found.median == 23
    assert kaplan_meier(PLACEBO, [1] * 21).median == 8
    # Kleinbaum & Klein, Survival Analysis, 3rd ed., table 2.1: 21, 17, 15, 12, 11, 7, 6 at risk.
    events = found.curve[found.curve["events"] > 0]
    assert list(events["at_risk"]) == [21, 17, 15, 12, 11, 7, 6]


def test_remission_log_rank() -> None:
    found = log_rank(DRUG[0] + PLACEBO, DRUG[1] + [1] * 21, ["drug"] * 21 + ["placebo"] * 21)
    assert found.chi2 == pytest.approx(16.79, abs=5e-3)
    # Expected events 19.3 and 10.7: Kleinbaum & Klein, Survival Analysis, log-rank section [from memory].
    assert list(found.table["expected"]) == pytest.approx([19.3, 10.7], abs=0.06)


# R documentation, survival::aml (Miller 1997): survdiff chi-square 3.4 on 1 df, p = .07; medians 31 and 23.
def test_acute_myelogenous_leukaemia() -> None:
    kept = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
    not_kept = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1])
    found = log_rank(kept[0] + not_kept[0], kept[1] + not_kept[1], [1] * 11 + [2] * 12)
    assert found.chi2 == pytest.approx(3.4, abs=0.05)
    assert found.p_value == pytest.approx(0.07, abs=5e-3)
    assert (kaplan_meier(*kept).median, kaplan_meier(*not_kept).median) == (31, 23)


# NIST/SEMATECH e-Handbook 6.3.3.2: wafers with defects, 50 chips looked at on each.
def test_p_chart() -> None:
    cases = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7,
    13, 9,
             6]  # fmt: skip
    chart = p_chart(cases, [50] * 30)
    assert chart.centre == pytest.approx(0.2313, abs=5e-5)
    assert chart.table["low"][0] == pytest.approx(0.0524, abs=1e-4)
    assert chart.table["high"][0] == pytest.approx(0.4102, abs=1e-4)
    assert list(chart.table.index[chart.table["value"] > 0.4102]) == [14, 22]


# Benjamini & Hochberg 1995, J R Stat Soc B 57:289, section 3.1: 15 p-values, 4 rejected at .05.
def test_benjamini_hochberg() -> None:
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
    0.6528,
         0.7590, 1.0]  # fmt: skip
    _, called = benjamini_hochberg(p, 0.05)
    assert list(called) == [True] * 4 + [False] * 11
