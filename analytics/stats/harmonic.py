"""Season as one yearly wave: how high, when, and how sure."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.intervals import LEVEL, as_counts, normal_quantile

MONTHS = 12.0
LEAST_POINTS = 5  # three coefficients and something left to judge the spread by [common practice, no source]
LEAST_YEAR = 0.5  # share of the calendar needed to tell a wave from a trend [common practice, no source]
_DRAWS = 20_000
_SEED = 12


@dataclass(frozen=True)
class YearlyWave:
    """Season fitted as one sine wave on the logit scale.

    Attributes
    ----------
    amplitude, amplitude_low, amplitude_high : float
        Odds at the peak over odds at the trough (1 = no season) and its limits.
    peak_month, peak_low, peak_high : float
        When the wave is highest, in months: 1.0 is the start of January, 1.5 its middle, 12.99 the end of
        December. The limits may run across the new year (low 11.5, high 2.0); nan when the season is not
        separated from none at the level asked for.
    p_value : float
        Of no season (F or chi-square on 2 degrees of freedom).
    mean : float
        Proportion at the middle of the wave.
    coefficients : tuple of float
        Intercept, cosine, sine, and slope per year if asked for (logit scale).
    dispersion : float
        Pearson chi-square over its degrees of freedom, not below 1; standard errors are scaled by its root.
    points : int
        Rows used.
    reason : str
        Why there is no answer, "" when there is one.
    """

    amplitude: float
    amplitude_low: float
    amplitude_high: float
    peak_month: float
    peak_low: float
    peak_high: float
    p_value: float
    mean: float
    coefficients: tuple[float, ...]
    dispersion: float
    points: int
    reason: str = ""

    def curve(self, month: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Fitted proportion at *month* (1.0 to 13.0), at the middle of the years if a slope was fitted."""
        angle = 2 * np.pi * (np.asarray(month, dtype=float) - 1.0) / MONTHS
        a, c, s = self.coefficients[:3] if len(self.coefficients) >= 3 else (np.nan,) * 3
        fitted: npt.NDArray[np.float64] = special.expit(a + c * np.cos(angle) + s * np.sin(angle))
        return fitted


