"""Confidence limits for proportions, their differences, and rates, on arrays of counts."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special

LEVEL = 0.95  # two-sided confidence [common practice, no source]

Floats = npt.NDArray[np.float64]


def normal_quantile(level: float) -> float:
    """Two-sided standard normal quantile, z such that P(-z < Z < z) = level.

    Raises
    ------
    ValueError
        If *level* is not strictly between 0 and 1.

    Examples
    --------
    >>> round(normal_quantile(0.95), 4)
    1.96
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    return float(special.ndtri(0.5 + level / 2.0))


def as_counts(*values: npt.ArrayLike) -> list[Floats]:
    """Broadcast counts against each other as floats and refuse negative ones.

    Raises
    ------
    ValueError
        If any count is negative.
    """
    arrays = [np.asarray(a, dtype=np.float64) for a in np.broadcast_arrays(*values)]
    if any(np.any(a < 0) for a in arrays):
        raise ValueError("counts cannot be negative")
    return arrays


def wilson(cases: npt.ArrayLike, n: npt.ArrayLike, level: float = LEVEL) -> tuple[Any, Any]:
    """Wilson score interval for a proportion of independent units.

    The limits solve ``|cases/n - p| = z * sqrt(p * (1 - p) / n)`` for p.

    Parameters
    ----------
    cases, n : array_like
        Units affected and units looked at; they broadcast. Fractions are legal (effective counts).
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    low, high : float or ndarray
        Limits as proportions (0 to 1), in the broadcast shape. Both are nan where n is 0.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Wilson EB (1927). J Am Stat Assoc 22:209-212.
    Newcombe RG (1998). Two-sided confidence intervals for the single proportion. Stat Med 17:857-872.

    Examples
    --------
    >>> low, high = wilson(15, 148)
    >>> print(f"{low:.4f} {high:.4f}")
    0.0624 0.1605
    """
    c, total = _cases_of(cases, n)
    z2 = normal_quantile(level) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        p = c / total
        centre = (c + z2 / 2.0) / (total + z2)
        half = np.sqrt(z2) * np.sqrt(total * p * (1.0 - p) + z2 / 4.0) / (total + z2)
    # Exact at the ends, so that rounding never shows "-0.0" or a limit that misses its own estimate.
    low = np.where(c == 0, 0.0, np.maximum(centre - half, 0.0))
    high = np.where(c == total, 1.0, np.minimum(centre + half, 1.0))
    return _blank(low, total > 0), _blank(high, total > 0)


def clopper_pearson(cases: npt.ArrayLike, n: npt.ArrayLike, level: float = LEVEL) -> tuple[Any, Any]:
    """Exact (Clopper-Pearson) interval for a proportion of independent units.

    ``low`` is the alpha/2 quantile of Beta(cases, n - cases + 1), ``high`` the 1 - alpha/2 quantile of
    Beta(cases + 1, n - cases). It covers at least *level*, often more.

    Parameters
    ----------
    cases, n : array_like
        Units affected and units looked at; they broadcast. Fractions are legal (effective counts).
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    low, high : float or ndarray
        Limits as proportions (0 to 1). Both are nan where n is 0; low is 0 for no cases, high is 1 for all.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Clopper CJ, Pearson ES (1934). Biometrika 26:404-413.

    Examples
    --------
    >>> low, high = clopper_pearson(81, 263)
    >>> print(f"{low:.4f} {high:.4f}")
    0.2527 0.3676
    """
    c, total = _cases_of(cases, n)
    normal_quantile(level)
    tail = (1.0 - level) / 2.0
    with np.errstate(divide="ignore", invalid="ignore"):
        low = np.where(c == 0, 0.0, special.betaincinv(np.maximum(c, 1e-300), total - c + 1.0, tail))
        rest = np.where(c >= total, 1.0, total - c)
        high = np.where(c == total, 1.0, special.betaincinv(c + 1.0, rest, 1.0 - tail))
    return _blank(low, total > 0), _blank(high, total > 0)


