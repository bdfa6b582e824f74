"""Funnel limits: where a farm lies by luck, given how many cows were looked at and how unlike farms are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.intervals import as_counts

Array = npt.NDArray[np.float64]

LEVELS = (0.95, 0.998)  # about 2 and 3 standard errors [pub: Spiegelhalter 2005, Stat Med 24:1185]
TRIM = 0.1  # share of farms at either end whose z-score is pulled in [pub: Spiegelhalter 2005, same]

_NODES = np.linspace(-5.0, 5.0, 41)
_WEIGHTS = np.exp(-0.5 * _NODES**2) / np.exp(-0.5 * _NODES**2).sum()
_PARTS = (np.arange(4) + 0.5) / 4
_ROUNDS = 60
_CLOSE = 1e-3
_MOST = 3.0
_HALVINGS = 20


@dataclass(frozen=True)
class Funnel:
    """Farms against the limits of luck.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a farm: ``cases``, ``n``, ``observed``, then for each level ``low_95``, ``high_95``, ``low_99.8``,
        ``high_99.8``, and ``outside`` (the highest level whose limits it lies outside, 0 for none).
    centre : float
        The rate of the middle farm.
    between : float
        Standard deviation of farms on the logit scale; 0 where luck explains all their difference.
    """

    table: pd.DataFrame
    centre: float
    between: float


def funnel_limits(n: npt.ArrayLike, centre: float, level: float = 0.95, *, between: float = 0.0) -> tuple[Array, Array]:
    """Limits of an observed proportion of *n* units of a farm whose log odds are normal about those of the centre.

    Quantiles of the binomial mixed over farms, between whole counts continued by the incomplete beta function, so that
    the funnel has no steps. A count is outside exactly when it, or one further off, has a chance below half of what
    the level leaves.

    Parameters
    ----------
    n : array_like
        Units looked at.
    centre : float
        Proportion of the middle farm.
    level : float, default 0.95
        Share of farms between the limits.
    between : float, default 0
        Standard deviation of farms on the logit scale.

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
    Spiegelhalter DJ (2005). Funnel plots for comparing institutional performance. Stat Med 24:1185-1202, section 5
    (additive random effects).

    Examples
    --------
    >>> low, high = funnel_limits([20, 200], 0.2)
    >>> [round(float(x), 2) for x in (*low, *high)]
    [0.02, 0.14, 0.41, 0.26]
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    total = np.atleast_1d(np.asarray(n, dtype=float))
    if not len(total) or not 0 < centre < 1:
        edge = np.where(total > 0, centre, np.nan)
        return edge, edge
    units = np.where(total > 0, total, 1.0)
    share = _shares(float(special.logit(centre)), between)
    tail = (1 - level) / 2
    high = _furthest(units, share, tail) / units
    low = 1.0 - _furthest(units, 1.0 - share, tail) / units
    return np.where(total > 0, low, np.nan), np.where(total > 0, high, np.nan)


def funnel(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    *,
    levels: tuple[float, ...] = LEVELS,
    overdispersed: bool = True,
) -> Funnel:
    """Place farms against funnel limits.

    Centre and spread of farms are those with which the winsorised z-scores of the farms have mean 0 and the mean square
    that chance gives them. The z-scores are the normal ones of each count's place in its distribution under centre and
    spread, the jump of a count shared out evenly, so that they are right for small farms and rare cases too.

    Parameters
    ----------
    cases, n : array_like, shape (farms,)
        Affected and looked at.
    levels : tuple of float
        Which limits.
    overdispersed : bool, default True
        Whether farms may differ more than luck explains, as herds do.

    Returns
    -------
    Funnel

    Raises
    ------
    ValueError
        If counts are impossible.

    References
    ----------
    Spiegelhalter DJ (2005). Stat Med 24:1185-1202, section 5 (winsorised z-scores, additive random effects).
    Czado C, Gneiting T, Held L (2009) Biometrics 65:1254-1261 (the place of a count, not randomised).

    Examples
    --------
    >>> found = funnel([4, 22, 9, 39], [40, 100, 60, 90], overdispersed=False)
    >>> [float(x) for x in found.table.outside]
    [0.0, 0.0, 0.0, 0.998]
    """
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    seen = total > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        observed = c / total
    table = pd.DataFrame({"cases": c, "n": total, "observed": observed})
    middle, between = _spread_of_farms(c[seen], total[seen], overdispersed)
    outside = np.zeros(len(c))
    for level in sorted(levels):
        low, high = funnel_limits(total, middle, level, between=between)
        name = f"{100 * level:g}"
        table[f"low_{name}"], table[f"high_{name}"] = low, high
        outside = np.where((observed < low) | (observed > high), level, outside)
    table["outside"] = outside
    return Funnel(table, middle, between)


