"""Cluster-robust proportions against printed examples. The source stands beside each check."""

from __future__ import annotations

import pytest

from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums

# Weil 1970, as table 1 of Rao & Scott 1992, Biometrics 48:577: pups weaned alive and pups at day 4, by
# litter.
CONTROL = (
    [13, 12, 9, 9, 8, 8, 12, 11, 9, 9, 8, 11, 4, 5, 7, 7],
    [13, 12, 9, 9, 8, 8, 13, 12, 10, 10, 9, 13, 5, 7, 10, 10],
)
TREATED = (
    [12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0],
    [12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7],
)


# Design effects as printed in the documentation of rsb() in the R package PF, from Rao & Scott 1992.
@pytest.mark.parametrize(("litters", "deff"), [(CONTROL, 1.232495), (TREATED, 3.952861)])
def test_design_effect_of_weils_litters(litters: tuple[list[int], list[int]], deff: float) -> None:
    assert cluster_proportion(*cluster_sums(*litters), adjust=False).deff == pytest.approx(deff, abs=5e-7)
