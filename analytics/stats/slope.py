"""Straight-line change of a proportion over time: months that wander together, or many farms as clusters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.autoregression import autoregression, estimate_of, season_axes, wave
from evenfoot.analytics.stats.design import Design, build_design
from evenfoot.analytics.stats.exchangeable_gee import scores_by_cluster, solve
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

Array = npt.NDArray[np.float64]

LEAST_TIMES = 6  # points in time; fewer draw a line through almost anything [common practice, no source]
YEAR = 12.0
LEAN, SPREAD_SCALE = 0.5, 0.5
"""Priors of correlation and spread for a trend: the reference prior, and a narrower spread than for a change. A trend
rests on the whole series, and wider ones would find little. [chosen in simulation, tests/scale/worlds_change.py]"""
_SPARE_POINTS = 3  # points in time beyond the coefficients [common practice, no source]
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
        What the standard error rests on: ``"clusters"``, ``"times"`` where the points in time wander more around
        the line than their clusters explain, or ``"autoregressive"``.
    times : int
        Points in time.
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
    times: int
    converged: bool
    reason: str = ""


def monthly_slope(frame: pd.DataFrame, *, level: float = LEVEL, period: float = YEAR) -> LogisticSlope:
    """Fit ``logit p = a + b time + season + farm + u``, months wandering together.

    u is the autocorrelated spread of months of :func:`evenfoot.analytics.stats.autoregression.autoregression`; farms
    wander apart. The season is held alike as far as the months tell it, so that a series which begins in a good season
    and ends in a bad one does not pass for a trend; over less than a year the two cannot be told apart.

    Parameters
    ----------
    frame : pandas.DataFrame
        ``time`` (months), ``cases``, ``n``; perhaps ``farm``. One row a month and farm.
    level : float, default 0.95
        Confidence level.
    period : float, default 12
        Units of time in a year; the slope is a year's.

    Returns
    -------
    LogisticSlope
        ``converged`` False with a ``reason`` where there is too little.

    Raises
    ------
    ValueError
        If counts are impossible or *level* is not between 0 and 1.

    Examples
    --------
    >>> frame = pd.DataFrame({"time": range(36), "cases": [20 + m // 2 for m in range(36)], "n": 100})
    >>> print(f"{monthly_slope(frame).odds_ratio:.2f} a year")
    1.35 a year
    """
    normal_quantile(level)
    cells = frame[frame["n"] > 0].reset_index(drop=True)
    if bool(((cells["cases"] < 0) | (cells["cases"] > cells["n"])).any()):
        raise ValueError("cases must lie between 0 and the units looked at")
    if "farm" not in cells:
        cells = cells.assign(farm="")
    sums = cells.groupby("farm")[["cases", "n"]].transform("sum")
    # A farm without a case, or with nothing but cases, has no finite level.
    telling = cells[(sums["cases"] > 0) & (sums["cases"] < sums["n"])].reset_index(drop=True)
    at = cells["time"].to_numpy(dtype=float)
    times = len(np.unique(at))
    if not len(telling):
        return _no_answer(times, say("No unit, or every unit, is a case."))
    if times < LEAST_TIMES or at.max() - at.min() + 1 < period:
        return _no_answer(times, _what_would_do(at, times, period))
    at = telling["time"].to_numpy(dtype=float)
    season = wave(at, period) @ season_axes(np.unique(at), period)
    farms = sorted(telling["farm"].unique())[1:]
    x = np.column_stack(
        [
            np.ones_like(at),
            (at - at.min()) / period,
            season,
            *((telling["farm"] == farm).to_numpy(float) for farm in farms),
        ]
    )
    points = len(telling.drop_duplicates(["farm", "time"]))
    if points < x.shape[1] + _SPARE_POINTS or np.linalg.matrix_rank(x) < x.shape[1]:
        return _no_answer(times, say("There are too few months to tell a trend from the season."))
    found = autoregression(x, telling["cases"], telling["n"], at, series=telling["farm"], lean=LEAN, scale=SPREAD_SCALE)
    if found is None:
        return _no_answer(times, say("The fit did not settle: a time or a group has no case, or only cases."))
    ratio = estimate_of(found, np.arange(x.shape[1]) == 1, level)
    t = normal_quantile(level)
    n = telling["n"].to_numpy(dtype=float)
    ends = [_mean_share(x, n, found.beta, found.covariance, end, t) for end in (x[:, 1].min(), x[:, 1].max())]
    return LogisticSlope(
        ratio.value, ratio.low, ratio.high, ratio.p_value, *ends[0], *ends[1], "autoregressive", times, converged=True
    )


def _what_would_do(at: Array, times: int, period: float) -> str:
    """How many points there are, how many would do, and how long that takes at the pace there is."""
    span = float(at.max() - at.min())
    apart = max(span / (times - 1), 1.0) if times > 1 else 1.0
    return say(
        "{least} months with records over a year or more would do, about {months} months at the pace of these records; "
        "there are {times}.",
        least=LEAST_TIMES,
        months=round(max(LEAST_TIMES * apart, period)),
        times=times,
    )


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
        return _no_answer(times, reason)
    beta, alpha, bread, settled = solve(design)
    if not settled or bool((np.abs(beta[1:]) > _SEPARATED).any()):
        return _no_answer(times, say("The fit did not settle: a time or a group has no case, or only cases."))
    scores = scores_by_cluster(design, beta, alpha)
    covariance, df = bread @ (scores.T @ scores) @ bread * k / (k - width), float(k - width)
    dispersion, cells, model = _dispersion(design, time, columns, beta)
    errors = "clusters"
    if model[1, 1] * dispersion > covariance[1, 1]:
        covariance, df, errors = model * dispersion, float(max(cells - width, 1)), "times"
    t = float(special.stdtrit(df, 0.5 + level / 2.0))
    se = float(np.sqrt(covariance[1, 1]))
    ends = [
        _mean_share(design.x, design.n, beta, covariance, at, t) for at in (design.x[:, 1].min(), design.x[:, 1].max())
    ]
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


def _mean_share(x: Array, n: Array, beta: Array, covariance: Array, at: float, t: float) -> tuple[float, float, float]:
    """Share at a time, the second column, other columns as they are in the whole, with limits."""
    x = x.copy()
    x[:, 1] = at
    weights = n / n.sum()
    mu = special.expit(x @ beta)
    share = float(weights @ mu)
    slope = (weights * mu * (1 - mu)) @ x
    half = t * float(np.sqrt(max(slope @ covariance @ slope, 0.0))) / (share * (1 - share))
    centre = special.logit(share)
    return share, float(special.expit(centre - half)), float(special.expit(centre + half))


def _no_answer(times: int, reason: str) -> LogisticSlope:
    nan = float("nan")
    return LogisticSlope(*(nan,) * 10, "", times, converged=False, reason=reason)
