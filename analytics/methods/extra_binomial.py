"""Logistic regression of cells (month by kind of unit) that differ more than their units explain."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, special

Array = npt.NDArray[np.float64]

_ROUNDS = 25


@dataclass(frozen=True)
class Solved:
    """A regression that settled, with c cells and k columns.

    Attributes
    ----------
    beta : ndarray, shape (k,)
    covariance : ndarray, shape (k, k)
    residual : ndarray, shape (c,)
        Pearson residuals, with the inflated variance.
    spare : ndarray, shape (c,)
        What each cell leaves to judge the spread by: 1 less its leverage.
    """

    beta: Array
    covariance: Array
    residual: Array
    spare: Array


def weighted(x: Array, cases: Array, n: Array, inflation: Array) -> Solved | None:
    """Logistic regression of cells whose variance is *inflation* times the binomial one; None if it does not settle.

    Parameters
    ----------
    x : ndarray, shape (c, k)
    cases, n, inflation : ndarray, shape (c,)

    Examples
    --------
    Three cells of one share: its log odds, and an error 1.5 times (the square root of 2.25) the binomial one.

    >>> solved = weighted(np.ones((3, 1)), np.array([20.0, 30.0, 25.0]), np.full(3, 100.0), np.full(3, 2.25))
    >>> print(f"{special.expit(solved.beta[0]):.2f}")
    0.25
    >>> print(f"{np.sqrt(solved.covariance[0, 0] * 300 * 0.25 * 0.75):.2f}")
    1.50
    """
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    with np.errstate(all="ignore"), warnings.catch_warnings():
        # A perfect fit warns of itself; what it warns of shows in the standard errors, looked at below.
        warnings.simplefilter("ignore")
        fit = GLM(cases / n, x, family=Binomial(), var_weights=n / inflation).fit()
        covariance = np.asarray(fit.cov_params(scale=1.0))
    if not fit.converged or not np.all(np.isfinite(fit.bse)):
        return None
    mu = np.asarray(fit.fittedvalues)
    weight = n * mu * (1 - mu) / inflation
    residual = (cases - n * mu) / np.sqrt(n * mu * (1 - mu) * inflation)
    leverage = weight * np.einsum("ij,jk,ik->i", x, covariance, x)
    return Solved(np.asarray(fit.params), covariance, residual, 1.0 - leverage)


def inflation_of(x: Array, cases: Array, n: Array, kind: npt.NDArray[np.intp], start: Solved) -> tuple[Array, Array]:
    """Variance of each cell over the binomial one, ``1 + (n - 1) likeness``, the likeness by kind.

    Each kind gets the likeness with which its Pearson chi-square is what its cells leave of degrees of
    freedom. Also gives those degrees of freedom.

    References
    ----------
    Williams DA (1982). Extra-binomial variation in logistic linear models. Appl Stat 31:144-148.
    """
    solved, inflation = start, np.ones_like(n)
    kinds = int(kind.max()) + 1
    spare = totals(kind, solved.spare, kinds)
    for _ in range(_ROUNDS):
        raw = solved.residual**2 * inflation
        spare = totals(kind, solved.spare, kinds)
        new = np.ones_like(n)
        for k in range(kinds):
            own = kind == k
            new[own] = 1.0 + (n[own] - 1.0) * _likeness(raw[own], n[own], float(spare[k]))
        settled = bool(np.allclose(new, inflation, rtol=1e-4))
        inflation = new
        again = weighted(x, cases, n, inflation)
        if settled or again is None:
            break
        solved = again
    return inflation, spare


def _likeness(squares: Array, n: Array, spare: float) -> float:
    """The likeness with which binomial squared residuals add up to *spare*; 0 where they already do."""
    if squares.sum() <= spare or spare <= 0:
        return 0.0

    def excess(likeness: float) -> float:
        return float((squares / (1.0 + (n - 1.0) * likeness)).sum()) - spare

    return float(optimize.brentq(excess, 0.0, 1.0, xtol=1e-6)) if excess(1.0) < 0 else 1.0


def satterthwaite(
    x: Array, n: Array, kind: npt.NDArray[np.intp], solved: Solved, inflation: Array, spare: Array
) -> float:
    """Degrees of freedom of the second column, by how much each kind's estimated spread has to do with it."""
    mu = special.expit(x @ solved.beta)
    pull = (x @ solved.covariance[:, 1]) ** 2 * n * mu * (1 - mu) / inflation
    parts = totals(kind, pull)
    below = float((parts**2 / np.maximum(spare, 1.0)).sum())
    return max(float(parts.sum()) ** 2 / below, 1.0) if below > 0 else float("inf")


def totals(place: npt.NDArray[np.intp], values: npt.ArrayLike, least: int = 0) -> Array:
    """Sums of *values* by *place* (0 and up), at least so many of them."""
    return np.asarray(np.bincount(place, np.asarray(values, dtype=np.float64), least), dtype=np.float64)


def newey_west(x: Array, cases: Array, n: Array, beta: Array, at: Array, inflation: Array) -> Array:
    """Bartlett-weighted sandwich over points in time; the customary 4 (T/100)^(2/9) lags, rounded up."""
    mu = special.expit(x @ beta)
    bread = np.linalg.pinv((x * (n * mu * (1 - mu) / inflation)[:, None]).T @ x)
    place = pd.factorize(at, sort=True)[0]
    rows = x * ((cases - n * mu) / inflation)[:, None]
    score = np.column_stack([totals(place, rows[:, j]) for j in range(x.shape[1])])
    meat = score.T @ score
    most = int(np.ceil(4 * (len(score) / 100) ** (2 / 9)))
    for lag in range(1, min(most, len(score) - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        meat = meat + (1 - lag / (most + 1)) * (cross + cross.T)
    return np.asarray(bread @ meat @ bread)