def difference(
    cases1: npt.ArrayLike, n1: npt.ArrayLike, cases2: npt.ArrayLike, n2: npt.ArrayLike, level: float = LEVEL
) -> tuple[Any, Any, Any]:
    """Difference of two independent proportions with Newcombe's hybrid score interval.

    With Wilson limits l1, u1 and l2, u2: ``low = d - sqrt((p1 - l1)^2 + (u2 - p2)^2)`` and
    ``high = d + sqrt((u1 - p1)^2 + (p2 - l2)^2)``, where d = p1 - p2.

    Parameters
    ----------
    cases1, n1, cases2, n2 : array_like
        Affected and looked at in the two groups; they broadcast.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    diff, low, high : float or ndarray
        First proportion minus second, and its limits, as proportions (-1 to 1). nan where either n is 0.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Newcombe RG (1998). Interval estimation for the difference between independent proportions.
    Stat Med 17:873-890, method 10.

    Examples
    --------
    >>> diff, low, high = difference(56, 70, 48, 80)
    >>> print(f"{diff:.4f} {low:.4f} {high:.4f}")
    0.2000 0.0524 0.3339
    """
    c1, m1, c2, m2 = as_counts(cases1, n1, cases2, n2)
    low1, high1 = wilson(c1, m1, level)
    low2, high2 = wilson(c2, m2, level)
    with np.errstate(divide="ignore", invalid="ignore"):
        p1, p2 = c1 / m1, c2 / m2
    diff = p1 - p2
    low = diff - np.sqrt((p1 - low1) ** 2 + (high2 - p2) ** 2)
    high = diff + np.sqrt((high1 - p1) ** 2 + (p2 - low2) ** 2)
    return diff[()], low[()], high[()]


def rate_ratio(
    events1: npt.ArrayLike,
    exposure1: npt.ArrayLike,
    events0: npt.ArrayLike,
    exposure0: npt.ArrayLike,
    level: float = LEVEL,
) -> tuple[Any, Any, Any]:
    """Ratio of two rates with exact conditional limits.

    Given the total number of events, those of group 1 are binomial; the Clopper-Pearson limits of that share,
    s, turn into limits of the ratio by ``s / (1 - s) * exposure0 / exposure1``.

    Parameters
    ----------
    events1, exposure1 : array_like
        Events and time at risk in the group of interest.
    events0, exposure0 : array_like
        Events and time at risk in the reference group, in the same unit of time.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    ratio, low, high : float or ndarray
        The rate of group 1 over that of group 0. With no reference events the ratio and high are inf; with no
        events at all the ratio is nan and the limits are 0 and inf. nan where an exposure is 0.

    Raises
    ------
    ValueError
        If a count or exposure is negative, or *level* is not between 0 and 1.

    References
    ----------
    Rothman KJ, Boice JD (1979). Epidemiologic Analysis with a Programmable Calculator, NIH 79-1649.
    R documentation, stats::poisson.test.

    Examples
    --------
    >>> ratio, low, high = rate_ratio(11, 800, 21, 3011)
    >>> print(f"{ratio:.4f} {low:.4f} {high:.4f}")
    1.9715 0.8584 4.2773
    """
    e1, t1, e0, t0 = as_counts(events1, exposure1, events0, exposure0)
    low_share, high_share = (np.asarray(x) for x in clopper_pearson(e1, e1 + e0, level))
    nothing = (e1 + e0) == 0
    low_share = np.where(nothing, 0.0, low_share)
    high_share = np.where(nothing, 1.0, high_share)
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = t0 / t1
        ratio = e1 / e0 * scale
        low = low_share / (1.0 - low_share) * scale
        high = high_share / (1.0 - high_share) * scale
    known = (t1 > 0) & (t0 > 0)
    return _blank(ratio, known), _blank(low, known), _blank(high, known)


def _cases_of(cases: npt.ArrayLike, n: npt.ArrayLike) -> list[Floats]:
    c, total = as_counts(cases, n)
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    return [c, total]


def _blank(values: Floats, known: npt.NDArray[np.bool_]) -> Any:
    return np.where(known, values, np.nan)[()]
