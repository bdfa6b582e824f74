"""A linear model with a random herd and a random cow within it, from the sums of each cow.

The general mixed-model fitter multiplies matrices as long as a herd has records; with cows nested in herds
and one random effect at each level the likelihood needs only each cow's sums, whatever the records number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class NestedFit:
    """A nested random-effects fit.

    Attributes
    ----------
    information : ndarray, shape (p, p)
        Inverse covariance of the coefficients (generalised: it may be singular).
    score : ndarray, shape (p,)
        ``information @ coefficients``; with a prior, ``(information + P)^-1 (score + P m)``.
    coefficients, se : ndarray, shape (p,)
        nan where the records cannot tell a coefficient from the others.
    df : ndarray, shape (p,)
        Satterthwaite's degrees of freedom.
    sd_herd, sd_cow, sd : float
        Standard deviations of herds, of cows within herds, and of a record of weight 1.
    deviance : float
        Minus twice the restricted log-likelihood.
    converged : bool
    """

    information: Array
    score: Array
    coefficients: Array
    se: Array
    df: Array
    sd_herd: float
    sd_cow: float
    sd: float
    deviance: float
    converged: bool


class _Sums:
    """Sums of cross-products by cow, which are all that the likelihood needs."""

    def __init__(self, y: Array, x: Array, weight: Array, cow: npt.NDArray[np.intp], herd: npt.NDArray[np.intp]):
        cows = int(cow.max()) + 1
        self.n, self.p = x.shape
        self.herds = int(herd.max()) + 1
        self.log_weight = float(np.log(weight).sum())
        wx = x * weight[:, None]
        self.xx, self.xy, self.yy = wx.T @ x, wx.T @ y, float(weight @ y**2)
        self.count = np.bincount(cow, weight, cows)
        self.x = np.column_stack([np.bincount(cow, wx[:, j], cows) for j in range(self.p)])
        self.y = np.bincount(cow, weight * y, cows)
        self.herd_of = np.zeros(cows, dtype=np.intp)
        self.herd_of[cow] = herd

    def moments(self, cow_ratio: float, herd_ratio: float) -> tuple[Array, Array, float, float]:
        """X'V^-1X, X'V^-1y, y'V^-1y and log|V|, with V over the residual variance."""
        shrink = 1.0 + cow_ratio * self.count
        k = cow_ratio / shrink
        # Plain loops: on matrices this small, handing them to a threaded library costs more than it saves.
        a = self.xx - np.einsum("ij,ik->jk", self.x * k[:, None], self.x)
        b = self.xy - self.x.T @ (k * self.y)
        c = self.yy - float(k @ self.y**2)
        log_det = float(np.log(shrink).sum())
        count = np.bincount(self.herd_of, self.count / shrink, self.herds)
        y = np.bincount(self.herd_of, self.y / shrink, self.herds)
        x = np.column_stack([np.bincount(self.herd_of, self.x[:, j] / shrink, self.herds) for j in range(self.p)])
        k = herd_ratio / (1.0 + herd_ratio * count)
        a = a - np.einsum("ij,ik->jk", x * k[:, None], x)
        b = b - x.T @ (k * y)
        c = c - float(k @ y**2)
        return a, b, c, log_det + float(np.log1p(herd_ratio * count).sum())

    def falling(self, cow_ratio: float, herd_ratio: float) -> tuple[float, tuple[float, float]]:
        """The deviance at the best residual variance, and its slope along either ratio.

        The inverse of V falls by ``V^-1 Z Z' V^-1`` along a ratio, where Z are the records of its cows or herds.
        """
        a, b, c, log_det = self.moments(cow_ratio, herd_ratio)
        free = self.n - self.p
        beta = np.linalg.solve(a, b)
        inverse = np.linalg.inv(a)
        rest = max(c - float(b @ beta), 1e-12)
        at = free * (np.log(2 * np.pi * rest / free) + 1.0) + log_det + float(np.linalg.slogdet(a)[1]) - self.log_weight
        shrink = 1.0 + cow_ratio * self.count
        count, y, x = self.count / shrink, self.y / shrink, self.x / shrink[:, None]
        herd_count = np.bincount(self.herd_of, count, self.herds)
        herd_y = np.bincount(self.herd_of, y, self.herds)
        herd_x = np.column_stack([np.bincount(self.herd_of, x[:, j], self.herds) for j in range(self.p)])
        k = herd_ratio / (1.0 + herd_ratio * herd_count)
        own = k[self.herd_of] * count
        cow = (x - own[:, None] * herd_x[self.herd_of], y - own * herd_y[self.herd_of], count - own * count)
        left = 1.0 - k * herd_count
        herd = (herd_x * left[:, None], herd_y * left, herd_count * left)

        def slope(of_x: Array, of_y: Array, trace: Array) -> float:
            unfitted = of_y - of_x @ beta
            spread = float(np.einsum("ij,jk,ik->", of_x, inverse, of_x))
            return float(trace.sum() - free / rest * (unfitted @ unfitted) - spread)

        return float(at), (slope(*cow), slope(*herd))

    def deviance(self, cow_ratio: float, herd_ratio: float, sigma2: float | None = None) -> float:
        """Minus twice the restricted log-likelihood, at the best residual variance unless one is given."""
        a, b, c, log_det = self.moments(cow_ratio, herd_ratio)
        free = self.n - self.p
        rest = max(c - float(b @ np.linalg.solve(a, b)), 1e-12)
        sigma2 = rest / free if sigma2 is None else sigma2
        log_a = float(np.linalg.slogdet(a)[1])
        return float(free * np.log(2 * np.pi * sigma2) + rest / sigma2 + log_det + log_a - self.log_weight)


