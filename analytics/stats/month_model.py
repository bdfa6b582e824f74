"""Logistic model of a monthly share whose months wander about their level more than cows explain, and together.

The log odds of a month are ``x beta + e``; ``e`` is a stationary AR(1) series with standard deviation ``w`` and
correlation ``rho ** gap`` between months *gap* apart. A year of months says little about ``w`` and ``rho``, so both are
integrated over a grid with a stated prior; the coefficients are integrated by Laplace's approximation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

Array = npt.NDArray[np.float64]

WANDER = {0.1: 0.2, 0.2: 0.3, 0.3: 0.3, 0.45: 0.2}
"""Standard deviation of months on the logit scale -> its weight before the herd's own months are seen.
[common practice, no source]"""

CORRELATION = (0.0, 0.4, 0.8)
"""Correlation of neighbouring months, all as likely before the herd's own months are seen. [common practice, no
source]"""

LEVEL_SD = 3.0
"""Prior standard deviation of the level about the herd's crude one: it says next to nothing. [common practice, no
source]"""

_ROUNDS = 50
_CLOSE = 1e-6


@dataclass(frozen=True)
class MonthModel:
    """Posterior of the model, one entry a pair of ``w`` and ``rho``, with g pairs and k coefficients.

    Attributes
    ----------
    mean : ndarray, shape (g, k)
        Coefficients.
    covariance : ndarray, shape (g, k, k)
    wander, correlation : ndarray, shape (g,)
        ``w`` and ``rho``.
    weight : ndarray, shape (g,)
        Posterior weight of each pair; sums to 1.
    """

    mean: Array
    covariance: Array
    wander: Array
    correlation: Array
    weight: Array

    def months_covariance(self, month: npt.ArrayLike) -> Array:
        """Covariance of the wander of *month* (in months) with each other, on the logit scale."""
        return np.asarray(np.einsum("g,gij->ij", self.weight, self.covariances(month)))

    def covariances(self, month: npt.ArrayLike) -> Array:
        """The same for every pair of ``w`` and ``rho``, shape (g, months, months)."""
        return _wander_covariance(self.wander, self.correlation, np.asarray(month, dtype=float))

    def half_width(self, pull: npt.ArrayLike, month: npt.ArrayLike, error: float, level: float) -> float:
        """Half of the interval of a sum of *pull* times the wander of *month*, known up to a standard error besides.

        The mixture over the pairs has longer tails than the normal distribution of its variance.
        """
        weights = np.asarray(pull, dtype=float)
        spread = np.sqrt(np.einsum("i,gij,j->g", weights, self.covariances(month), weights) + error**2)
        if not np.isfinite(spread).all() or not spread.max() > 0:
            return float("nan") if not np.isfinite(spread).all() else 0.0

        def beyond(half: float) -> float:
            return float(self.weight @ (2 * special.ndtr(-half / np.maximum(spread, 1e-12)))) - (1 - level)

        return float(optimize.brentq(beyond, 0.0, 20.0 * float(spread.max())))


def season_columns(month: npt.ArrayLike) -> Array:
    """A level and a yearly sine wave: 1, cosine and sine of *month*, shape (months, 3)."""
    angle = 2 * np.pi * np.asarray(month, dtype=float) / 12.0
    return np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])


def month_model(
    x: npt.ArrayLike, cases: npt.ArrayLike, n: npt.ArrayLike, month: npt.ArrayLike, prior_sd: npt.ArrayLike
) -> MonthModel:
    """Fit the model to months with records.

    Parameters
    ----------
    x : array_like, shape (months, k)
        Columns; the first is the level.
    cases, n : array_like, shape (months,)
        Affected and looked at, n above 0.
    month : array_like, shape (months,)
        When, in months; unequal steps are allowed.
    prior_sd : array_like, shape (k - 1,)
        Prior standard deviation of the columns after the level, about 0.

    Returns
    -------
    MonthModel

    References
    ----------
    Rasmussen CE, Williams CKI (2006) Gaussian Processes for Machine Learning, section 3.4 and algorithm 3.1
    (Laplace's approximation). Rue H, Martino S, Chopin N (2009) J R Stat Soc B 71:319-392 (integration over a grid).

    Examples
    --------
    >>> month = np.arange(24)
    >>> found = month_model(season_columns(month), np.full(24, 20), np.full(24, 100), month, [0.35, 0.35])
    >>> print(f"{special.expit(found.weight @ found.mean[:, 0]):.2f}, wander {found.weight @ found.wander:.2f}")
    0.20, wander 0.11
    """
    columns, c, total, at = (np.asarray(each, dtype=float) for each in (x, cases, n, month))
    pairs = [(w, rho, share / len(CORRELATION)) for w, share in WANDER.items() for rho in CORRELATION]
    wander, correlation, prior = (np.array(each) for each in zip(*pairs, strict=True))
    start = float(special.logit((c.sum() + 0.5) / (total.sum() + 1.0)))
    variance = np.diag([LEVEL_SD**2, *(np.asarray(prior_sd, dtype=float) ** 2)])
    covariance = columns @ variance @ columns.T + _wander_covariance(wander, correlation, at)
    latent, pull, root = np.full((len(pairs), len(c)), start), np.zeros((len(pairs), len(c))), np.zeros(0)
    for _ in range(_ROUNDS):
        p = special.expit(latent)
        root = np.sqrt(total * p * (1 - p))
        b = root**2 * (latent - start) + c - total * p
        inner = np.eye(len(c)) + root[:, :, None] * covariance * root[:, None, :]
        step = root * np.einsum("gij,gj->gi", covariance, b)
        pull = b - root * np.linalg.solve(inner, step[..., None])[..., 0]
        new = start + np.einsum("gij,gj->gi", covariance, pull)
        settled = float(np.abs(new - latent).max()) < _CLOSE
        latent = new
        if settled:
            break
    p = special.expit(latent)
    root = np.sqrt(total * p * (1 - p))
    inner = np.eye(len(c)) + root[:, :, None] * covariance * root[:, None, :]
    evidence = (
        (c * latent - total * np.logaddexp(0, latent)).sum(axis=1)
        - 0.5 * ((latent - start) * pull).sum(axis=1)
        - 0.5 * np.linalg.slogdet(inner)[1]
    )
    weight = prior * np.exp(evidence - evidence.max())
    reach = variance @ columns.T
    mean = np.einsum("km,gm->gk", reach, c - total * p)
    mean[:, 0] += start
    solved = root[:, :, None] * np.linalg.solve(inner, root[:, :, None] * reach.T)
    spread = variance - np.einsum("km,gml->gkl", reach, solved)
    return MonthModel(mean, spread, wander, correlation, weight / weight.sum())


def _wander_covariance(wander: Array, correlation: Array, at: Array) -> Array:
    gap = np.abs(at[:, None] - at[None, :])
    # 0 ** 0 is 1: a month goes fully with itself, also where neighbours do not go together.
    return np.asarray(wander[:, None, None] ** 2 * correlation[:, None, None] ** gap)
