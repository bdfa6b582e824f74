"""Two proportions whose clusters may be shared: the same herds before and after, or the same cows on two floors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums
from evenfoot.analytics.stats.cluster_comparison import compare_clusters
from evenfoot.analytics.stats.intervals import LEVEL, Floats, as_counts, normal_quantile


@dataclass(frozen=True)
class PairedDifference:
    """Two proportions compared with what clusters share taken into account.

    Attributes
    ----------
    p1, p2 : float
        Proportions, 0 to 1; nan for a group without units.
    difference, low, high : float
        First minus second and its limits.
    ratio, ratio_low, ratio_high : float
        First over second and its limits.
    p_value : float
        Two-sided, of no difference.
    clusters1, clusters2, shared : int
        Clusters with units in the first group, in the second, and in both.
    df : float
        Degrees of freedom of the t quantile; nan where `compare_clusters` stood in.
    reason : str
        Why there are no limits; "" when there are.
    """

    p1: float
    p2: float
    difference: float
    low: float
    high: float
    ratio: float
    ratio_low: float
    ratio_high: float
    p_value: float
    clusters1: int
    clusters2: int
    shared: int
    df: float
    reason: str = ""


def paired_difference(
    m1: npt.ArrayLike,
    n1: npt.ArrayLike,
    m2: npt.ArrayLike,
    n2: npt.ArrayLike,
    level: float = LEVEL,
) -> PairedDifference:
    """Difference and ratio of two proportions, one pair of counts a cluster and group.

    Cluster i contributes ``z_i = (m1_i - p1 n1_i) / N1 - (m2_i - p2 n2_i) / N2`` to the difference, whose variance is
    ``c * sum z_i^2``; a cluster with units in one group only has n = 0 in the other. With k' the effective number of
    clusters of a group (see `cluster.cluster_proportion`), c = k'/(k' - 1) and df = k' - 1 for shared clusters, the
    smaller k' of the two. The ratio is treated the same on the log scale. Where a group has no case, or nothing but
    cases, or the clusters do not differ at all, there is nothing to judge by: `compare_clusters` stands in,
    which ignores sharing and errs on the wide side when it matters.

    Parameters
    ----------
    m1, n1 : array_like, shape (k,)
        Affected and looked at in the first group, by cluster.
    m2, n2 : array_like, shape (k,)
        The same clusters in the same order, second group.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    PairedDifference
        nan limits and a ``reason`` with fewer than two clusters in a group.

    Raises
    ------
    ValueError
        If counts are impossible or *level* is not between 0 and 1.

    References
    ----------
    Cochran WG (1977). Sampling Techniques, 3rd ed., section 6.19 (difference of two ratios).
    Rao JNK, Scott AJ (1992). Biometrics 48:577-585.

    Examples
    --------
    Six herds, indoors and then at grass:

    >>> found = paired_difference([9, 14, 6, 20, 11, 8], [50] * 6, [5, 9, 4, 15, 9, 4], [50] * 6)
    >>> print(f"{found.difference:.3f} ({found.low:.3f} to {found.high:.3f})")
    0.073 (0.045 to 0.102)
    """
    normal_quantile(level)
    c1, t1, c2, t2 = (np.atleast_1d(x) for x in as_counts(m1, n1, m2, n2))
    if np.any(c1 > t1) or np.any(c2 > t2):
        raise ValueError("there cannot be more cases than units looked at")
    k1, k2 = int((t1 > 0).sum()), int((t2 > 0).sum())
    shared = int(((t1 > 0) & (t2 > 0)).sum())
    nan = float("nan")
    p1 = float(c1.sum() / t1.sum()) if k1 else nan
    p2 = float(c2.sum() / t2.sum()) if k2 else nan
    ratio = p1 / p2 if p2 > 0 else (float("inf") if p1 > 0 else nan)
    if min(k1, k2) < 2:
        reason = say("Limits need at least two herds in each group.")
        return PairedDifference(p1, p2, p1 - p2, nan, nan, ratio, nan, nan, nan, k1, k2, shared, nan, reason)
    share1, share2 = (c1 - p1 * t1) / t1.sum(), (c2 - p2 * t2) / t2.sum()
    spread = float(((share1 - share2) ** 2).sum())
    if not (0 < p1 < 1 and 0 < p2 < 1) or spread <= 0:
        return _apart(c1, t1, c2, t2, ratio, shared, level)
    effective = min(_effective(t1), _effective(t2))
    df = max(effective - 1.0, 1.0)
    c = effective / max(effective - 1.0, 1e-9)
    t = float(special.stdtrit(df, 0.5 + level / 2.0))
    se = float(np.sqrt(c * spread))
    log_se = float(np.sqrt(c * ((share1 / p1 - share2 / p2) ** 2).sum()))
    return PairedDifference(
        p1=p1,
        p2=p2,
        difference=p1 - p2,
        low=max(p1 - p2 - t * se, -1.0),
        high=min(p1 - p2 + t * se, 1.0),
        ratio=ratio,
        ratio_low=ratio * float(np.exp(-t * log_se)),
        ratio_high=ratio * float(np.exp(t * log_se)),
        p_value=float(2 * special.stdtr(df, -abs(p1 - p2) / se)),
        clusters1=k1,
        clusters2=k2,
        shared=shared,
        df=df,
    )


def _apart(c1: Floats, t1: Floats, c2: Floats, t2: Floats, ratio: float, shared: int, level: float) -> PairedDifference:
    """Where pairing gives no spread to judge by, each group's own limits do."""
    first = cluster_proportion(*cluster_sums(c1, t1), level)
    second = cluster_proportion(*cluster_sums(c2, t2), level)
    found = compare_clusters(first, second, level)
    return PairedDifference(
        p1=float(first.p),
        p2=float(second.p),
        difference=float(found.difference),
        low=float(found.difference_low),
        high=float(found.difference_high),
        ratio=ratio,
        ratio_low=float(found.ratio_low),
        ratio_high=float(found.ratio_high),
        p_value=float(found.p_value),
        clusters1=int(first.clusters),
        clusters2=int(second.clusters),
        shared=shared,
        df=float("nan"),
    )


def _effective(units: Floats) -> float:
    """How many clusters of equal size would weigh as much."""
    return float(units.sum() ** 2 / (units**2).sum())