def nested_model(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    cow: npt.ArrayLike,
    herd: npt.ArrayLike,
    weight: npt.ArrayLike | None = None,
    *,
    spreads: tuple[float, float, float] | None = None,
) -> NestedFit:
    """Fit ``y_i = x_i b + herd + cow + e_i / sqrt(weight_i)`` by restricted maximum likelihood.

    Parameters
    ----------
    y : array_like, shape (n,)
    x : array_like, shape (n, p)
        Fixed part, intercept included if there is to be one. Columns may be collinear.
    cow, herd : array_like, shape (n,)
        Labels; a cow belongs to one herd (give her a label that is hers alone).
    weight : array_like, shape (n,), optional
        Precision of each record relative to the others.
    spreads : tuple of (float, float, float), optional
        Standard deviations of herds, cows and records of weight 1 where there are too few records to find them;
        nothing but the coefficients is then estimated, and the number of records does not matter.

    Returns
    -------
    NestedFit

    Raises
    ------
    ValueError
        If there are no more records than coefficients that can be told apart.

    References
    ----------
    Bates D, Maechler M, Bolker B, Walker S (2015). J Stat Softw 67(1):1-48 (the criterion).
    Satterthwaite FE (1946). Biometrics Bulletin 2:110-114 (degrees of freedom).

    Examples
    --------
    >>> y = [3.1, 3.3, 2.8, 2.9, 4.0, 4.2, 3.7, 3.5]
    >>> fit = nested_model(y, np.ones((8, 1)), list("aabbccdd"), list("11112222"))
    >>> print(f"{fit.coefficients[0]:.2f} {fit.sd_herd:.2f} {fit.sd_cow:.2f} {fit.sd:.2f}")
    3.44 0.54 0.29 0.13
    """
    values, full = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    cows, herds = (np.unique(np.asarray(label), return_inverse=True)[1] for label in (cow, herd))
    weights = np.ones(len(values)) if weight is None else np.asarray(weight, dtype=np.float64)
    basis, rank = _told_apart(full)
    if spreads is not None:
        return _with_spreads(_Sums(values, full, weights, cows, herds), *spreads)
    if len(values) <= rank:
        raise ValueError("there must be more records than coefficients")
    sums = _Sums(values, basis, weights, cows, herds)
    several = sums.herds > 1
    repeated = len(sums.count) < len(values)

    def ratios(theta: Array) -> tuple[float, float]:
        return (float(theta[0]) ** 2 if repeated else 0.0, float(theta[1]) ** 2 if several else 0.0)

    # Cow effects are on the scale of a record of mean weight, so start there.
    start = np.array([0.7, 0.3]) / np.sqrt(weights.mean())

    def falling(theta: Array) -> tuple[float, Array]:
        at, slope = sums.falling(*ratios(theta))
        free = np.array([repeated, several], dtype=float)
        return at, 2.0 * theta * slope * free

    best = optimize.minimize(
        falling,
        start,
        method="L-BFGS-B",
        jac=True,
        bounds=[(0.0, None)] * 2,
        # Until nothing changes: stopped sooner, the third digit depends on the processor it is run on.
        options={"ftol": 1e-14, "gtol": 1e-7},
    )
    cow_ratio, herd_ratio = ratios(np.asarray(best.x))
    a, b, c, _ = sums.moments(cow_ratio, herd_ratio)
    sigma2 = max(c - float(b @ np.linalg.solve(a, b)), 1e-12) / (len(values) - rank)
    whole = _Sums(values, full, weights, cows, herds)
    information, score = (part / sigma2 for part in whole.moments(cow_ratio, herd_ratio)[:2])
    estimate, se = _solved(information, score)
    df = _satterthwaite(sums, whole, cow_ratio, herd_ratio, sigma2, len(values) - rank)
    return NestedFit(
        information=information,
        score=score,
        coefficients=estimate,
        se=se,
        df=np.where(np.isnan(se), np.nan, df),
        sd_herd=float(np.sqrt(herd_ratio * sigma2)),
        sd_cow=float(np.sqrt(cow_ratio * sigma2)),
        sd=float(np.sqrt(sigma2)),
        deviance=float(best.fun),
        converged=bool(np.isfinite(best.fun)),
    )


