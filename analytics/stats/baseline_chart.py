"""Control chart of a monthly proportion whose limits rest on the level of a baseline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.intervals import as_counts
from evenfoot.analytics.stats.month_model import MonthModel, month_model, season_columns

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.intp]

LEAST_BASELINE = 6  # months; fewer give limits that say nothing [common practice, no source]

SEASON_SD = 0.35
"""Prior standard deviation of the cosine and of the sine of a yearly wave: waves of which the odds at the top are
twice those at the bottom are usual. [common practice, no source]"""

SHIFT_SD = 1.0
"""Prior standard deviation, on the logit scale, of how far a later year may lie from the baseline before it is looked
at: a year with 2.7 times the odds is nothing out of the way. [common practice, no source]"""

YEAR = 12

TAIL = 0.002
"""Chance of a month beyond either limit, so that at most about one herd in ten gives a signal in two years on which
nothing changes: measured, ``python -m tests.scale.worlds_warn``."""

_NODES = np.linspace(-4.5, 4.5, 31)
"""Where the log odds of a month are integrated over, in standard deviations."""


@dataclass(frozen=True)
class BaselineChart:
    """A chart with limits from its baseline.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a point, in order: ``cases``, ``n``, ``value``, ``centre`` (the usual share for its time of the year),
        ``low``, ``high`` (0 to 1; the outermost shares that are no signal; nan where n is 0), ``baseline`` (boolean)
        and ``outside``: 1 above, -1 below, 0 within the limits or in the baseline.
    points : int
        Baseline points with n > 0.
    reason : str
        Why there are no limits; "" when there are.
    """

    table: pd.DataFrame
    points: int
    reason: str = ""


def baseline_chart(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    baseline: npt.ArrayLike,
    month: npt.ArrayLike,
    *,
    since: float = -math.inf,
) -> BaselineChart:
    """Hold each point against what the baseline leads to expect of a point at that time of the year.

    `month_model` has a level, a yearly wave drawn towards none, and months that wander about both, several together
    in one direction. For the first year after the baseline it is fitted to the baseline. For every year after that the
    years between tell of the wave and the wander too, but each has a level of its own, so that the level held against
    stays that of the baseline and a limit once drawn never moves.

    A point is outside when its count, or one further off, has a chance below 0.002 under that model, all that is not
    known of the model taken in. There is no other rule: runs and moving averages answer to autocorrelation and season,
    and gave 21 to 48 signals in 100 herds on which nothing changed.

    Parameters
    ----------
    cases, n : array_like, shape (points,)
        Affected and looked at, in order of time.
    baseline : array_like of bool, shape (points,)
        Points the limits rest on.
    month : array_like, shape (points,)
        When, in months; a year is 12.
    since : float, optional
        Limits are worked out from this month on only.

    Returns
    -------
    BaselineChart

    Raises
    ------
    ValueError
        If counts are impossible.

    References
    ----------
    Gelman A et al. (2013) Bayesian Data Analysis, 3rd ed., section 6.3 (predictive checks). `month_model`.

    Examples
    --------
    >>> months = range(13)
    >>> chart = baseline_chart([20] * 12 + [60], [100] * 13, [True] * 12 + [False], months)
    >>> print(f"{chart.table.centre.iloc[0]:.2f} {chart.table.outside.iloc[-1]}")
    0.20 1
    """
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    at = np.broadcast_to(np.asarray(month, dtype=float), c.shape)
    inside = np.broadcast_to(np.asarray(baseline, dtype=bool), c.shape)
    there = total > 0
    seen = inside & there
    with np.errstate(divide="ignore", invalid="ignore"):
        value = c / total
    centre, low, high = (np.full(len(c), np.nan) for _ in range(3))
    columns = {"cases": c, "n": total, "value": value, "centre": centre, "low": low, "high": high, "baseline": inside}
    points = int(seen.sum())
    reason = _too_little(points, float(c[seen].sum()), float(total[seen].sum()))
    if reason:
        return BaselineChart(pd.DataFrame(columns).assign(outside=0), points, reason)
    # 0 up to the end of the first year after the baseline, then one more every year.
    later = np.maximum(np.floor((at - at[seen].max() - 1) / YEAR), 0).astype(int)
    for year in np.unique(later[at >= since]):
        held = (later == year) & (at >= since)
        known = seen | (there & ~inside & (at > at[seen].max()) & (later < year))
        usual, centre[held], density = _expected(_model(c, total, at, known, inside, later), at[held])
        looked = there[held]
        where = np.flatnonzero(held)[looked]
        low[where], high[where] = _limits(total[where], usual[looked], density[looked])
    judged = there & ~inside
    outside = np.where(judged & (value > high), 1, np.where(judged & (value < low), -1, 0))
    return BaselineChart(pd.DataFrame({**columns, "outside": outside}), points)


def _too_little(points: int, cases: float, units: float) -> str:
    if points < LEAST_BASELINE:
        return say(
            "Limits need a baseline of at least {LEAST_BASELINE} months with records; there are {points}.",
            LEAST_BASELINE=LEAST_BASELINE,
            points=points,
        )
    if not 0 < cases < units:
        return say(
            "Nobody, or everybody, was a case in the baseline, so there is no usual spread to hold months against."
        )
    return ""


def _model(c: Array, total: Array, at: Array, known: Mask, inside: Mask, later: Whole) -> MonthModel:
    """The model of the months *known*; every year of them after the baseline has a level of its own."""
    years = np.unique(later[known & ~inside])
    shifts = ((later[:, None] == years) & ~inside[:, None])[known].astype(float)
    columns = np.column_stack([season_columns(at[known]), shifts])
    return month_model(columns, c[known], total[known], at[known], [SEASON_SD, SEASON_SD, *[SHIFT_SD] * len(years)])


def _expected(model: MonthModel, at: Array) -> tuple[Array, Array, Array]:
    """Shares a point at the level of the baseline may have (points, nodes), the middle one, and their weights."""
    x = season_columns(at)
    k = x.shape[1]
    mean = x @ model.mean[:, :k].T
    spread = np.sqrt(np.einsum("tk,gkl,tl->tg", x, model.covariance[:, :k, :k], x) + model.wander**2)
    middle = mean @ model.weight
    logit = middle[:, None] + 1.2 * spread.max(axis=1)[:, None] * _NODES
    off = (logit[:, :, None] - mean[:, None, :]) / spread[:, None, :]
    density = (np.exp(-0.5 * off**2) / spread[:, None, :]) @ model.weight
    return special.expit(logit), special.expit(middle), density / density.sum(axis=1, keepdims=True)


def _limits(n: Array, usual: Array, density: Array) -> tuple[Array, Array]:
    """The outermost shares whose count, or one further off, still has the chance of the tail."""

    def furthest(share: Array) -> Array:
        """The greatest count c with P(X >= c) of at least the tail, by halving."""
        low, high = np.zeros(len(n)), n + 1.0
        while float((high - low).max()) > 1:
            middle = np.floor((low + high) / 2)
            count = np.maximum(middle, 1.0)[:, None]
            reached = (special.betainc(count, n[:, None] - count + 1.0, share) * density).sum(axis=1)
            likely = (middle < 1) | (reached >= TAIL)
            low, high = np.where(likely, middle, low), np.where(likely, high, middle)
        return low

    return 1.0 - furthest(1.0 - usual) / n, furthest(usual) / n
