"""Two groups compared where cases are few: exact odds ratio within strata, and the test of no difference."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from evenfoot.analytics.stats.intervals import LEVEL, Floats, as_counts, normal_quantile

SMALL_CELL = 5  # below this the normal approximation is not used [common practice, no source: Cochran's rule]
_WIDEST = 60.0  # log odds ratio beyond which a limit is called 0 or inf; e**60 is past any count of cows


def exact_odds_ratio(
    cases1: npt.ArrayLike,
    n1: npt.ArrayLike,
    cases0: npt.ArrayLike,
    n0: npt.ArrayLike,
    level: float = LEVEL,
    *,
    mid: bool = True,
) -> tuple[float, float, float, float]:
    """Odds ratio common to all strata, given the cases of each stratum, with exact limits and p-value.

    The cases of group 1 in a stratum, given all its cases, follow the noncentral hypergeometric distribution; their
    sum over strata is its convolution. Units are taken as independent within a stratum.

    Parameters
    ----------
    cases1, n1 : array_like, shape (strata,)
        Affected and looked at in the group of interest; whole numbers.
    cases0, n0 : array_like, shape (strata,)
        Affected and looked at in the reference group.
    level : float, default 0.95
        Confidence level.
    mid : bool, default True
        Count half the chance of the result itself (mid-p), which keeps the coverage near *level*. False gives
        limits that cover at least that, and twice the smaller tail as the p-value.

    Returns
    -------
    ratio, low, high, p : float
        0 and inf are legal ratios. nan ratio, limits 0 and inf and p 1 where the strata tell nothing.

    Raises
    ------
    ValueError
        If a count is negative or not whole, cases exceed units, or *level* is not between 0 and 1.

    References
    ----------
    Gart JJ (1970). Point and interval estimation of the common odds ratio in the combination of 2 x 2 tables with
    fixed marginals. Biometrika 57:471-475. Berry G, Armitage P (1995). Mid-P confidence intervals: a brief review.
    The Statistician 44:417-423.

    Examples
    --------
    >>> ratio, low, high, p = exact_odds_ratio(0, 40, 6, 60)
    >>> print(f"{ratio:.2f} ({low:.2f}-{high:.2f}), p = {p:.3f}")
    0.00 (0.00-0.93), p = 0.042
    """
    normal_quantile(level)
    cells = [np.atleast_1d(x) for x in _two_groups(cases1, n1, cases0, n0)]
    if not all(np.allclose(x, np.round(x)) for x in cells):
        raise ValueError("exact limits need whole counts")
    found, first, chances = 0.0, 0.0, np.ones(1)
    for a, m1, c, m0 in zip(*cells, strict=True):
        total = a + c
        low, high = max(0.0, total - m0), min(m1, total)
        if low == high:
            continue
        at = np.arange(low, high + 1.0)
        logs = _log_choose(m1, at) + _log_choose(m0, total - at)
        chances = np.convolve(chances, np.exp(logs - special.logsumexp(logs)))
        found, first = found + a, first + low
    if len(chances) == 1:
        return float("nan"), 0.0, float("inf"), 1.0
    at = np.arange(len(chances)) + first
    with np.errstate(divide="ignore"):
        logs = np.log(chances)
    half = 0.5 if mid else 1.0

    def tails(theta: float) -> tuple[float, float, float]:
        """Chance of as few, of as many, and the expected number, at a log odds ratio."""
        p = special.softmax(logs + at * theta)
        own = half * float(p[at == found].sum())
        return float(p[at < found].sum()) + own, float(p[at > found].sum()) + own, float(p @ at)

    def solve(gap: Any) -> float:
        return float(np.exp(optimize.brentq(gap, -_WIDEST, _WIDEST)))

    error = (1.0 - level) / 2.0
    few, many, _expected = tails(0.0)
    least, most = found == at[0], found == at[-1]
    ratio = 0.0 if least else float("inf") if most else solve(lambda theta: tails(theta)[2] - found)
    lower = 0.0 if least else solve(lambda theta: tails(theta)[1] - error)
    upper = float("inf") if most else solve(lambda theta: tails(theta)[0] - error)
    return ratio, lower, upper, min(1.0, 2.0 * min(few, many))


def _log_choose(n: Floats, k: Floats) -> Floats:
    return np.asarray(special.gammaln(n + 1.0) - special.gammaln(k + 1.0) - special.gammaln(n - k + 1.0))


def two_group_p(
    cases1: npt.ArrayLike, n1: npt.ArrayLike, cases0: npt.ArrayLike, n0: npt.ArrayLike
) -> npt.NDArray[np.float64] | float:
    """Two-sided p-value of no difference between two independent proportions.

    Pearson's chi-square without continuity correction; Fisher's exact test where an expected count is under
    5.

    Parameters
    ----------
    cases1, n1, cases0, n0 : array_like
        Affected and looked at in the two groups; they broadcast.

    Returns
    -------
    p : float or ndarray
        p-value, 0 to 1; nan where a group is empty, 1 where no unit, or every unit, is a case.

    Raises
    ------
    ValueError
        If a count is negative or cases exceed n.

    References
    ----------
    Campbell I (2007). Chi-squared and Fisher-Irwin tests of two-by-two tables. Stat Med 26:3661-3675.

    Examples
    --------
    >>> print(f"{two_group_p(45, 90, 30, 90):.4f}")
    0.0233
    >>> print(f"{two_group_p(3, 4, 1, 4):.4f}")
    0.4857
    """
    c1, m1, c0, m0 = _two_groups(cases1, n1, cases0, n0)
    total, affected = m1 + m0, c1 + c0
    with np.errstate(divide="ignore", invalid="ignore"):
        share = affected / total
        expected = np.minimum(share, 1.0 - share) * np.minimum(m1, m0)
        z2 = (c1 / m1 - c0 / m0) ** 2 / (share * (1.0 - share) * (1.0 / m1 + 1.0 / m0))
        p = np.atleast_1d(special.chdtrc(1.0, z2))
    flat = [np.atleast_1d(x).ravel() for x in (c1, m1 - c1, c0, m0 - c0)]
    small = np.atleast_1d(expected < SMALL_CELL).ravel() & np.atleast_1d((m1 > 0) & (m0 > 0)).ravel()
    if small.any():
        from scipy.stats import fisher_exact

        for i in np.flatnonzero(small):
            a, b, c, d = (float(x[i]) for x in flat)
            p.flat[i] = fisher_exact([[round(a), round(b)], [round(c), round(d)]])[1]
    answer = np.where((m1 > 0) & (m0 > 0), p.reshape(c1.shape), np.nan)[()]
    return answer if answer.ndim else float(answer)


def _two_groups(cases1: npt.ArrayLike, n1: npt.ArrayLike, cases0: npt.ArrayLike, n0: npt.ArrayLike) -> list[Floats]:
    c1, m1, c0, m0 = as_counts(cases1, n1, cases0, n0)
    if np.any(c1 > m1) or np.any(c0 > m0):
        raise ValueError("there cannot be more cases than units looked at")
    return [c1, m1, c0, m0]
