"""Means of measurements that come in clusters (claws in cows, cows in herds), from cluster sums alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.stats.intervals import LEVEL, as_counts, normal_quantile


@dataclass(frozen=True)
class ClusterMean:
    """Means with cluster-robust limits; every field is an array of the same shape.

    Attributes
    ----------
    mean, low, high, se : ndarray
        In the unit of the measurements; limits and se are nan with fewer than two clusters.
    df : ndarray
        Degrees of freedom of the t quantile used.
    """

    mean: Any
    low: Any
    high: Any
    se: Any
    df: Any


def cluster_mean(
    sum_y: npt.ArrayLike,
    sum_n: npt.ArrayLike,
    sum_yy: npt.ArrayLike,
    sum_yn: npt.ArrayLike,
    sum_nn: npt.ArrayLike,
    k: npt.ArrayLike,
    level: float = LEVEL,
    *,
    adjust: bool = True,
) -> ClusterMean:
    """Ratio estimate of a mean with limits that allow for likeness within clusters.

    ``mean = sum_y / sum_n``; ``v = c * (sum_yy - 2 mean sum_yn + mean^2 sum_nn) / sum_n^2``; limits
    ``mean -/+ t(df) * sqrt(v)``. With ``adjust=False`` c = k / (k - 1) and df = k - 1, the survey-sampling
    textbook. With ``adjust=True`` the number of clusters is replaced by the effective one,
    ``sum_n^2 / sum_nn``, so that a herd with a few much-measured cows is not taken for more than it tells.

    Parameters
    ----------
    sum_y, sum_n, sum_yy, sum_yn, sum_nn, k : array_like
        Sums over clusters, each with measurements adding up to y and numbering n: of y, n, y*y, y*n and n*n,
        and the number of clusters. They broadcast.
    level : float, default 0.95
        Confidence level.
    adjust : bool, default True
        Use the effective number of clusters.

    Returns
    -------
    ClusterMean
        Arrays in the broadcast shape.

    Raises
    ------
    ValueError
        If a count is negative or *level* is not between 0 and 1.

    References
    ----------
    Cochran WG (1977). Sampling Techniques, 3rd ed., pages 30-33 and 66.

    Examples
    --------
    Toe lengths of two claws in each of three cows, 80 and 82, 76 and 77, 85 and 84 mm:

    >>> y, n = [162, 153, 169], [2, 2, 2]
    >>> found = cluster_mean(sum(y), 6, sum(v * v for v in y), sum(v * 2 for v in y), 12, 3)
    >>> print(f"{found.mean:.2f} ({found.low:.2f} to {found.high:.2f})")
    80.67 (70.70 to 90.63)
    """
    n, nn, clusters = as_counts(sum_n, sum_nn, k)
    y, yy, yn = (np.asarray(value, dtype=np.float64) for value in (sum_y, sum_yy, sum_yn))
    normal_quantile(level)
    enough = (clusters >= 2) & (n > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = y / n
        effective = np.maximum(n**2 / nn, 1.0 + 1e-9) if adjust else clusters
        squares = np.maximum(yy - 2.0 * mean * yn + mean**2 * nn, 0.0)
        se = np.sqrt(effective / (effective - 1.0) * squares) / n
        df = np.maximum(effective - 1.0, 1.0)
        half = special.stdtrit(df, 0.5 + level / 2.0) * se

    def known(values: Any) -> Any:
        return np.where(enough, values, np.nan)[()]

    return ClusterMean(mean=mean[()], low=known(mean - half), high=known(mean + half), se=known(se), df=known(df))
