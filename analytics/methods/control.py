"""Control charts of a proportion over time: is this month unlike the months before?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.intervals import as_counts
from analytics.methods.run_rules import DRIFT, NEAR, OUTSIDE, RULES, SHIFT, run_rules

__all__ = [
    "DRIFT",
    "EWMA_WEIGHT",
    "LEAST_POINTS",
    "NEAR",
    "OUTSIDE",
    "RULES",
    "SHIFT",
    "SIGMAS",
    "ControlChart",
    "ewma",
    "ewma_chart",
    "ewma_limits",
    "false_alarms",
    "p_chart",
    "run_rules",
]

Array = npt.NDArray[np.float64]

SIGMAS = 3.0  # width of the limits [pub: NIST/SEMATECH e-Handbook 6.3.1]
EWMA_WEIGHT = 0.2  # weight of the newest point, usually 0.2 to 0.3 [pub: NIST/SEMATECH e-Handbook 6.3.2.4]
LEAST_POINTS = 12  # fewer give limits too loose to judge by [common practice, no source]
MOVING_RANGE = 1.128  # mean range of two standard normal values [pub: NIST/SEMATECH e-Handbook 6.3.2.2]


@dataclass(frozen=True)
class ControlChart:
    """A chart of proportions with limits.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a point in the order given: ``cases``, ``n``, ``value`` (proportion, or its moving average),
        ``centre``, ``low``, ``high`` (limits, 0 to 1), ``signal`` (the rules broken at that point joined by
        "; ", "" when none). nan where n is 0.
    centre : float
        Centre line.
    spread : float
        How much more the points vary than independent cows would (1 = as independent cows).
    points : int
        Points with n > 0 the centre rests on.
    """

    table: pd.DataFrame
    centre: float
    spread: float
    points: int

    @property
    def signals(self) -> pd.DataFrame:
        """The rows of ``table`` with a signal."""
        return self.table[self.table["signal"] != ""]


def p_chart(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    *,
    method: Literal["laney", "p", "exact"] = "laney",
    sigmas: float = SIGMAS,
    baseline: int | None = None,
    rules: tuple[str, ...] = (OUTSIDE, SHIFT),
) -> ControlChart:
    """Shewhart chart of a proportion.

    ``p``: limits ``c -/+ sigmas * sqrt(c (1 - c) / n)``, c = sum(cases)/sum(n). ``laney``: the same times the
    spread sz, the mean moving range of ``(p_i - c) / sqrt(c (1 - c) / n_i)`` over 1.128, because cows of one
    visit are alike and months differ more than independent cows would; never below 1. ``exact``: binomial
    quantiles with the tail area of *sigmas*, for few cows a month.

    Parameters
    ----------
    cases, n : array_like, shape (points,)
        Affected and looked at, in order of time. Points with n = 0 stay as gaps.
    method : {"laney", "p", "exact"}
        How the limits are made.
    sigmas : float, default 3
        Width of the limits in standard errors.
    baseline : int, optional
        Number of first points the centre and the spread rest on; all if not given.
    rules : tuple of str
        Which of `RULES` to look for. Every rule added raises the false alarms: see `false_alarms`.

    Returns
    -------
    ControlChart
        Limits are nan where nothing was looked at, and throughout when the points the centre rests on hold no
        case, or nothing but cases: there is nothing to judge the spread by.

    Raises
    ------
    ValueError
        If counts are impossible or an argument is unknown.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
    Laney DB (2002). Improved control charts for attributes. Qual Eng 14:531-537.

    Examples
    --------
    >>> chart = p_chart([4, 6, 5, 3, 7, 15], [50] * 6, method="p", baseline=5)
    >>> print(f"{chart.centre:.2f}", list(chart.signals.index), chart.table.signal[5])
    0.10 [5] outside the limits
    """
    c, total = _points(cases, n)
    first = slice(None, baseline)
    p, centre, points = _centre(c, total, first)
    sigma = _sigma(centre, total)
    spread = _spread(((p - centre) / sigma)[first]) if method == "laney" else 1.0
    if method == "exact":
        low, high = _binomial_limits(centre, total, 2.0 * float(special.ndtr(-sigmas)))
    elif method in ("p", "laney"):
        low = np.maximum(centre - sigmas * spread * sigma, 0.0)
        high = np.minimum(centre + sigmas * spread * sigma, 1.0)
    else:
        raise ValueError(f"there is no chart called {method!r}")
    return _chart(c, total, p, centre, low, high, spread, points, rules)


def ewma_chart(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    *,
    weight: float = EWMA_WEIGHT,
    sigmas: float = SIGMAS,
    baseline: int | None = None,
    overdispersed: bool = True,
) -> ControlChart:
    """Moving-average chart of a proportion: slower to jump, quicker to see a small lasting change.

    ``z_i = weight * p_i + (1 - weight) * z_(i-1)``, z_0 the centre; limits by `ewma_limits` with the standard
    error of each point, times the Laney spread if *overdispersed*. A month without cows carries z forward.

    Parameters
    ----------
    cases, n : array_like, shape (points,)
        Affected and looked at, in order of time.
    weight : float, default 0.2
        Weight of the newest point, above 0 and up to 1.
    sigmas : float, default 3
        Width of the limits.
    baseline : int, optional
        Number of first points the centre and the spread rest on; all if not given.
    overdispersed : bool, default True
        Widen the limits when months differ more than independent cows would.

    Returns
    -------
    ControlChart
        ``value`` is the moving average.

    Raises
    ------
    ValueError
        If counts are impossible or *weight* is not above 0 and at most 1.

    References
    ----------
    Roberts SW (1959). Technometrics 1:239-250. NIST/SEMATECH e-Handbook 6.3.2.4.

    Examples
    --------
    >>> chart = ewma_chart([5, 4, 6, 5, 9, 10, 9, 11], [50] * 8, baseline=4)
    >>> int(chart.signals.index[0])
    6
    """
    c, total = _points(cases, n)
    first = slice(None, baseline)
    p, centre, points = _centre(c, total, first)
    sigma = _sigma(centre, total)
    spread = _spread(((p - centre) / sigma)[first]) if overdispersed else 1.0
    value = ewma(p, centre, weight)
    low, high = ewma_limits(centre, sigma * spread, weight, sigmas)
    low, high = np.maximum(low, 0.0), np.minimum(high, 1.0)
    return _chart(c, total, value, centre, low, high, spread, points, (OUTSIDE,))


def ewma(values: npt.ArrayLike, start: float, weight: float = EWMA_WEIGHT) -> Array:
    """Exponentially weighted moving average, one value a point; a nan point carries the average forward.

    Raises
    ------
    ValueError
        If *weight* is not above 0 and at most 1.

    Examples
    --------
    >>> [round(float(z), 2) for z in ewma([52.0, 47.0, 53.0], 50.0, 0.3)]
    [50.6, 49.52, 50.56]
    """
    if not 0 < weight <= 1:
        raise ValueError("the weight must be above 0 and at most 1")
    average, answer = float(start), []
    for x in np.atleast_1d(np.asarray(values, dtype=float)):
        if not np.isnan(x):
            average = weight * float(x) + (1 - weight) * average
        answer.append(average)
    return np.asarray(answer)


def ewma_limits(
    centre: float, sigma: npt.ArrayLike, weight: float = EWMA_WEIGHT, sigmas: float = SIGMAS
) -> tuple[Array, Array]:
    """Exact limits of a moving average whose points may differ in precision.

    ``var z_i = weight^2 * sigma_i^2 + (1 - weight)^2 * var z_(i-1)``; with equal sigma this is the handbook's
    ``sigma^2 * weight / (2 - weight) * (1 - (1 - weight)^(2 i))``. A nan or infinite sigma adds no point; before the
    first finite one there are no limits (nan).

    Examples
    --------
    >>> low, high = ewma_limits(50, [2.0539] * 200, 0.3)
    >>> print(f"{low[-1]:.4f} {high[-1]:.4f}")
    47.4116 52.5884
    """
    variance, answer = float("nan"), []
    for s in np.atleast_1d(np.asarray(sigma, dtype=float)):
        if np.isfinite(s):
            before = 0.0 if np.isnan(variance) else variance
            variance = weight**2 * float(s) ** 2 + (1 - weight) ** 2 * before
        answer.append(variance)
    half = sigmas * np.sqrt(np.asarray(answer))
    return centre - half, centre + half


def false_alarms(
    p: float,
    n: npt.ArrayLike,
    *,
    chart: Literal["laney", "p", "exact", "ewma"] = "laney",
    rules: tuple[str, ...] = (OUTSIDE, SHIFT),
    icc: float = 0.0,
    repeats: int = 500,
    seed: int = 0,
) -> float:
    """Share of charts that signal at least once though nothing changed.

    Parameters
    ----------
    p : float
        True proportion throughout.
    n : array_like
        Cows looked at at each point.
    chart : str
        Which chart, as in `p_chart`, or "ewma".
    rules : tuple of str
        The rules in use (not for "ewma").
    icc : float, default 0
        Likeness of cows of one point: the point's own proportion is beta-distributed around *p*.
    repeats, seed : int
        Number of made-up charts, and the start of the random numbers.

    Returns
    -------
    float
        0 to 1.

    Examples
    --------
    >>> few = false_alarms(0.2, [60] * 24, rules=(OUTSIDE,), repeats=200)
    >>> many = false_alarms(0.2, [60] * 24, rules=RULES, repeats=200)
    >>> few < many
    True
    """
    rng = np.random.default_rng(seed)
    cows = np.atleast_1d(np.asarray(n, dtype=int))
    hits = 0
    for _ in range(repeats):
        risk = rng.beta(p * (1 - icc) / icc, (1 - p) * (1 - icc) / icc, len(cows)) if icc > 0 else p
        cases = rng.binomial(cows, risk)
        made = ewma_chart(cases, cows) if chart == "ewma" else p_chart(cases, cows, method=chart, rules=rules)
        hits += bool(len(made.signals))
    return hits / repeats


def _points(cases: npt.ArrayLike, n: npt.ArrayLike) -> tuple[Array, Array]:
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    return c, total


def _centre(c: Array, total: Array, first: slice) -> tuple[Array, float, int]:
    with np.errstate(divide="ignore", invalid="ignore"):
        p = c / total
    seen = float(total[first].sum())
    return p, float(c[first].sum()) / seen if seen > 0 else float("nan"), int((total[first] > 0).sum())


def _sigma(centre: float, total: Array) -> Array:
    """Binomial standard error of each point; nan where a baseline without cases (or non-cases) gives none."""
    if not 0 < centre < 1:
        return np.full(total.shape, np.nan)
    with np.errstate(divide="ignore"):
        return np.asarray(np.sqrt(centre * (1 - centre) / total))


def _spread(z: Array) -> float:
    z = z[np.isfinite(z)]
    if len(z) < 2:
        return 1.0
    return max(1.0, float(np.abs(np.diff(z)).mean()) / MOVING_RANGE)


def _binomial_limits(centre: float, total: Array, alpha: float) -> tuple[Array, Array]:
    """The outermost proportions still within the central 1 - alpha of the binomial."""
    from scipy.stats import binom

    total = np.where((total > 0) & (0 < centre < 1), total, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        low = binom.ppf(alpha / 2, total, centre) / total
        high = binom.ppf(1 - alpha / 2, total, centre) / total
    return np.asarray(low, dtype=float), np.asarray(high, dtype=float)


def _chart(
    c: Array,
    total: Array,
    value: Array,
    centre: float,
    low: Array,
    high: Array,
    spread: float,
    points: int,
    rules: tuple[str, ...],
) -> ControlChart:
    unknown = [r for r in rules if r not in RULES]
    if unknown:
        raise ValueError(f"there is no rule called {unknown[0]!r}")
    shown = np.where(total > 0, value, np.nan)
    broken = run_rules(shown, centre, low, high)
    signal = [
        "; ".join(r for r, hit in zip(rules, row, strict=True) if hit)
        for row in broken[list(rules)].itertuples(index=False, name=None)
    ]
    table = pd.DataFrame(
        {"cases": c, "n": total, "value": shown, "centre": centre, "low": low, "high": high, "signal": signal}
    )
    return ControlChart(table, centre, spread, points)