def _spread_of_farms(c: Array, n: Array, overdispersed: bool) -> tuple[float, float]:
    """Rate of the middle farm, and standard deviation of farms on the logit scale."""
    if not len(c) or not 0 < c.sum() < n.sum():
        return (float(c.sum() / n.sum()) if len(c) else float("nan")), 0.0
    centre, between, farms = float(special.logit(c.sum() / n.sum())), 0.0, len(c)
    usual = _pulled_in_square() * (farms - 1) / farms
    # Each step moves centre and spread by what the z-scores are off, in standard deviations of a farm's log odds.
    for _ in range(_ROUNDS):
        p = float(special.expit(centre))
        total = between**2 + float(np.median(1 / (n * p * (1 - p))))
        z = _pulled_in(_z_scores(c, n, centre, between))
        up = float(z.mean()) * np.sqrt(total)
        new = 0.0
        if overdispersed and farms > 1:
            wider = total * (float(((z - z.mean()) ** 2).mean()) / usual - 1.0)
            new = float(np.sqrt(np.clip(between**2 + wider, 0.0, _MOST**2)))
        settled = abs(up) < _CLOSE and abs(new - between) < _CLOSE
        centre, between = centre + up, new
        if settled:
            break
    return float(special.expit(centre)), between


def _z_scores(c: Array, n: Array, centre: float, between: float) -> Array:
    share = _shares(centre, between)
    below = 1.0 - _at_least(c, n, share)
    upto = 1.0 - np.where(c < n, _at_least(c + 1.0, n, share), 0.0)
    place = below[:, None] + (upto - below)[:, None] * _PARTS
    return np.asarray(special.ndtri(np.clip(place, 1e-12, 1 - 1e-12)))


def _shares(centre: float, between: float) -> Array:
    return np.asarray(special.expit(centre + between * _NODES))


def _at_least(c: Array, n: Array, share: Array) -> Array:
    """Chance of *c* cases or more of *n*, over farms."""
    count = np.clip(c, 1e-9, n)[:, None]
    return np.where(c > 0, special.betainc(count, n[:, None] - count + 1.0, share) @ _WEIGHTS, 1.0)


def _furthest(n: Array, share: Array, tail: float) -> Array:
    """The greatest count, of whole ones and those between, that has a chance of *tail* or more, by halving."""
    low, high = np.zeros(len(n)), n.copy()
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        likely = _at_least(middle, n, share) >= tail
        low, high = np.where(likely, middle, low), np.where(likely, high, middle)
    return high


def _pulled_in(z: Array) -> Array:
    return np.clip(z, *np.quantile(z, [TRIM, 1 - TRIM]))


def _pulled_in_square() -> float:
    """Mean square of a standard normal value pulled in to its own TRIM quantiles, about 0.68."""
    t = -float(special.ndtri(TRIM))
    height = float(np.exp(-0.5 * t * t) / np.sqrt(2 * np.pi))
    return 1 - 2 * TRIM - 2 * t * height + 2 * TRIM * t * t