def _solved(information: Array, score: Array) -> tuple[Array, Array]:
    """Coefficients and their standard errors, nan where the records cannot tell them from the others."""
    spread = np.linalg.pinv(information, hermitian=True)
    known = np.isclose(np.einsum("ij,ji->i", spread, information), 1.0, atol=1e-6)
    return np.where(known, spread @ score, np.nan), np.where(known, np.sqrt(np.abs(np.diag(spread))), np.nan)


def _with_spreads(sums: _Sums, sd_herd: float, sd_cow: float, sd: float) -> NestedFit:
    """The fit where the three spreads are given."""
    information, score = (part / sd**2 for part in sums.moments((sd_cow / sd) ** 2, (sd_herd / sd) ** 2)[:2])
    estimate, se = _solved(information, score)
    return NestedFit(
        information=information,
        score=score,
        coefficients=estimate,
        se=se,
        df=np.where(np.isnan(se), np.nan, np.inf),
        sd_herd=sd_herd,
        sd_cow=sd_cow,
        sd=sd,
        deviance=float("nan"),
        converged=True,
    )


def _told_apart(x: Array) -> tuple[Array, int]:
    """An orthonormal basis of the columns of *x*, which the restricted likelihood does not change with."""
    left, size, _ = np.linalg.svd(x, full_matrices=False)
    rank = int((size > size[0] * 1e-9).sum()) if len(size) else 0
    return left[:, :rank] * np.sqrt(len(x)), rank


def _satterthwaite(sums: _Sums, whole: _Sums, cow_ratio: float, herd_ratio: float, sigma2: float, free: int) -> Array:
    """Degrees of freedom of each coefficient, from how unsurely the variances are known."""
    from statsmodels.tools.numdiff import approx_fprime, approx_hess

    variances = np.array([sigma2, cow_ratio * sigma2, herd_ratio * sigma2])
    kept = variances > 1e-6 * sigma2 / max(float(sums.count.mean()), 1e-12)
    kept[0] = True

    def filled(logs: Array) -> Array:
        out = np.where(kept, variances, 0.0)
        out[kept] = np.exp(logs)
        return out

    def deviance(logs: Array) -> float:
        s, c, h = filled(logs)
        return sums.deviance(c / s, h / s, s)

    def spread(logs: Array) -> Array:
        s, c, h = filled(logs)
        a = whole.moments(c / s, h / s)[0] / s
        return np.asarray(np.diag(np.linalg.pinv(a, hermitian=True)))

    at = np.log(variances[kept])
    hessian = np.atleast_2d(approx_hess(at, deviance)) / 2.0
    slope = np.asarray(approx_fprime(at, spread, centered=True)).reshape(whole.p, -1)
    unsure = np.einsum("ij,jk,ik->i", slope, np.linalg.pinv(hessian, hermitian=True), slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = 2.0 * spread(at) ** 2 / unsure
    return np.asarray(np.clip(np.nan_to_num(df, nan=1.0, posinf=float(free)), 1.0, float(free)))
