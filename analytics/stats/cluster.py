"""Proportions whose units come in clusters (feet in cows, cows in herds), from cluster sums alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.stats.few_cases import few_case_chances, lower_where_few, upper_without_cases
from evenfoot.analytics.stats.intervals import LEVEL, Floats, as_counts, normal_quantile

UNSEEN_ICC = 0.387
"""Likeness assumed within a cluster, on the scale of liability, when no case, or nothing but cases, was seen and the
data cannot tell.

[pub: the largest between-herd share of variance in Cramer et al. 2008, J Dairy Sci 91:3888]
"""

_TAIL = 3.5
"""How much harder rare, strongly clustered lesions lower the degrees of freedom than gamma-spread herds would.

Gamma-spread risks give 1; risks normal on the logit scale have longer tails. Chosen by simulation, as the least that
keeps 93 % coverage there: ``python -m tests.scale.coverage``.
"""

_PLENTY = 9.0
"""Degrees of freedom from which on clusters that look more even than chance are taken for independent units; with
fewer, such evenness says little, and the floor under the limits rises as t does. [common practice: below 10 clusters
cluster-robust limits are not trusted]"""


@dataclass(frozen=True)
class ClusterProportion:
    """Proportions with cluster-robust limits; every field is an array of the same shape.

    Attributes
    ----------
    p : ndarray
        Cases over units, 0 to 1.
    low, high : ndarray
        Limits, 0 to 1.
    se : ndarray
        Standard error of p (0 where no case, or nothing but cases, was seen).
    deff : ndarray
        Design effect: variance over that of as many independent units. Not below 1 when adjusted.
    icc : ndarray
        Likeness of two units of one cluster implied by the design effect, 0 to 1.
    n_effective : ndarray
        Units over design effect: how many independent units would tell as much.
    df : ndarray
        Degrees of freedom of the t quantile used.
    exact : ndarray of bool
        True where no case, or nothing but cases, was seen: the limits are then exact under ``UNSEEN_ICC``.
    clusters : ndarray
        Number of clusters.
    """

    p: Any
    low: Any
    high: Any
    se: Any
    deff: Any
    icc: Any
    n_effective: Any
    df: Any
    exact: Any
    clusters: Any


def cluster_sums(m: npt.ArrayLike, n: npt.ArrayLike) -> tuple[float, float, float, float, float, int]:
    """The six sums the cluster methods need, from one pair of counts a cluster.

    Parameters
    ----------
    m, n : array_like, shape (k,)
        Cases and units of each cluster. Clusters without units are left out.

    Returns
    -------
    sum_m, sum_n, sum_mm, sum_mn, sum_nn : float
        Sums over clusters of m, n, m*m, m*n and n*n.
    k : int
        Clusters with at least one unit.

    Raises
    ------
    ValueError
        If a count is negative or cases exceed units.

    Examples
    --------
    >>> cluster_sums([1, 0, 2], [4, 4, 3])
    (3.0, 11.0, 5.0, 10.0, 41.0, 3)
    """
    cases, units = as_counts(m, n)
    if np.any(cases > units):
        raise ValueError("there cannot be more cases than units")
    k = int(np.count_nonzero(units > 0))
    return (
        float(cases.sum()),
        float(units.sum()),
        float((cases * cases).sum()),
        float((cases * units).sum()),
        float((units * units).sum()),
        k,
    )


def cluster_proportion(
    sum_m: npt.ArrayLike,
    sum_n: npt.ArrayLike,
    sum_mm: npt.ArrayLike,
    sum_mn: npt.ArrayLike,
    sum_nn: npt.ArrayLike,
    k: npt.ArrayLike,
    level: float = LEVEL,
    *,
    adjust: bool = True,
    unseen_icc: float = UNSEEN_ICC,
) -> ClusterProportion:
    """Ratio estimate of a proportion with limits that allow for likeness within clusters.

    ``p = sum_m / sum_n``; the linearised variance is ``v = c * (sum_mm - 2 p sum_mn + p^2 sum_nn) /
    sum_n^2``, and the textbook's limits are ``expit(logit(p) -/+ t(df) * sqrt(v) / (p (1 - p)))``.

    With ``adjust=False`` this is the survey-sampling textbook: c = k / (k - 1), df = k - 1. With ``adjust=True`` the
    limits are score limits (Wilson's, with t for z and the design effect in the variance), which stay between 0 and 1
    as those on the logit scale do and are nearer the mark with few cases. Four corrections keep the coverage near
    *level* when clusters or cases are few, or clusters unequal:

    - k is replaced by the effective number of clusters, ``k' = sum_n^2 / sum_nn``, in c and df;
    - the limits are never closer than those of as many independent units, wider still below ten clusters, and the
      design effect is not taken below 1 (a herd of 10 cows can look "too even" by luck);
    - ``df = (k' - 1) / (1 + 3.5 icc * odds * ((deff - 1) / deff)^2)``, odds = q/p or p/q, whichever exceeds 1. It
      follows Satterthwaite's rule for the variance of the logit when risks differ between clusters: rare and
      strongly clustered lesions rest on few clusters, whatever the number looked at. Never below 1;
    - where the true risk could be so low that even a herd without a case would not speak against it, the error
      allowed goes to the other side (`few_cases.lower_where_few`).

    In simulation (``python -m tests.scale.coverage``) nominal 95 % limits cover 93-97 % at prevalences of 5 to 30 %
    and 10 to 200 clusters. At 2 %, cows in herds that differ as much as for infectious lesions are covered 92-94 %.

    Parameters
    ----------
    sum_m, sum_n, sum_mm, sum_mn, sum_nn, k : array_like
        Sums over clusters of cases m, units n, their squares and product, and the number of clusters (see
        `cluster_sums`). They broadcast: a table of many rows is one call.
    level : float, default 0.95
        Confidence level.
    adjust : bool, default True
        Apply the four corrections.
    unseen_icc : float
        Likeness on the scale of liability, used where no case, or nothing but cases, was seen. The limit is then the
        risk at which that has half the error's chance (`few_cases.upper_without_cases`).

    Returns
    -------
    ClusterProportion
        Arrays in the broadcast shape. p is given wherever there are units; limits, se, deff, icc and df are
        nan with fewer than two clusters.

    Raises
    ------
    ValueError
        If a sum is negative, cases exceed units, or *level* is not between 0 and 1.

    References
    ----------
    Wilson EB (1927). Probable inference, the law of succession, and statistical inference. JASA 22:209-212.
    Cochran WG (1977). Sampling Techniques, 3rd ed., pages 32 and 66.
    Rao JNK, Scott AJ (1992). A simple method for the analysis of clustered binary data. Biometrics
    48:577-585. Korn EL, Graubard BI (1998). Confidence intervals for proportions with small expected number
    of positive counts estimated from survey data. Survey Methodology 24:193-201.
    Dean N, Pagano M (2015). J Surv Stat Methodol 3:484-503. Blaker H (2000). Can J Stat 28:783-798.

    Examples
    --------
    Feet with a lesion in six cows of four feet each:

    >>> answer = cluster_proportion(*cluster_sums([0, 2, 1, 0, 3, 1], [4] * 6))
    >>> print(f"{answer.p:.3f} ({answer.low:.3f}-{answer.high:.3f}), design effect {answer.deff:.2f}")
    0.292 (0.113-0.645), design effect 1.65
    """
    m, n, mm, mn, nn, clusters = as_counts(sum_m, sum_n, sum_mm, sum_mn, sum_nn, k)
    if np.any(m > n):
        raise ValueError("there cannot be more cases than units")
    normal_quantile(level)
    alpha = min(1.0 - level, 1.0)
    enough = (clusters >= 2) & (n > 0)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        p = m / n
        q = 1.0 - p
        mean_size = nn / n
        binomial = p * q / n
        effective = np.maximum(n / mean_size, 1.0 + 1e-9) if adjust else clusters
        squares = np.maximum(mm - 2.0 * p * mn + p * p * nn, 0.0)
        variance = effective / (effective - 1.0) * squares / n**2
        raw = variance / binomial
        deff = np.maximum(raw, 1.0) if adjust else raw
        icc = np.clip((deff - 1.0) / np.maximum(mean_size - 1.0, 1e-9), 0.0, 1.0)
        df = np.maximum(effective - 1.0, 1.0)
        exact = enough & ((m == 0) | (m == n))
        if adjust:
            odds = np.maximum(p, q) / np.minimum(p, q)
            df = np.maximum(df / (1.0 + _TAIL * icc * odds * ((deff - 1.0) / deff) ** 2), 1.0)
            low, high = _adjusted(p, n, raw, icc, df, effective, mean_size, alpha, unseen_icc)
            variance = deff * binomial
        else:
            centre = special.logit(p)
            half = special.stdtrit(df, 1.0 - alpha / 2.0) * np.sqrt(variance) / (p * q)
            low, high = special.expit(centre - half), special.expit(centre + half)
        # No spread to measure when nobody, or everybody, is a case: the likeness has to be assumed.
        n_effective = n / deff
        if exact.any():
            top = upper_without_cases(mean_size, np.maximum(n / mean_size, 1.0), alpha / 2.0, unseen_icc)
            low = np.where(exact, np.where(m == 0, 0.0, 1.0 - top), low)
            high = np.where(exact, np.where(m == 0, top, 1.0), high)
            n_effective = np.where(exact, np.log(alpha / 2.0) / np.log1p(-top), n_effective)
            deff = np.where(exact, np.maximum(n / n_effective, 1.0), deff)

    def known(values: Floats) -> Any:
        return np.where(enough, values, np.nan)[()]

    return ClusterProportion(
        p=p[()],
        low=known(low),
        high=known(high),
        se=known(np.sqrt(np.where(exact, 0.0, variance))),
        deff=known(deff),
        icc=known(np.where(exact, unseen_icc, icc)),
        n_effective=known(n_effective),
        df=known(np.where(exact, np.maximum(effective - 1.0, 1.0), df)),
        exact=exact[()],
        clusters=clusters[()],
    )


def _adjusted(
    p: Floats,
    n: Floats,
    raw: Floats,
    icc: Floats,
    df: Floats,
    effective: Floats,
    size: Floats,
    alpha: float,
    unseen_icc: float,
) -> tuple[Floats, Floats]:
    """Limits with all corrections, from the proportion and its design effect before the floor at 1."""
    arrays = np.broadcast_arrays(p, n, raw, icc, df, effective, size)
    shape = arrays[0].shape
    p, n, raw, icc, df, effective, size = (np.atleast_1d(a).astype(float) for a in arrays)

    def spread(error: Any, rows: Any = slice(None)) -> Any:
        error = np.minimum(error, 0.5)
        floor = special.ndtri(1.0 - error)
        scarce = np.maximum(effective[rows] - 1.0, 1.0) < _PLENTY
        if scarce.any():
            few = special.stdtrit(np.maximum(effective[rows] - 1.0, 1.0), 1.0 - error)
            enough = special.stdtrit(_PLENTY, 1.0 - error)
            floor = np.where(scarce & (error < 0.5), floor * few / np.where(error < 0.5, enough, 1.0), floor)
        return np.maximum(special.stdtrit(df[rows], 1.0 - error) * np.sqrt(raw[rows]), floor)

    low, high = _score(p, n, spread(alpha / 2.0))
    t = special.stdtrit(np.maximum(effective - 1.0, 1.0), 1.0 - alpha / 2.0)
    # The upper limits that so few cases would have, each in a cluster of its own.
    one, two = (_score(np.minimum(cases / n, 1.0), n, t)[1] for cases in (1.0, 2.0))
    for side, limit in ((-1.0, low), (1.0, high)):
        distance = limit if side < 0 else 1.0 - limit
        rows = np.flatnonzero((distance < two) & (p > 0) & (p < 1))
        if not len(rows):
            continue

        def outer(error: Any, rows: Any = rows, side: float = side) -> Any:
            share = p[rows] if side < 0 else 1.0 - p[rows]
            return _score(share, n[rows], spread(error, rows))[0]

        def chances(p: Any, rows: Any = rows) -> Any:
            return few_case_chances(p, icc[rows], size[rows], effective[rows])

        none = upper_without_cases(size[rows], effective[rows], alpha / 2.0, unseen_icc)
        found = lower_where_few(outer, (none, one[rows], two[rows]), chances, alpha)
        limit[rows] = found if side < 0 else 1.0 - found
    return low.reshape(shape), high.reshape(shape)


def _score(p: Floats, n: Floats, spread: Floats) -> tuple[Floats, Floats]:
    """Wilson's limits for so many units, with another quantile than the normal."""
    square = spread * spread / n
    centre = (p + square / 2.0) / (1.0 + square)
    half = np.sqrt(square * (p * (1.0 - p) + square / 4.0)) / (1.0 + square)
    return centre - half, centre + half
