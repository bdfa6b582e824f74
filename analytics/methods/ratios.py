"""Two groups compared: risk ratio, odds ratio and the test of no difference, on arrays of counts."""

from __future__ import annotations

import functools
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.methods.intervals import LEVEL, Floats, as_counts, normal_quantile

SMALL_CELL = 5  # below this the normal approximation is not used [common practice, no source: Cochran's rule]
_WIDEST = 60.0  # log ratio beyond which a limit is called 0 or inf; e**60 is past any count of cows
KNOWN = 4096  # exact limits kept: they take milliseconds each, and the same few counts come again and again
_HALVINGS = 80  # bisection steps; 120 / 2**80 is below floating point


def risk_ratio(
    cases1: npt.ArrayLike,
    n1: npt.ArrayLike,
    cases0: npt.ArrayLike,
    n0: npt.ArrayLike,
    level: float = LEVEL,
    method: Literal["score", "log"] = "score",
) -> tuple[Any, Any, Any]:
    """Risk ratio of two independent groups with its limits.

    ``score`` (Koopman) inverts the test of p1 = ratio * p0 with both proportions re-estimated under it, and
    is defined with zero cells. ``log`` (Katz) is ``exp(log rr -/+ z * sqrt(1/c1 - 1/n1 + 1/c0 - 1/n0))`` and
    gives nan limits where either group has no case.

    Parameters
    ----------
    cases1, n1 : array_like
        Affected and looked at in the group of interest.
    cases0, n0 : array_like
        Affected and looked at in the reference group. All four broadcast.
    level : float, default 0.95
        Confidence level.
    method : {"score", "log"}
        How the limits are made.

    Returns
    -------
    rr, low, high : float or ndarray
        Risk in group 1 over risk in group 0 and its limits. No reference case: rr and high are inf. No case
        at all: rr is nan, limits 0 and inf. Empty group: nan.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Koopman PAR (1984). Confidence intervals for the ratio of two binomial proportions. Biometrics 40:513-517.
    Katz D et al. (1978). Biometrics 34:469-474.

    Examples
    --------
    >>> rr, low, high = risk_ratio(36, 40, 16, 80)
    >>> print(f"{rr:.2f} {low:.2f} {high:.2f}")
    4.50 2.94 7.15
    """
    c1, m1, c0, m0 = _two_groups(cases1, n1, cases0, n0)
    z = normal_quantile(level)
    known = (m1 > 0) & (m0 > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rr = (c1 / m1) / (c0 / m0)
        if method == "log":
            se = np.sqrt(1.0 / c1 - 1.0 / m1 + 1.0 / c0 - 1.0 / m0)
            low, high = rr * np.exp(-z * se), rr * np.exp(z * se)
            known_limits = known & (c1 > 0) & (c0 > 0)
        elif method == "score":
            low = np.where(c1 == 0, 0.0, _koopman(c1, m1, c0, m0, z))
            high = np.where(c0 == 0, np.inf, _koopman(c1, m1, c0, m0, -z))
            known_limits = known
        else:
            raise ValueError(f'method must be "score" or "log", got {method!r}')
    return (
        np.where(known, rr, np.nan)[()],
        np.where(known_limits, low, np.nan)[()],
        np.where(known_limits, high, np.nan)[()],
    )


def odds_ratio(
    cases1: npt.ArrayLike, n1: npt.ArrayLike, cases0: npt.ArrayLike, n0: npt.ArrayLike, level: float = LEVEL
) -> tuple[Any, Any, Any]:
    """Odds ratio of two independent groups with its limits.

    Woolf's ``exp(log or -/+ z * sqrt(1/a + 1/b + 1/c + 1/d))`` where every cell is 5 or more; otherwise the
    conditional (Fisher) estimate with its exact limits.

    Parameters
    ----------
    cases1, n1 : array_like
        Affected and looked at in the group of interest.
    cases0, n0 : array_like
        Affected and looked at in the reference group. All four broadcast.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    ratio, low, high : float or ndarray
        Odds in group 1 over odds in group 0 and its limits; 0 and inf are legal values. nan where a group is
        empty; nan with limits 0 and inf where no unit, or every unit, is a case.

    Raises
    ------
    ValueError
        If a count is negative or not whole, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Woolf B (1955). Ann Hum Genet 19:251-253.
    scipy.stats.contingency.odds_ratio, kind "conditional"; R documentation, stats::fisher.test.

    Examples
    --------
    >>> ratio, low, high = odds_ratio(45, 90, 30, 90)
    >>> print(f"{ratio:.2f} {low:.2f} {high:.2f}")
    2.00 1.10 3.65
    """
    c1, m1, c0, m0 = _two_groups(cases1, n1, cases0, n0)
    z = normal_quantile(level)
    a, b, c, d = c1, m1 - c1, c0, m0 - c0
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.atleast_1d(a * d / (b * c))
        se = np.sqrt(1.0 / a + 1.0 / b + 1.0 / c + 1.0 / d)
        low, high = np.atleast_1d(ratio * np.exp(-z * se)), np.atleast_1d(ratio * np.exp(z * se))
    cells = np.stack([np.atleast_1d(x).ravel() for x in (a, b, c, d)])
    for i in np.flatnonzero(cells.min(axis=0) < SMALL_CELL):
        ratio.flat[i], low.flat[i], high.flat[i] = _conditional(*map(float, cells[:, i]), level)
    shape = a.shape
    return ratio.reshape(shape)[()], low.reshape(shape)[()], high.reshape(shape)[()]


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


def _koopman(c1: Floats, m1: Floats, c0: Floats, m0: Floats, target: float) -> Floats:
    """The ratio at which the signed score statistic, which falls as the ratio rises, equals *target*."""
    low, high = np.full(c1.shape, -_WIDEST), np.full(c1.shape, _WIDEST)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        above = _score(np.exp(middle), c1, m1, c0, m0) > target
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    end = (low + high) / 2.0
    ratio = np.where(end > _WIDEST - 1.0, np.inf, np.where(end < 1.0 - _WIDEST, 0.0, np.exp(end)))
    return np.where((c1 == 0) & (c0 == 0), np.where(target > 0, 0.0, np.inf), ratio)


def _score(ratio: Floats, c1: Floats, m1: Floats, c0: Floats, m0: Floats) -> Floats:
    a = (m1 + m0) * ratio
    b = m1 * ratio + c1 + m0 + c0 * ratio
    root = np.sqrt(np.maximum(b * b - 4.0 * a * (c1 + c0), 0.0))
    # This form of the smaller root keeps its digits when a is far from 1.
    p0 = 2.0 * (c1 + c0) / (b + root)
    p1 = np.minimum(ratio * p0, 1.0)
    variance = p1 * (1.0 - p1) / m1 + ratio**2 * p0 * (1.0 - p0) / m0
    gap = c1 / m1 - ratio * c0 / m0
    # No gap is no evidence, even where the variance is 0 too (every unit of both groups a case, ratio 1).
    settled = np.where(gap == 0, 0.0, np.copysign(np.inf, gap))
    return np.where(variance > 0, gap / np.sqrt(np.maximum(variance, 1e-300)), settled)


@functools.lru_cache(KNOWN)
def _conditional(*cells_and_level: float) -> tuple[float, float, float]:
    *cells, level = cells_and_level
    a, b, c, d = (round(x) for x in cells)
    if not np.allclose(cells, [a, b, c, d]):
        raise ValueError("exact limits need whole counts")
    if a + b == 0 or c + d == 0:
        return float("nan"), float("nan"), float("nan")
    if a + c == 0 or b + d == 0:
        return float("nan"), 0.0, float("inf")
    from scipy.stats import contingency

    result = contingency.odds_ratio(np.array([[a, b], [c, d]]), kind="conditional")
    limits = result.confidence_interval(confidence_level=level)
    return float(result.statistic), float(limits.low), float(limits.high)
