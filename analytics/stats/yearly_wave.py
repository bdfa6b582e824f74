"""A yearly wave common to several groups, each with its own level."""

from __future__ import annotations

import warnings

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.harmonic import MONTHS, YearlyWave, _no_answer, _too_little, _wave
from evenfoot.analytics.stats.intervals import LEVEL, as_counts, normal_quantile
from evenfoot.analytics.stats.month_model import month_model, season_columns

Array = npt.NDArray[np.float64]

_FREE = 1.0
"""Prior standard deviation of wave and trend while the wander is judged: wide, so that neither passes for wander.
[common practice, no source]"""


def common_wave(
    month: npt.ArrayLike,
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    group: npt.ArrayLike,
    level: float = LEVEL,
    *,
    year: npt.ArrayLike | None = None,
    time: npt.ArrayLike | None = None,
) -> YearlyWave:
    """Fit `harmonic.yearly_wave` with a level for each group.

    Farms are looked at in different months. A wave through their sum would follow whose turn it was; here
    each group is compared with itself. The covariance allows for months that differ more than their units explain and
    for neighbouring months that go together, as much as `month_model` finds in each group.

    Parameters
    ----------
    month, cases, n : array_like
        As in `harmonic.yearly_wave`.
    group : array_like
        Group (farm) of each row.
    level : float, default 0.95
        Confidence level.
    year : array_like, optional
        Time of each row in years, for a straight trend beside the season.
    time : array_like, optional
        Time of each row in months, to tell which are neighbours; *month* by default.

    Returns
    -------
    YearlyWave
        ``mean`` is that of the first group in sorted order.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Stolwijk AM, Straatman H, Zielhuis GA (1999). J Epidemiol Community Health 53:235-238.
    White H (1982) Econometrica 50:1-25 (covariance of a fit whose units are not independent).

    Examples
    --------
    >>> month = np.tile(np.arange(12) + 1.5, 2)
    >>> p = 1 / (1 + np.exp(np.repeat([1.5, 2.5], 12) - 0.5 * np.cos(2 * np.pi * (month - 3.5) / 12)))
    >>> wave = common_wave(month, np.round(200 * p), np.full(24, 200), np.repeat(["a", "b"], 12))
    >>> print(f"odds ratio {wave.amplitude:.1f}, peak {wave.peak_month:.1f}")
    odds ratio 2.7, peak 3.5
    """
    at, c, total = np.broadcast_arrays(np.atleast_1d(np.asarray(month, dtype=float)), *as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    normal_quantile(level)
    kept = total > 0
    codes = pd.factorize(np.atleast_1d(np.asarray(group, dtype=object))[kept], sort=True)[0]
    when = None if year is None else np.broadcast_to(np.asarray(year, dtype=float), at.shape)[kept]
    order = np.broadcast_to(np.asarray(month if time is None else time, dtype=float), at.shape)[kept]
    at, c, total = at[kept], c[kept], total[kept]
    reason = _too_little(at, c, total)
    if reason:
        return _no_answer(len(at), reason)
    # A group without a case, or with nothing but cases, says nothing of the season and has no finite level.
    sums, units = np.bincount(codes, c), np.bincount(codes, total)
    telling = ((sums > 0) & (sums < units))[codes] if len(codes) else np.zeros(0, dtype=bool)
    codes, at, c, total = codes[telling], at[telling], c[telling], total[telling]
    order, when = order[telling], None if when is None else when[telling]
    reason = _too_little(at, c, total)
    if reason:
        return _no_answer(len(at), reason)
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    angle = 2 * np.pi * (at - 1.0) / MONTHS
    columns = [np.ones_like(angle), np.cos(angle), np.sin(angle)]
    if when is not None and np.ptp(when) > 0:
        columns.append(when - when.mean())
    columns += [(codes == code).astype(float) for code in np.unique(codes)[1:]]
    design = np.column_stack(columns)
    df = len(at) - design.shape[1]
    if df < 1 or np.linalg.matrix_rank(design) < design.shape[1]:
        return _no_answer(len(at), say("The months looked at do not separate a season from a trend."))
    with np.errstate(all="ignore"), warnings.catch_warnings():
        # What the warning is about shows in the standard errors, which are looked at below.
        warnings.simplefilter("ignore")
        fit = GLM(np.column_stack([c, total - c]), design, family=Binomial()).fit()
    if not (fit.converged and np.all(np.isfinite(fit.bse)) and np.all(fit.bse < 50)):
        return _no_answer(len(at), say("The fit did not settle: too few cases in too few months."))
    beta, mu = np.asarray(fit.params), np.asarray(fit.fittedvalues)
    weighted = design * (total * mu * (1 - mu))[:, None]
    bread = np.linalg.inv(design.T @ weighted)
    together = _wander(order, c, total, codes, when)
    covariance = bread + bread @ weighted.T @ together @ weighted @ bread
    dispersion = float(np.trace(covariance) / np.trace(bread))
    return _wave(beta, covariance, dispersion, df, len(at), level)


def _wander(time: Array, c: Array, total: Array, codes: npt.NDArray[np.intp], when: Array | None) -> Array:
    """Covariance of the months' log odds about wave and trend: those of a group wander together, `month_model`."""
    out = np.zeros((len(c), len(c)))
    for code in np.unique(codes):
        own = np.flatnonzero(codes == code)
        columns = season_columns(time[own])
        if when is not None:
            columns = np.column_stack([columns, when[own] - when[own].mean()])
        model = month_model(columns, c[own], total[own], time[own], [_FREE] * (columns.shape[1] - 1))
        out[np.ix_(own, own)] = model.months_covariance(time[own])
    return out
