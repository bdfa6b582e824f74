"""Logistic regression of counts over time: points that wander together, few of them, several kinds of count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, special

from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

Array = npt.NDArray[np.float64]

CORRELATIONS = np.array([-0.6, -0.45, -0.3, -0.15, 0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.88, 0.94, 0.98])
"""Correlations of points one unit of time apart that are held possible. Below zero too, or a series without any
would be taken for one with some."""

SPREADS = np.concatenate([np.arange(0.0, 0.5, 0.05), np.arange(0.5, 1.0, 0.1), np.arange(1.0, 2.01, 0.25)])
"""Spreads of the points in time (logit SD) that are held possible."""

SPREAD_SCALE = 3.0
"""Scale of the half-normal prior of a spread, which is nearly flat over the spreads that herds have.
[common practice, no source]"""

LEAN = 1.0
"""The prior of the correlation is 1/(1 - rho^2)^LEAN. The reference prior has 1/2 (Berger and Yang 1994). 1 leans to
high correlations: with 3/4 a change that did nothing was called in 9 % of herds whose months are correlated by 0.8,
with 1 in 4 to 7 %. [chosen in simulation, tests/scale/worlds_change.py]"""

KIND_SPREADS = (0.0, 0.2, 0.45, 0.9)
"""Spreads of the counts of one point in time about each other (logit SD), looked at where there are several."""

LEAST_OF_SEASON = 0.1
"""Variance of the points along an axis of the year (0.5 for months all over it, 1 for two opposite months) from which
that axis is held alike. [common practice, no source]"""

_ROUNDS = 30
_FIRST_STEPS = 4
_SETTLED = 1e-3
"""Logits may move by so much from one round to the next; it is a thousandth of what limits are wide."""
_SEPARATED = 12.0
_LEAST_WEIGHT = 1e-8


@dataclass(frozen=True)
class Estimate:
    """A sum of coefficients on the logit scale.

    Attributes
    ----------
    value, low, high : float
        Mean and limits.
    p_value : float
        Twice the smaller share of the distribution on one side of zero.
    """

    value: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True)
class Autoregression:
    """Fits at g settings of spread and correlation, with k coefficients, and how much each setting counts.

    Attributes
    ----------
    weights : ndarray, shape (g,)
    betas : ndarray, shape (g, k)
    covariances : ndarray, shape (g, k, k)
    spread, correlation : float
        Means over the settings: logit SD of points in time, and correlation of points one unit of time apart.
    """

    weights: Array
    betas: Array
    covariances: Array
    spread: float
    correlation: float

    @property
    def beta(self) -> Array:
        """Means of the coefficients, shape (k,)."""
        return np.asarray(self.weights @ self.betas)

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients within and between the settings, shape (k, k)."""
        gap = self.betas - self.beta
        within = np.einsum("g,gij->ij", self.weights, self.covariances)
        return np.asarray(within + np.einsum("g,gi,gj->ij", self.weights, gap, gap))

    def estimate(self, of: npt.ArrayLike, level: float = LEVEL) -> Estimate:
        """The sum of the coefficients times *of*, shape (k,): a mixture of normal distributions, one a setting."""
        of = np.asarray(of, dtype=np.float64)
        middle = self.betas @ of
        sd = np.sqrt(np.maximum(np.einsum("i,gij,j->g", of, self.covariances, of), 1e-300))

        def below(value: float) -> float:
            return float(self.weights @ special.ndtr((value - middle) / sd))

        tail, reach = below(0.0), 10 * float(sd.max())
        ends = float(middle.min()) - reach, float(middle.max()) + reach
        low, high = (_where(below, share, ends) for share in ((1 - level) / 2, (1 + level) / 2))
        return Estimate(float(self.weights @ middle), low, high, min(1.0, 2 * min(tail, 1 - tail)))


def _where(below: Callable[[float], float], share: float, ends: tuple[float, float]) -> float:
    return float(optimize.brentq(lambda value: below(value) - share, *ends, xtol=1e-7))


