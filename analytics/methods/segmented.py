"""Before and after a change: interrupted time series, and difference in differences."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.intervals import LEVEL, as_counts, normal_quantile
from analytics.words import say

Array = npt.NDArray[np.float64]

LEAST_BEFORE = 6  # points needed on either side of the change; 12 are better [common practice, no source]
YEAR = 12.0  # time units in a season cycle: months
_SEPARATED = 12.0


@dataclass(frozen=True)
class InterruptedSeries:
    """A series with a change in level, and in slope, at one known time.

    Ratios are odds ratios (binomial) or rate ratios (Poisson).

    Attributes
    ----------
    level_ratio, level_low, level_high, level_p : float
        Jump at the change: just after against what the trend before led one to expect.
    slope_before, slope_before_low, slope_before_high : float
        Ratio for one unit of time before the change.
    slope_ratio, slope_low, slope_high, slope_p : float
        How the slope changed (1 = it did not); nan when no change of slope was fitted.
    end_difference, end_low, end_high : float
        Fitted minus expected-without-the-change at the last point, as a proportion or rate.
    table : pandas.DataFrame
        One row a point: ``time``, ``cases``, ``n``, ``observed``, ``fitted``, ``low``, ``high``,
        ``without`` (had the change not come), ``without_low``, ``without_high``.
    dispersion : float
        Pearson chi-square over degrees of freedom, not below 1.
    autocorrelation : float
        Of one point's residual with the next.
    errors : str
        How standard errors were made: ``"scaled"`` for over-dispersion, or ``"newey-west"`` where residuals
        hang together and that is the larger.
    points_before, points_after : int
        Points with n > 0 on either side.
    converged : bool
        False when there is no answer to give.
    reason : str
        Why not; "" when converged.
    """

    level_ratio: float
    level_low: float
    level_high: float
    level_p: float
    slope_before: float
    slope_before_low: float
    slope_before_high: float
    slope_ratio: float
    slope_low: float
    slope_high: float
    slope_p: float
    end_difference: float
    end_low: float
    end_high: float
    table: pd.DataFrame
    dispersion: float
    autocorrelation: float
    errors: str
    points_before: int
    points_after: int
    converged: bool
    reason: str = ""


def interrupted_series(
    time: npt.ArrayLike,
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    change: float,
    *,
    family: Literal["binomial", "poisson"] = "binomial",
    slope_change: bool = True,
    harmonics: int = 1,
    period: float = YEAR,
    autocorrelated: bool = True,
    level: float = LEVEL,
) -> InterruptedSeries:
    """Segmented regression of a proportion or rate with one change at a known time.

    ``link(y) = b0 + b1 time + b2 [time >= change] + b3 [time >= change] (time - change) + season``, with a
    logit link and n units (binomial) or a log link and exposure n (Poisson). Season is *harmonics* pairs of
    sine and cosine. Standard errors are scaled by the over-dispersion; with *autocorrelated* they are
    Newey-West where that is larger. Limits use t on points minus coefficients.

    Parameters
    ----------
    time : array_like
        Time of each point, in months unless *period* says otherwise.
    cases, n : array_like
        Affected and looked at, or events and time at risk. Points with n = 0 are left out.
    change : float
        First time that belongs to "after".
    family : {"binomial", "poisson"}
        Proportion or rate.
    slope_change : bool, default True
        Fit a change of slope besides the jump.
    harmonics : int, default 1
        Sine-cosine pairs for the season; 0 for none.
    period : float, default 12
        Units of time in a year.
    autocorrelated : bool, default True
        Allow for residuals that hang together.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    InterruptedSeries
        ``converged`` False with a ``reason`` when there are too few points on a side to fit.

    Raises
    ------
    ValueError
        If counts are impossible, or *family* is unknown, or *level* is not between 0 and 1.

    References
    ----------
    Wagner AK et al. (2002). Segmented regression analysis of interrupted time series studies. J Clin Pharm
    Ther 27:299-309.
    Lopez Bernal J, Cummins S, Gasparrini A (2017). Int J Epidemiol 46:348-355 (and correction).
    Newey WK, West KD (1987). Econometrica 55:703-708.

    Examples
    --------
    >>> month = np.arange(24)
    >>> cases = np.where(month < 12, 30, 15)
    >>> found = interrupted_series(month, cases, np.full(24, 100), 12, harmonics=0, slope_change=False)
    >>> print(f"odds ratio {found.level_ratio:.2f}")
    odds ratio 0.41
    """
    normal_quantile(level)
    if family not in ("binomial", "poisson"):
        raise ValueError(f'family must be "binomial" or "poisson", got {family!r}')
    at, c, total = np.broadcast_arrays(np.atleast_1d(np.asarray(time, dtype=float)), *as_counts(cases, n))
    if family == "binomial" and np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    order = np.argsort(at, kind="stable")
    at, c, total = at[order], c[order], total[order]
    seen = total > 0
    at, c, total = at[seen], c[seen], total[seen]
    before, after = int((at < change).sum()), int((at >= change).sum())
    x = _design(at, change, slope_change, harmonics, period)
    reason = _too_little(x, c, total, before, after, family)
    if reason:
        return _no_answer(at, c, total, before, after, reason)
    from statsmodels.genmod.families import Binomial, Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    if family == "binomial":
        model = GLM(np.column_stack([c, total - c]), x, family=Binomial())
    else:
        model = GLM(c, x, family=Poisson(), exposure=total)
    # A series without noise fits perfectly, and the library warns of it; the limits are right all the same.
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = model.fit()
    beta = np.asarray(fit.params)
    if not fit.converged or not np.all(np.isfinite(fit.bse)) or abs(beta[2]) > _SEPARATED:
        return _no_answer(at, c, total, before, after, say("The fit did not settle: no case on one side."))
    df = len(at) - x.shape[1]
    dispersion = max(1.0, float(fit.pearson_chi2) / df)
    covariance = np.asarray(fit.cov_params()) * dispersion
    residual = np.asarray(fit.resid_pearson)
    errors = "scaled"
    if autocorrelated:
        hac = _newey_west(x, c, total, beta, family) * len(at) / df
        if hac[2, 2] > covariance[2, 2]:
            covariance, errors = hac, "newey-west"
    if np.any(np.diag(covariance) > _SEPARATED**2):
        return _no_answer(at, c, total, before, after, say("The fit did not settle: too few cases on one side."))
    t = float(special.stdtrit(float(df), 0.5 + level / 2.0))
    return _answer(x, at, c, total, change, beta, covariance, t, df, family, slope_change, dispersion, residual, errors)


def _design(at: Array, change: float, slope_change: bool, harmonics: int, period: float) -> Array:
    after = (at >= change).astype(float)
    columns = [np.ones_like(at), at - change, after]
    if slope_change:
        columns.append(after * (at - change))
    for k in range(1, harmonics + 1):
        angle = 2 * np.pi * k * at / period
        columns += [np.cos(angle), np.sin(angle)]
    return np.column_stack(columns) if len(at) else np.empty((0, len(columns)))


def _newey_west(x: Array, c: Array, total: Array, beta: Array, family: str, lags: int | None = None) -> Array:
    """Bartlett-weighted sandwich; the number of lags is the customary 4 (T/100)^(2/9), rounded up."""
    mu = special.expit(x @ beta) if family == "binomial" else np.exp(x @ beta)
    weight = total * mu * (1 - mu) if family == "binomial" else total * mu
    score = x * (c - total * mu)[:, None]
    bread = np.linalg.pinv((x * weight[:, None]).T @ x)
    most = int(np.ceil(4 * (len(x) / 100) ** (2 / 9))) if lags is None else lags
    meat = score.T @ score
    for lag in range(1, min(most, len(x) - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        meat += (1 - lag / (most + 1)) * (cross + cross.T)
    return np.asarray(bread @ meat @ bread)


def _answer(
    x: Array,
    at: Array,
    c: Array,
    total: Array,
    change: float,
    beta: Array,
    covariance: Array,
    t: float,
    df: int,
    family: str,
    slope_change: bool,
    dispersion: float,
    residual: Array,
    errors: str,
) -> InterruptedSeries:
    se = np.sqrt(np.maximum(np.diag(covariance), 0.0))

    def ratio(j: int) -> tuple[float, float, float, float]:
        p = float(2 * special.stdtr(float(df), -abs(beta[j] / se[j]))) if se[j] > 0 else float("nan")
        low, high = beta[j] - t * se[j], beta[j] + t * se[j]
        return float(np.exp(beta[j])), float(np.exp(low)), float(np.exp(high)), p

    level_ratio, level_low, level_high, level_p = ratio(2)
    before_ratio, before_low, before_high, _ = ratio(1)
    slope = ratio(3) if slope_change else (float("nan"),) * 4
    without = x.copy()
    without[:, 2] = 0.0
    if slope_change:
        without[:, 3] = 0.0
    inverse: Any = special.expit if family == "binomial" else np.exp
    table = pd.DataFrame({"time": at, "cases": c, "n": total, "observed": c / total})
    for names, design in (
        (("fitted", "low", "high"), x),
        (("without", "without_low", "without_high"), without),
    ):
        eta = design @ beta
        half = t * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", design, covariance, design), 0.0))
        for name, value in zip(names, (eta, eta - half, eta + half), strict=True):
            table[name] = inverse(value)
    end, start = float(table["fitted"].iloc[-1]), float(table["without"].iloc[-1])
    curb = 1.0 if family == "binomial" else 0.0
    gradient = end * (1 - curb * end) * x[-1] - start * (1 - curb * start) * without[-1]
    half_end = t * float(np.sqrt(max(gradient @ covariance @ gradient, 0.0)))
    spread = float((residual**2).sum())
    return InterruptedSeries(
        level_ratio=level_ratio,
        level_low=level_low,
        level_high=level_high,
        level_p=level_p,
        slope_before=before_ratio,
        slope_before_low=before_low,
        slope_before_high=before_high,
        slope_ratio=slope[0],
        slope_low=slope[1],
        slope_high=slope[2],
        slope_p=slope[3],
        end_difference=end - start,
        end_low=end - start - half_end,
        end_high=end - start + half_end,
        table=table,
        dispersion=dispersion,
        autocorrelation=float((residual[1:] * residual[:-1]).sum() / spread) if spread > 0 else 0.0,
        errors=errors,
        points_before=int((at < change).sum()),
        points_after=int((at >= change).sum()),
        converged=True,
    )


def _too_little(x: Array, c: Array, total: Array, before: int, after: int, family: str) -> str:
    if min(before, after) < LEAST_BEFORE:
        return say(
            "A change needs at least {LEAST_BEFORE} points on either side; there are {before} before and {after} "
            "after.",
            LEAST_BEFORE=LEAST_BEFORE,
            before=before,
            after=after,
        )
    if len(x) <= x.shape[1] or np.linalg.matrix_rank(x) < x.shape[1]:
        return say("There are too few points to tell the change from the trend and the season.")
    if c.sum() <= 0 or (family == "binomial" and c.sum() >= total.sum()):
        return say("No unit, or every unit, is a case.")
    return ""


def _no_answer(at: Array, c: Array, total: Array, before: int, after: int, reason: str) -> InterruptedSeries:
    nan = float("nan")
    table = pd.DataFrame({"time": at, "cases": c, "n": total, "observed": c / total})
    for name in ("fitted", "low", "high", "without", "without_low", "without_high"):
        table[name] = nan
    return InterruptedSeries(
        *(nan,) * 14,
        table=table,
        dispersion=nan,
        autocorrelation=nan,
        errors="",
        points_before=before,
        points_after=after,
        converged=False,
        reason=reason,
    )