def yearly_wave(
    month: npt.ArrayLike,
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    level: float = LEVEL,
    *,
    year: npt.ArrayLike | None = None,
) -> YearlyWave:
    """Fit ``logit p = a + c cos(w) + s sin(w) (+ b year)``, w = 2 pi (month - 1)/12, to counts by month.

    The amplitude is ``exp(2 sqrt(c^2 + s^2))``, the peak at angle ``atan2(s, c)``. Limits are made by drawing
    (c, s) from their joint normal distribution (seeded), because the amplitude cannot fall below 1 and the
    delta method fails near it. Standard errors are scaled for over-dispersion.

    Parameters
    ----------
    month : array_like
        Month of each row, 1.0 to 13.0; use 1.5 for the middle of January.
    cases, n : array_like
        Affected and looked at in each row.
    level : float, default 0.95
        Confidence level.
    year : array_like, optional
        Calendar year of each row, for a straight trend beside the season.

    Returns
    -------
    YearlyWave
        Nan figures and a ``reason`` when there is too little to fit.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Stolwijk AM, Straatman H, Zielhuis GA (1999). Studying seasonality by using sine and cosine functions in
    regression analysis. J Epidemiol Community Health 53:235-238.

    Examples
    --------
    >>> import numpy as np
    >>> month = np.arange(12) + 1.5
    >>> cases = np.round(200 / (1 + np.exp(1.5 - 0.5 * np.cos(2 * np.pi * (month - 3.5) / 12))))
    >>> wave = yearly_wave(month, cases, np.full(12, 200))
    >>> print(f"odds ratio {wave.amplitude:.1f}, peak {wave.peak_month:.1f}")
    odds ratio 2.7, peak 3.5
    """
    at, c, total = np.broadcast_arrays(np.atleast_1d(np.asarray(month, dtype=float)), *as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    normal_quantile(level)
    kept = total > 0
    when = None if year is None else np.broadcast_to(np.asarray(year, dtype=float), at.shape)[kept]
    at, c, total = at[kept], c[kept], total[kept]
    reason = _too_little(at, c, total)
    if reason:
        return _no_answer(len(at), reason)
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    angle = 2 * np.pi * (at - 1.0) / MONTHS
    columns = [np.ones_like(angle), np.cos(angle), np.sin(angle)]
    if when is not None and np.ptp(when) > 0:
        columns.append(when - when.mean())
    design = np.column_stack(columns)
    if np.linalg.matrix_rank(design) < design.shape[1] or len(at) <= design.shape[1]:
        return _no_answer(len(at), say("The months looked at do not separate a season from a trend."))
    # A season without noise fits perfectly, and the library warns of it; the limits are right all the same.
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = GLM(np.column_stack([c, total - c]), design, family=Binomial()).fit()
    if not (fit.converged and np.all(np.isfinite(fit.bse)) and np.all(fit.bse < 50)):
        return _no_answer(len(at), say("The fit did not settle: too few cases in too few months."))
    df = len(at) - design.shape[1]
    dispersion = max(1.0, float(fit.pearson_chi2) / df)
    covariance = np.asarray(fit.cov_params()) * dispersion
    beta = np.asarray(fit.params)
    return _wave(beta, covariance, dispersion, df, len(at), level)


def _wave(
    beta: npt.NDArray[np.float64],
    covariance: npt.NDArray[np.float64],
    dispersion: float,
    df: int,
    points: int,
    level: float,
) -> YearlyWave:
    pair, block = beta[1:3], covariance[1:3, 1:3]
    wald = float(pair @ np.linalg.solve(block, pair))
    if dispersion > 1.0:
        p_value = float(special.fdtrc(2.0, float(df), wald / 2.0))
        t = special.stdtrit(float(df), 0.5 + level / 2.0) / normal_quantile(level)
    else:
        p_value, t = float(special.chdtrc(2.0, wald)), 1.0
    draws = np.random.default_rng(_SEED).multivariate_normal(pair, block * t**2, size=_DRAWS)
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(np.exp(2 * np.hypot(draws[:, 0], draws[:, 1])), [tail, 1 - tail])
    peak = np.arctan2(pair[1], pair[0])
    peak_low = peak_high = float("nan")
    if p_value < 1.0 - level:
        # Angles are measured from the peak, so that a peak near New Year does not split the draws.
        turn = np.angle(np.exp(1j * (np.arctan2(draws[:, 1], draws[:, 0]) - peak)))
        ends = np.quantile(turn, [tail, 1 - tail]) + peak
        peak_low, peak_high = (float(_month_of(x)) for x in ends)
    else:
        low = 1.0
    return YearlyWave(
        amplitude=float(np.exp(2 * np.hypot(*pair))),
        amplitude_low=float(low),
        amplitude_high=float(high),
        peak_month=float(_month_of(peak)),
        peak_low=peak_low,
        peak_high=peak_high,
        p_value=p_value,
        mean=float(special.expit(beta[0])),
        coefficients=tuple(float(b) for b in beta),
        dispersion=dispersion,
        points=points,
    )


def _month_of(angle: float) -> float:
    return float(1.0 + (angle / (2 * np.pi) * MONTHS) % MONTHS)


def _too_little(at: npt.NDArray[np.float64], c: npt.NDArray[np.float64], total: npt.NDArray[np.float64]) -> str:
    if len(at) < LEAST_POINTS:
        return say(
            "A season needs at least {LEAST_POINTS} months with records; there are {n}.",
            LEAST_POINTS=LEAST_POINTS,
            n=len(at),
        )
    if len(np.unique(np.floor(at))) < MONTHS * LEAST_YEAR:
        return say("The months looked at cover less than half the calendar.")
    if not 0 < c.sum() < total.sum():
        return say("No cow, or every cow, is a case.")
    return ""


def _no_answer(points: int, reason: str) -> YearlyWave:
    nan = float("nan")
    return YearlyWave(nan, nan, nan, nan, nan, nan, nan, nan, (), nan, points, reason)
