"""Funnel limits: how far from the common rate a farm may lie by luck, given how many cows were looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.intervals import as_counts

LEVELS = (0.95, 0.998)  # about 2 and 3 standard errors [pub: Spiegelhalter 2005, Stat Med 24:1185]
TRIM = 0.1  # share of farms at either end whose z-score is pulled in [pub: Spiegelhalter 2005, same]


@dataclass(frozen=True)
class Funnel:
    """Farms against the limits of luck.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a farm: ``cases``, ``n``, ``observed``, ``z`` (standard errors from the centre), then for each
        level ``low_95``, ``high_95``, ``low_99.8``, ``high_99.8``, and ``outside`` (the highest level whose
        limits it lies outside, 0 for none).
    centre : float
        The common rate.
    dispersion : float
        Mean squared z-score after pulling in the outermost, over what luck alone makes of that; 1 or more.
        Limits are widened by its root when `funnel` was asked to.
    """

    table: pd.DataFrame
    centre: float
    dispersion: float


def funnel_limits(
    n: npt.ArrayLike, centre: float, level: float = 0.95, *, spread: float = 1.0
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Limits of an observed proportion of *n* units when the true one is *centre*.

    Exact binomial quantiles, interpolated so that the funnel has no steps; with *spread* above 1,
    ``centre -/+ spread * z * sqrt(centre (1 - centre) / n)``.

    Parameters
    ----------
    n : array_like
        Units looked at.
    centre : float
        True proportion.
    level : float, default 0.95
        Share of farms between the limits by luck alone.
    spread : float, default 1
        Widen for over-dispersion.

    Returns
    -------
    low, high : ndarray
        Limits, 0 to 1; nan where n is 0 or the centre is nan.

    Raises
    ------
    ValueError
        If *level* is not between 0 and 1.

    References
    ----------
    Spiegelhalter DJ (2005). Funnel plots for comparing institutional performance. Stat Med 24:1185-1202.

    Examples
    --------
    >>> low, high = funnel_limits([20, 200], 0.2)
    >>> [round(float(x), 3) for x in (*low, *high)]
    [0.012, 0.143, 0.366, 0.254]
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    total = np.atleast_1d(np.asarray(n, dtype=float))
    tail = (1 - level) / 2
    if spread > 1:
        with np.errstate(divide="ignore", invalid="ignore"):
            half = -special.ndtri(tail) * spread * np.sqrt(centre * (1 - centre) / total)
        known = total > 0
        return (
            np.where(known, np.maximum(centre - half, 0.0), np.nan),
            np.where(known, np.minimum(centre + half, 1.0), np.nan),
        )
    return _smooth_quantile(tail, total, centre), _smooth_quantile(1 - tail, total, centre)


def funnel(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    *,
    centre: float | None = None,
    levels: tuple[float, ...] = LEVELS,
    overdispersed: bool = True,
) -> Funnel:
    """Place farms against funnel limits.

    Parameters
    ----------
    cases, n : array_like, shape (farms,)
        Affected and looked at.
    centre : float, optional
        The rate to compare with; sum(cases)/sum(n) if not given.
    levels : tuple of float
        Which limits.
    overdispersed : bool, default True
        Widen the limits when farms differ more than luck explains, as herds do.

    Returns
    -------
    Funnel

    Raises
    ------
    ValueError
        If counts are impossible.

    References
    ----------
    Spiegelhalter DJ (2005). Stat Med 24:1185-1202, section 5 (winsorised over-dispersion).

    Examples
    --------
    >>> found = funnel([4, 22, 9, 35], [40, 100, 60, 90], overdispersed=False)
    >>> [float(x) for x in found.table.outside]
    [0.95, 0.0, 0.0, 0.998]
    """
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    seen = float(total.sum())
    middle = (float(c.sum()) / seen if seen else float("nan")) if centre is None else centre
    with np.errstate(divide="ignore", invalid="ignore"):
        observed = c / total
        z = (observed - middle) / np.sqrt(middle * (1 - middle) / total)
    known = z[np.isfinite(z)]
    dispersion = 1.0
    if len(known) > 1:
        ends = np.quantile(known, [TRIM, 1 - TRIM])
        dispersion = max(1.0, float((np.clip(known, *ends) ** 2).mean()) / _pulled_in_square())
    spread = float(np.sqrt(dispersion)) if overdispersed else 1.0
    table = pd.DataFrame({"cases": c, "n": total, "observed": observed, "z": z})
    outside = np.zeros(len(c))
    for level in sorted(levels):
        low, high = funnel_limits(total, middle, level, spread=spread)
        name = f"{100 * level:g}"
        table[f"low_{name}"], table[f"high_{name}"] = low, high
        outside = np.where((observed < low) | (observed > high), level, outside)
    table["outside"] = outside
    return Funnel(table, middle, dispersion)


def _pulled_in_square() -> float:
    """Mean square of a standard normal value pulled in to its own TRIM quantiles, about 0.68."""
    t = -float(special.ndtri(TRIM))
    height = float(np.exp(-0.5 * t * t) / np.sqrt(2 * np.pi))
    return 1 - 2 * TRIM - 2 * t * height + 2 * TRIM * t * t


def _smooth_quantile(p: float, total: npt.NDArray[np.float64], centre: float) -> npt.NDArray[np.float64]:
    if not len(total) or not 0 < centre < 1:
        return np.where(total > 0, centre, np.nan)
    from scipy.stats import binom

    whole = np.maximum(np.round(total), 1.0)
    r = binom.ppf(p, whole, centre)
    above, below = binom.cdf(r, whole, centre), binom.cdf(r - 1, whole, centre)
    limit = (r - (above - p) / (above - below)) / whole
    return np.where(total > 0, np.clip(limit, 0.0, 1.0), np.nan)