def autoregression(
    x: npt.ArrayLike,
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    time: npt.ArrayLike,
    *,
    series: npt.ArrayLike | None = None,
    offset: npt.ArrayLike | None = None,
    lean: float = LEAN,
    scale: float = SPREAD_SCALE,
) -> Autoregression | None:
    """Fit ``logit p = x b + offset + u``, where u wanders over time as an autoregression of order one.

    The counts vary as binomial ones; u adds a spread that all counts of a point in time share, and that is correlated
    by rho to the power of the time between two points. Counts of several kinds at one point may differ by a spread of
    their own. Nobody knows spread and correlation, and what is estimated of them from two to five years of months is
    so uncertain that limits which take the estimate for the truth are too narrow. So generalised least squares are
    worked out at every setting of a grid and averaged, weighted by the restricted likelihood and a prior (near
    the reference prior of the correlation, wide half-normal spreads). With few points the average has the wider tails
    of Student's t. The mean is iterated as in a generalised linear model (marginal quasi-likelihood).

    ``tests/scale/worlds_change.py`` simulates how often the limits hold the truth.

    Parameters
    ----------
    x : array, shape (c, k)
        Columns of the c counts, of full rank.
    cases, n : array, shape (c,)
        Affected and looked at; n above 0.
    time : array, shape (c,)
        In units over which neighbours may be alike, such as months.
    series : array, shape (c,), optional
        Counts of different series, such as farms, wander apart; one series by default.
    offset : array, shape (c,), optional
        Known part of the logit.
    lean, scale : float
        Of the priors of correlation and spread.

    Returns
    -------
    Autoregression or None
        None where the fit does not settle.

    References
    ----------
    Harville DA (1974). Bayesian inference for variance components using only error contrasts. Biometrika 61:383-385.
    Berger JO, Yang RY (1994). Noninformative priors and Bayesian testing for the AR(1) model. Econometric Theory
    10:461-482.
    Breslow NE, Clayton DG (1993). Approximate inference in generalized linear mixed models. J Am Stat Assoc 88:9-25.

    Examples
    --------
    >>> month = np.arange(36.0)
    >>> x = np.column_stack([np.ones(36), month >= 18])
    >>> found = autoregression(x, np.where(month < 18, 30, 15), np.full(36, 100), month)
    >>> print(f"{np.exp(found.estimate([0, 1]).value):.2f}")
    0.41
    """
    x, cases, n, time = (np.asarray(each, dtype=np.float64) for each in (x, cases, n, time))
    known = np.zeros(len(time)) if offset is None else np.asarray(offset, dtype=np.float64)
    blocks = [np.arange(len(time))] if series is None else _blocks(series)
    beta = _start(x, cases, n, known)
    for _ in range(_ROUNDS):
        mu = special.expit(x @ beta + known)
        weight = n * mu * (1 - mu)
        if weight.min() < _LEAST_WEIGHT:
            return None
        found = _solve(x, x @ beta + (cases - n * mu) / weight, weight, time, blocks, _log_prior(lean, scale))
        step = np.abs(x @ (found.beta - beta)).max()
        beta = found.beta
        if not np.isfinite(step) or np.abs(x @ beta + known).max() > _SEPARATED:
            return None
        if step < _SETTLED:
            return found
    return None


def season_axes(time: Array, period: float) -> Array:
    """What of a yearly wave points in time can tell, as axes of (cos, sin), shape (2, m) with m from 0 to 2.

    Points all over the year tell both. A herd seen in spring and autumn tells the difference of the two; one seen in
    the same weeks every year tells nothing, and needs nothing.

    Examples
    --------
    >>> [season_axes(np.array(months), 12.0).shape[1] for months in (range(24), [3, 9, 15, 21], [3, 4, 15, 16])]
    [2, 1, 0]
    """
    value, vector = np.linalg.eigh(np.cov(wave(time, period), rowvar=False, bias=True))
    return np.asarray(vector[:, value >= LEAST_OF_SEASON])


def wave(time: npt.ArrayLike, period: float) -> Array:
    """Cosine and sine of the place in the year, shape (c, 2)."""
    angle = 2 * np.pi * np.asarray(time, dtype=np.float64) / period
    return np.column_stack([np.cos(angle), np.sin(angle)])


def estimate_of(found: Autoregression, of: npt.ArrayLike, level: float = LEVEL) -> Estimate:
    """The sum of the coefficients times *of* as a ratio of odds: exponents of value and limits."""
    normal_quantile(level)
    log = found.estimate(of, level)
    return Estimate(float(np.exp(log.value)), float(np.exp(log.low)), float(np.exp(log.high)), log.p_value)


def _blocks(series: npt.ArrayLike) -> list[npt.NDArray[np.intp]]:
    codes = pd.factorize(np.asarray(series))[0]
    return [np.flatnonzero(codes == code) for code in range(int(codes.max()) + 1)]


