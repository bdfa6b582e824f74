"""Straight-line change of a proportion over time, units in clusters and months that wander together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.design import Design, build_design
from analytics.methods.intervals import LEVEL, normal_quantile
from analytics.methods.models import _scores, _solve
from analytics.words import say

Array = npt.NDArray[np.float64]

LEAST_TIMES = 4  # points in time; fewer draw a line through almost anything [common practice, no source]
_SEPARATED = 12.0


@dataclass(frozen=True)
class LogisticSlope:
    """A slope on the logit scale.

    Attributes
    ----------
    odds_ratio, low, high, p_value : float
        Odds at a time over odds one unit of time before, its limits, and the p-value of no slope.
    start, start_low, start_high, end, end_low, end_high : float
        Fitted share at the first and last time, other columns as they are in the whole (0 to 1).
    errors : str
        What the standard error rests on: ``"clusters"``, or ``"times"`` where the points in time wander
        more around the line than their clusters explain.
    dispersion : float
        Pearson chi-square of the points in time over its degrees of freedom, not below 1.
    clusters, times : int
        How many.
    converged : bool
        False when there is no answer to give.
    reason : str
        Why not; "" when converged.
    """

    odds_ratio: float
    low: float
    high: float
    p_value: float
    start: float
    start_low: float
    start_high: float
    end: float
    end_low: float
    end_high: float
    errors: str
    dispersion: float
    clusters: int
    times: int
    converged: bool
    reason: str = ""


def logistic_slope(
    frame: pd.DataFrame,
    cases: str,
    n: str,
    time: str,
    clusters: str,
    *,
    columns: Sequence[str] = (),
    level: float = LEVEL,
) -> LogisticSlope:
    """Fit ``logit p = a + b time + columns`` with exchangeable clusters (GEE) and two sorts of error.

    The cluster-robust standard error allows for the likeness of units of one cluster. It knows nothing of
    what all clusters share at one time (weather, feed, a strict scorer), so the binomial standard error times
    the root of the dispersion of the points in time is worked out too, and the larger is used.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a cluster and time (or more).
    cases, n, time, clusters : str
        Columns of affected, looked at, the time (a number) and the cluster.
    columns : sequence of str
        Columns held alike. Text is a factor, numbers are numbers.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    LogisticSlope
        ``converged`` False with a ``reason`` where there is too little.

    Raises
    ------
    ValueError
        If a column is missing, counts are impossible, or *level* is not between 0 and 1.

    References
    ----------
    Liang KY, Zeger SL (1986). Biometrika 73:13-22.
    McCullagh P, Nelder JA (1989). Generalized Linear Models, 2nd ed., section 4.5 (over-dispersion).

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": list("abcdef") * 6, "year": np.repeat(range(6), 6),
    ...                       "lame": [10 + y for y in range(6) for _ in range(6)], "cows": 50})
    >>> found = logistic_slope(frame, "lame", "cows", "year", "herd")
    >>> print(f"{found.odds_ratio:.3f} a year, {found.start:.2f} to {found.end:.2f}")
    1.113 a year, 0.20 to 0.30
    """
    normal_quantile(level)
    design = build_design(frame, cases, [time, *columns], clusters, n=n)
    k, width = len(design.cluster_names), design.x.shape[1]
    times = int(design.patterns[time].nunique())
    reason = _too_little(design, k, width, times)
    if reason:
        return _no_answer(k, times, reason)
    beta, alpha, bread, settled = _solve(design)
    if not settled or bool((np.abs(beta[1:]) > _SEPARATED).any()):
        return _no_answer(k, times, say("The fit did not settle: a time or a group has no case, or only cases."))
    scores = _scores(design, beta, alpha)
    covariance, df = bread @ (scores.T @ scores) @ bread * k / (k - width), float(k - width)
    dispersion, cells, model = _dispersion(design, time, columns, beta)
    errors = "clusters"
    if model[1, 1] * dispersion > covariance[1, 1]:
        covariance, df, errors = model * dispersion, float(max(cells - width, 1)), "times"
    t = float(special.stdtrit(df, 0.5 + level / 2.0))
    se = float(np.sqrt(covariance[1, 1]))
    ends = [_share(design, beta, covariance, at, t) for at in (design.x[:, 1].min(), design.x[:, 1].max())]
    return LogisticSlope(
        odds_ratio=float(np.exp(beta[1])),
        low=float(np.exp(beta[1] - t * se)),
        high=float(np.exp(beta[1] + t * se)),
        p_value=float(2 * special.stdtr(df, -abs(beta[1] / se))) if se > 0 else float("nan"),
        start=ends[0][0],
        start_low=ends[0][1],
        start_high=ends[0][2],
        end=ends[1][0],
        end_low=ends[1][1],
        end_high=ends[1][2],
        errors=errors,
        dispersion=dispersion,
        clusters=k,
        times=times,
        converged=True,
    )


def _too_little(design: Design, k: int, width: int, times: int) -> str:
    if times < LEAST_TIMES:
        return say(
            "A trend needs at least {LEAST_TIMES} points in time; there are {times}.",
            LEAST_TIMES=LEAST_TIMES,
            times=times,
        )
    if not 0 < design.cases.sum() < design.n.sum():
        return say("No unit, or every unit, is a case.")
    if k <= width:
        return say("{k} clusters are not enough to fit a trend and hold {value} factors alike.", k=k, value=width - 2)
    if np.linalg.matrix_rank(design.x) < width:
        return say("Two of the factors always go together, so they cannot be told apart.")
    return ""


def _dispersion(design: Design, time: str, columns: Sequence[str], beta: Array) -> tuple[float, int, Array]:
    """Dispersion of the cells of one time and one set of columns, how many, and the binomial covariance."""
    mu = special.expit(design.x @ beta)
    weight = design.n * mu * (1 - mu)
    model = np.linalg.pinv((design.x * weight[:, None]).T @ design.x)
    cell = design.patterns.groupby([time, *columns], observed=True).ngroup().to_numpy()
    gap, spread = np.bincount(cell, design.cases - design.n * mu), np.bincount(cell, weight)
    df = len(gap) - design.x.shape[1]
    if df < 1:
        return 1.0, len(gap), np.asarray(model)
    return max(1.0, float((gap**2 / spread).sum()) / df), len(gap), np.asarray(model)


def _share(design: Design, beta: Array, covariance: Array, at: float, t: float) -> tuple[float, float, float]:
    x = design.x.copy()
    x[:, 1] = at
    weights = design.n / design.n.sum()
    mu = special.expit(x @ beta)
    share = float(weights @ mu)
    slope = (weights * mu * (1 - mu)) @ x
    half = t * float(np.sqrt(max(slope @ covariance @ slope, 0.0))) / (share * (1 - share))
    centre = special.logit(share)
    return share, float(special.expit(centre - half)), float(special.expit(centre + half))


def _no_answer(k: int, times: int, reason: str) -> LogisticSlope:
    nan = float("nan")
    return LogisticSlope(*(nan,) * 10, "", nan, k, times, converged=False, reason=reason)
