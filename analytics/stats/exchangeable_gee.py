"""Equations of logistic regression with exchangeable working correlation (GEE), summed over covariate patterns."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

from evenfoot.analytics.stats.design import Design

Array = npt.NDArray[np.float64]

_STEPS = 100
_SETTLED = 1e-9


def _sums(design: Design, values: Array) -> Array:
    k = len(design.cluster_names)
    if values.ndim == 1:
        return np.asarray(np.bincount(design.cluster, values, k), dtype=np.float64)
    return np.column_stack([_sums(design, values[:, j]) for j in range(values.shape[1])])


def _parts(design: Design, beta: Array) -> tuple[Array, Array, Array]:
    mu = np.clip(special.expit(design.x @ beta), 1e-12, 1 - 1e-12)
    root = np.sqrt(mu * (1 - mu))
    return mu, root, (design.cases - design.n * mu) / root


def _shrink(sizes: Array, alpha: float) -> Array:
    return alpha / (1.0 + (sizes - 1.0) * alpha)


def scores_by_cluster(design: Design, beta: Array, alpha: float) -> Array:
    _, root, residual = _parts(design, beta)
    weighted = design.x * root[:, None]
    shared = _shrink(_sums(design, design.n), alpha)[:, None]
    within = _sums(design, weighted * residual[:, None])
    between = _sums(design, weighted * design.n[:, None]) * _sums(design, residual)[:, None]
    return np.asarray((within - shared * between) / (1.0 - alpha))


def _information(design: Design, beta: Array, alpha: float) -> Array:
    _, root, _ = _parts(design, beta)
    weighted = design.x * root[:, None]
    totals = _sums(design, weighted * design.n[:, None])
    shared = _shrink(_sums(design, design.n), alpha)[:, None]
    within = (weighted * design.n[:, None]).T @ weighted
    return np.asarray((within - (totals * shared).T @ totals) / (1.0 - alpha))


def _correlation(design: Design, beta: Array) -> float:
    mu, root, residual = _parts(design, beta)
    squares = (design.cases * (1 - mu) ** 2 + (design.n - design.cases) * mu**2) / root**2
    products = float((_sums(design, residual) ** 2 - _sums(design, squares)).sum()) / 2.0
    sizes = _sums(design, design.n)
    pairs = float((sizes * (sizes - 1.0)).sum()) / 2.0 - len(beta)
    if pairs <= 0:
        return 0.0
    # R must stay positive definite in the largest cluster.
    lowest = -0.9 / max(float(sizes.max()) - 1.0, 1.0)
    scale = float(squares.sum()) / max(float(design.n.sum()) - len(beta), 1.0)
    return float(np.clip(products / pairs / scale, lowest, 0.95))


def solve(design: Design) -> tuple[Array, float, Array, bool]:
    """Solve the estimating equations.

    Parameters
    ----------
    design : Design

    Returns
    -------
    beta : ndarray
        Coefficients, log odds.
    alpha : float
        Working correlation of two units of one cluster.
    bread : ndarray
        Inverse of the information.
    settled : bool
        Whether the steps came to rest.

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22.

    Examples
    --------
    Two clusters of ten units with three and seven cases; the mean is a half:

    >>> import pandas as pd
    >>> from evenfoot.analytics.stats.design import build_design
    >>> rows = pd.DataFrame({"cases": [3, 7], "n": [10, 10], "herd": ["a", "b"]})
    >>> beta, alpha, bread, settled = solve(build_design(rows, "cases", [], "herd", n="n"))
    >>> round(float(beta[0]), 6) + 0.0, settled
    (0.0, True)
    """
    beta = np.zeros(design.x.shape[1])
    beta[0] = special.logit(design.cases.sum() / design.n.sum())
    alpha, settled = 0.0, False
    for step in range(_STEPS):
        information = _information(design, beta, alpha)
        change = np.linalg.lstsq(information, scores_by_cluster(design, beta, alpha).sum(axis=0), rcond=None)[0]
        largest = float(np.abs(change).max())
        beta = beta + change * min(1.0, 5.0 / max(largest, 1e-300))
        # The first steps stay independent: a correlation of residuals around zero coefficients means nothing.
        new = _correlation(design, beta) if step >= 3 else 0.0
        if largest < _SETTLED and abs(new - alpha) < _SETTLED:
            settled = True
            break
        alpha = new
    return beta, alpha, np.asarray(np.linalg.pinv(_information(design, beta, alpha))), settled