def _start(x: Array, cases: Array, n: Array, known: Array) -> Array:
    """Coefficients of plain logistic regression, or near them: least squares on empirical logits and a few steps on."""
    logit = np.log((cases + 0.5) / (n - cases + 0.5)) - known
    weight = n
    for _ in range(_FIRST_STEPS):
        root = np.sqrt(weight)
        beta = np.linalg.lstsq(x * root[:, None], logit * root, rcond=None)[0]
        mu = special.expit(np.clip(x @ beta + known, -_SEPARATED, _SEPARATED))
        weight = n * mu * (1 - mu)
        logit = x @ beta + (cases - n * mu) / weight
    return np.asarray(beta)


def _solve(
    x: Array, z: Array, weight: Array, time: Array, blocks: list[npt.NDArray[np.intp]], log_prior: Array
) -> Autoregression:
    """Generalised least squares of working values *z* at every setting, weighted by likelihood and prior."""
    several = any(len(np.unique(time[own])) < len(own) for own in blocks)
    parts = []
    for kind_spread in KIND_SPREADS if several else KIND_SPREADS[:1]:
        between = 1.0 / (1.0 / weight + kind_spread**2)
        own_prior = log_prior - 0.5 * (kind_spread / SPREAD_SCALE) ** 2
        parts.append(_at_settings(x, z, between, time, blocks, own_prior))
    log_weight, betas, covariances = (np.concatenate(each) for each in zip(*parts, strict=True))
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    shares = weights.reshape(-1, len(CORRELATIONS), len(SPREADS)).sum(axis=0)
    return Autoregression(
        weights=weights,
        betas=betas,
        covariances=covariances,
        spread=float(shares.sum(axis=0) @ SPREADS),
        correlation=float(shares.sum(axis=1) @ CORRELATIONS),
    )


def _at_settings(
    x: Array, z: Array, weight: Array, time: Array, blocks: list[npt.NDArray[np.intp]], log_prior: Array
) -> tuple[Array, Array, Array]:
    """Log weight, coefficients and their covariance at every correlation and spread, one after the other.

    With weights W of the counts, correlations R of the points in time and Z of which count is of which point, the
    covariance is W^-1 + s^2 Z R Z'. With K = Z'WZ, the weight of a point, the eigenvectors of K^1/2 R K^1/2 make all of
    it diagonal at every spread s (Woodbury), so that a correlation costs one decomposition of the points.
    """
    k = x.shape[1]
    whole = np.column_stack([x, z])
    square = np.zeros((len(CORRELATIONS), len(SPREADS), k + 1, k + 1))
    square += whole.T @ (whole * weight[:, None])
    log_det = np.full(square.shape[:2], -float(np.log(weight).sum()))
    for own in blocks:
        points, place = np.unique(time[own], return_inverse=True)
        sums = np.zeros((len(points), k + 1))
        np.add.at(sums, place, whole[own] * weight[own][:, None])
        root = np.sqrt(np.bincount(place, weight[own]))
        value, vector = np.linalg.eigh(_correlated(points) * (root[:, None] * root))
        turned = np.swapaxes(vector, 1, 2) @ (sums / root[:, None])
        grown = SPREADS[None, :, None] ** 2 * np.maximum(value, 0.0)[:, None, :]
        square -= np.swapaxes(turned, 1, 2)[:, None] @ (turned[:, None] * (grown / (1.0 + grown))[..., None])
        log_det += np.log1p(grown).sum(axis=2)
    a, b = square[..., :k, :k], square[..., :k, k]
    covariance = np.linalg.inv(a)
    beta = (covariance @ b[..., None])[..., 0]
    rest = square[..., k, k] - (beta * b).sum(axis=2)
    log_weight = log_prior - 0.5 * (log_det + np.linalg.slogdet(a)[1] + rest)
    betas: Array = beta.reshape(-1, k)
    covariances: Array = covariance.reshape(-1, k, k)
    return np.asarray(log_weight.ravel()), betas, covariances


def _correlated(time: Array) -> Array:
    """Correlations of points in time at every setting; of a negative one they swing with the time between."""
    apart = np.abs(time[:, None] - time)
    rho = CORRELATIONS[:, None, None]
    return np.asarray(np.abs(rho) ** apart * np.where(rho < 0, np.cos(np.pi * apart), 1.0))


def _log_prior(lean: float, scale: float) -> Array:
    """Of every correlation (rows) and spread; the width of the steps in it."""
    rho = np.log(np.gradient(CORRELATIONS)) - lean * np.log(1 - CORRELATIONS**2)
    spread = np.log(np.gradient(SPREADS)) - 0.5 * (SPREADS / scale) ** 2
    return np.asarray(rho[:, None] + spread)
