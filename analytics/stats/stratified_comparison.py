"""Two groups compared within strata (seasons, lactations): Mantel-Haenszel with clusters, and whether strata agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.intervals import LEVEL, as_counts, normal_quantile


@dataclass(frozen=True)
class MantelHaenszel:
    """Pooled over strata.

    Attributes
    ----------
    odds_ratio, low, high : float
        Mantel-Haenszel odds ratio with cluster-robust limits; nan where the counts do not give them.
    clusters : int
        Clusters in strata that tell something: both groups have units, and there is a case and a non-case.
    """

    odds_ratio: float
    low: float
    high: float
    clusters: int


def mantel_haenszel(
    cases1: npt.ArrayLike,
    n1: npt.ArrayLike,
    cases0: npt.ArrayLike,
    n0: npt.ArrayLike,
    strata: npt.ArrayLike,
    clusters: npt.ArrayLike,
    level: float = LEVEL,
) -> MantelHaenszel:
    """Odds ratio of two groups, pooled over strata, where units come in clusters.

    ``OR = R / S`` with ``R = sum(a d / N)``, ``S = sum(b c / N)``; a and c cases, b and d non-cases, N units of a
    stratum. The variance of its logarithm is the sum over clusters of the squares of what each adds to it (its
    linearised influence, added up over the strata it is in), times k / (k - 1); t on k - 1 degrees of freedom.

    Parameters
    ----------
    cases1, n1 : array_like, shape (rows,)
        Affected and looked at in the group of interest, one row a cluster and stratum.
    cases0, n0 : array_like, shape (rows,)
        Affected and looked at in the reference group.
    strata, clusters : array_like, shape (rows,)
        The stratum and the cluster of each row. A cluster may be in several strata.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    MantelHaenszel

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Mantel N, Haenszel W (1959). J Natl Cancer Inst 22:719-748. Graubard BI, Fears TR, Gail MH (1989). Effects of
    cluster sampling on epidemiologic analysis in population-based case-control studies. Biometrics 45:1053-1071.

    Examples
    --------
    >>> found = mantel_haenszel([3, 1, 4, 2, 2, 5], [8] * 6, [1, 0, 2, 2, 1, 1], [8] * 6, list("aabbcc"), range(6))
    >>> print(f"{found.odds_ratio:.2f} ({found.low:.2f}-{found.high:.2f})")
    3.29 (1.28-8.43)
    """
    normal_quantile(level)
    a, m1, c, m0 = (np.atleast_1d(x) for x in as_counts(cases1, n1, cases0, n0))
    if np.any(a > m1) or np.any(c > m0):
        raise ValueError("there cannot be more cases than units looked at")
    parts = np.column_stack([a, m1 - a, c, m0 - c]).astype(float)
    stratum, _ = pd.factorize(np.atleast_1d(np.asarray(strata)))
    whole = np.zeros((int(stratum.max()) + 1 if len(stratum) else 0, 4))
    np.add.at(whole, stratum, parts)
    exposed, others = whole[:, 0] + whole[:, 1], whole[:, 2] + whole[:, 3]
    telling = (exposed > 0) & (others > 0) & (whole[:, 0] + whole[:, 2] > 0) & (whole[:, 1] + whole[:, 3] > 0)
    rows = telling[stratum] if len(stratum) else np.zeros(0, dtype=bool)
    parts, stratum = parts[rows], stratum[rows]
    names, cluster = np.unique(np.atleast_1d(np.asarray(clusters)).astype(str)[rows], return_inverse=True)
    k, nan = len(names), float("nan")
    if not k:
        return MantelHaenszel(nan, nan, nan, 0)
    at = whole[stratum]
    total = at.sum(axis=1)
    r = float((whole[telling, 0] * whole[telling, 3] / whole[telling].sum(axis=1)).sum())
    s = float((whole[telling, 1] * whole[telling, 2] / whole[telling].sum(axis=1)).sum())
    if r <= 0 or s <= 0 or k < 2:
        return MantelHaenszel(float(np.divide(r, s)) if s > 0 else float("inf") if r > 0 else nan, nan, nan, k)
    share = parts.sum(axis=1) / total

    def added(i: int, j: int) -> npt.NDArray[np.float64]:
        return np.asarray((parts[:, i] * at[:, j] + at[:, i] * parts[:, j] - at[:, i] * at[:, j] * share) / total)

    influence = np.bincount(cluster, added(0, 3) / r - added(1, 2) / s, k)
    se = float(np.sqrt(k / (k - 1.0) * (influence**2).sum()))
    half = float(special.stdtrit(k - 1.0, 0.5 + level / 2.0)) * se
    odds = r / s
    return MantelHaenszel(odds, odds * float(np.exp(-half)), odds * float(np.exp(half)), k)


def homogeneity_p(estimates: npt.ArrayLike, influence: npt.NDArray[np.float64], df: float) -> float:
    """P-value of strata with the same effect.

    A Wald test of the differences, with the covariance that clusters in several strata give them, turned into F as
    Hotelling's T squared is: ``(df - q + 1) / (df q) W`` on q and df - q + 1 degrees of freedom.

    Parameters
    ----------
    estimates : array_like, shape (strata,)
        Such as log odds ratios.
    influence : ndarray, shape (clusters, strata)
        What each cluster adds to each; 0 where it adds nothing.
    df : float
        Degrees of freedom of the covariance.

    Returns
    -------
    float
        nan with fewer than two strata, or too few degrees of freedom.

    References
    ----------
    Hotelling H (1931). Ann Math Stat 2:360-378.
    Pan W, Wall MM (2002). Stat Med 21:1429-1441 (F in place of chi-square with few clusters).

    Examples
    --------
    >>> print(f"{homogeneity_p([0.2, 1.4], np.array([[0.3, 0.0], [0.0, 0.4], [0.1, 0.1]]), 20.0):.3f}")
    0.026
    """
    b = np.asarray(estimates, dtype=float)
    q = len(b) - 1
    if q < 1 or df - q + 1 < 1:
        return float("nan")
    gap, move = b[1:] - b[0], influence[:, 1:] - influence[:, :1]
    covariance = move.T @ move
    if np.linalg.matrix_rank(covariance) < q:
        return float("nan")
    wald = float(gap @ np.linalg.solve(covariance, gap))
    return float(special.fdtrc(q, df - q + 1.0, wald * (df - q + 1.0) / (df * q)))
