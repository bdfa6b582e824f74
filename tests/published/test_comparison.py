"""Comparisons worked from published tables, through a ledger and back."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.measures.lesions.comparison import comparison
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import herd, trim

# Admitted and refused men, admitted and refused women, departments A to F.
# R documentation, datasets::UCBAdmissions (Bickel et al. 1975, Science 187:398).
BERKELEY = {
    "A": (512, 313, 89, 19),
    "B": (353, 207, 17, 8),
    "C": (120, 205, 202, 391),
    "D": (138, 279, 131, 244),
    "E": (53, 138, 94, 299),
    "F": (22, 351, 24, 317),
}


def test_mantel_haenszel_of_berkeley(tmp_path: Path) -> None:
    """R documentation, mantelhaen.test(UCBAdmissions): 0.9047 (0.7719 to 1.0603)."""
    rows = []
    for department, (men_in, men_out, women_in, women_out) in BERKELEY.items():
        for group, cases, others in (("men", men_in, men_out), ("women", women_in, women_out)):
            rows += [trim(f"{department}{group}{i}", "SU", group=group, bedding=department) for i in range(cases)]
            rows += [trim(f"{department}{group}-{i}", group=group, bedding=department) for i in range(others)]
    answer = comparison(
        herd(tmp_path, rows), Selection(lesions=("SU",)), by=("group",), reference="women", stratify="bedding"
    )
    men = answer.table.set_index("group").loc["men"]
    assert men["mh_odds_ratio"] == pytest.approx(0.9047, abs=5e-5)
    # R's limits are Robins-Breslow-Greenland's; with each cow a cluster of one, ours are within a thousandth.
    assert (men["mh_low"], men["mh_high"]) == pytest.approx((0.7719, 1.0603), abs=1e-3)
    # Simpson's paradox, as in the paper: pooled over departments men do better (odds ratio 1.84).
    assert men["odds_ratio"] == pytest.approx(1.84, abs=0.005)
    assert men["homogeneity_p"] < 0.01
