"""Trend of a proportion over ordered groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.stats.intervals import as_counts


@dataclass(frozen=True)
class Trend:
    """Cochran-Armitage test.

    Attributes
    ----------
    slope : float
        Change in proportion for one unit of score (weighted least squares).
    z : float
        Signed statistic, positive when the proportion rises with the score.
    z2 : float
        Its square, chi-square on 1 degree of freedom under no trend.
    p_value : float
        Two-sided.
    departure : float
        Chi-square of departure from a straight line.
    departure_df : int
        Its degrees of freedom, groups with units minus 2.
    departure_p : float
        Its p-value; small means a straight line describes the groups badly.
    groups : int
        Groups with units.
    """

    slope: float
    z: float
    z2: float
    p_value: float
    departure: float
    departure_df: int
    departure_p: float
    groups: int


def cochran_armitage(cases: npt.ArrayLike, n: npt.ArrayLike, scores: npt.ArrayLike | None = None) -> Trend:
    """Test whether a proportion rises or falls with an ordered score.

    With p = sum(cases)/sum(n) and mean score s = sum(n * score)/sum(n):
    ``z = sum(cases * (score - s)) / sqrt(p (1 - p) sum(n (score - s)^2))``.

    Parameters
    ----------
    cases, n : array_like, shape (g,)
        Affected and looked at in each group. Empty groups are left out.
    scores : array_like, shape (g,), optional
        The order of the groups, in any unit; 0, 1, 2, ... if not given.

    Returns
    -------
    Trend
        nan where there are fewer than two different scores, or no unit, or every unit, is a case.

    Raises
    ------
    ValueError
        If a count is negative or cases exceed n.

    References
    ----------
    Armitage P (1955). Tests for linear trends in proportions and frequencies. Biometrics 11:375-386.
    Agresti A (2002). Categorical Data Analysis, 2nd ed., section 5.3.5.

    Examples
    --------
    Alcohol and malformation (Agresti):

    >>> found = cochran_armitage([48, 38, 5, 1, 1], [17114, 14502, 793, 127, 38], [0, 0.5, 1.5, 4, 7])
    >>> print(f"z2 = {found.z2:.2f}, p = {found.p_value:.3f}")
    z2 = 6.57, p = 0.010
    """
    c, total = as_counts(cases, n)
    c, total = np.atleast_1d(c), np.atleast_1d(total)
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    x = np.arange(len(c), dtype=float) if scores is None else np.atleast_1d(np.asarray(scores, dtype=float))
    kept = total > 0
    c, total, x = c[kept], total[kept], x[kept]
    nan = float("nan")
    groups = len(c)
    p = c.sum() / total.sum() if groups else nan
    centred = x - (total * x).sum() / total.sum() if groups else x
    spread = float((total * centred**2).sum())
    if groups < 2 or spread <= 0 or not 0 < p < 1:
        return Trend(nan, nan, nan, nan, nan, max(groups - 2, 0), nan, groups)
    slope = float((c * centred).sum() / spread)
    z = slope * np.sqrt(spread / (p * (1 - p)))
    total_chi = float(((c - total * p) ** 2 / (total * p * (1 - p))).sum())
    departure = max(total_chi - z**2, 0.0)
    df = groups - 2
    return Trend(
        slope=slope,
        z=float(z),
        z2=float(z**2),
        p_value=float(special.chdtrc(1.0, z**2)),
        departure=departure,
        departure_df=df,
        departure_p=float(special.chdtrc(float(df), departure)) if df > 0 else nan,
        groups=groups,
    )
