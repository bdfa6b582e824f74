"""Two independent proportions whose units come in clusters, compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special

from evenfoot.analytics.stats.cluster import ClusterProportion
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile
from evenfoot.analytics.stats.ratios import two_group_p

_MANY = 1e9  # stands for infinitely many units where a count is needed


@dataclass(frozen=True)
class ClusterComparison:
    """Two independent cluster proportions compared; arrays of one shape.

    Attributes
    ----------
    difference, difference_low, difference_high : ndarray
        First minus second, -1 to 1.
    ratio, ratio_low, ratio_high : ndarray
        First over second.
    p_value : ndarray
        Two-sided, of no difference.
    """

    difference: Any
    difference_low: Any
    difference_high: Any
    ratio: Any
    ratio_low: Any
    ratio_high: Any
    p_value: Any


def compare_clusters(first: ClusterProportion, second: ClusterProportion, level: float = LEVEL) -> ClusterComparison:
    """Difference and ratio of two cluster proportions that share no cluster.

    The limits come from each group's own limits (method of variance estimates recovery):
    ``d - sqrt((p1 - l1)^2 + (u2 - p2)^2)`` to ``d + sqrt((u1 - p1)^2 + (p2 - l2)^2)``, and the same on the
    log scale for the ratio. The p-value is Welch's t on the difference of logits; where a group has no case,
    or nothing but cases, it is Fisher's or the chi-square test on the effective counts. If the groups share
    clusters (the same herds before and after), a paired method or `cluster_logistic.gee_logistic` is the right tool.

    Parameters
    ----------
    first, second : ClusterProportion
        Made at the same level; they broadcast.
    level : float, default 0.95
        The level both were made at (only to refuse an illegal one).

    Returns
    -------
    ClusterComparison
        nan limits and p-value where either group has nan limits.

    Raises
    ------
    ValueError
        If *level* is not between 0 and 1.

    References
    ----------
    Zou GY, Donner A (2008). Construction of confidence limits about effect measures: a general approach.
    Stat Med 27:1693-1702.
    Rao JNK, Scott AJ (1992). Biometrics 48:577-585.

    Examples
    --------
    >>> from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums
    >>> a = cluster_proportion(*cluster_sums([0, 2, 1, 0, 3, 1], [4] * 6))
    >>> b = cluster_proportion(*cluster_sums([0, 0, 1, 0, 0, 1], [4] * 6))
    >>> print(f"{compare_clusters(a, b).difference:.3f} p = {compare_clusters(a, b).p_value:.2f}")
    0.208 p = 0.14
    """
    normal_quantile(level)
    p1, l1, u1, p2, l2, u2 = np.broadcast_arrays(first.p, first.low, first.high, second.p, second.low, second.high)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = p1 - p2
        gap_low = gap - np.hypot(p1 - l1, u2 - p2)
        gap_high = gap + np.hypot(u1 - p1, p2 - l2)
        ratio = p1 / p2
        down = np.hypot(np.log(p1) - np.log(l1), np.log(u2) - np.log(p2))
        up = np.hypot(np.log(u1) - np.log(p1), np.log(p2) - np.log(l2))
        ratio_low = np.where((p1 == 0) | (p2 == 0), np.where(p1 == 0, 0.0, l1 / u2), ratio * np.exp(-down))
        ratio_high = np.where(p2 == 0, np.inf, np.where(p1 == 0, u1 / l2, ratio * np.exp(up)))
        v1 = (first.se / (first.p * (1.0 - first.p))) ** 2
        v2 = (second.se / (second.p * (1.0 - second.p))) ** 2
        t = np.abs(special.logit(p1) - special.logit(p2)) / np.sqrt(v1 + v2)
        df = (v1 + v2) ** 2 / (v1**2 / first.df + v2**2 / second.df)
        p_value = np.array(2.0 * special.stdtr(df, -t), dtype=np.float64, ndmin=1)
    known = ~np.isnan(np.broadcast_arrays(l1, l2)[0] + l2)
    settled = np.broadcast_to(np.asarray(first.exact) | np.asarray(second.exact), gap.shape) & known
    if settled.any():
        n1, n2 = np.broadcast_arrays(first.n_effective, second.n_effective)
        m1, m2 = np.atleast_1d(n1[settled]), np.atleast_1d(n2[settled])
        # Unadjusted clusters that all agree have a design effect of 0 and an infinite effective number.
        whole1, whole2 = (np.clip(np.round(m), 1.0, _MANY) for m in (m1, m2))
        share1, share2 = np.atleast_1d(p1[settled]), np.atleast_1d(p2[settled])
        found = two_group_p(np.round(share1 * whole1), whole1, np.round(share2 * whole2), whole2)
        p_value[np.atleast_1d(settled)] = found
    p_value = np.where(known, p_value.reshape(gap.shape), np.nan)

    def kept(values: Any) -> Any:
        return np.where(known, values, np.nan)[()]

    return ClusterComparison(
        difference=gap[()],
        difference_low=kept(gap_low),
        difference_high=kept(gap_high),
        ratio=ratio[()],
        ratio_low=kept(ratio_low),
        ratio_high=kept(ratio_high),
        p_value=p_value[()],
    )
