"""Rates of many farms (or trimmers, sires) at once, pulled towards their common mean as far as luck goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.intervals import LEVEL, as_counts, normal_quantile

Array = npt.NDArray[np.float64]

DRAWS = 4000  # random draws behind limits and ranks; limits are steady to about 1 % of their width
_GRID = 80
_COLUMNS = [
    "cases", "n", "observed", "shrunken", "low", "high", "weight", "rank", "rank_low", "rank_high",
]  # fmt: skip


@dataclass(frozen=True)
class ShrunkenRates:
    """Rates allowing for luck.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a farm in the order given: ``cases``, ``n``, ``observed`` (proportion, nan for n = 0),
        ``shrunken`` (posterior mean), ``low``, ``high`` (credible limits), ``weight`` (0 to 1: how much its
        own records count against the common mean), ``rank`` (1 = lowest expected rate), ``rank_low``,
        ``rank_high`` (credible limits of the rank).
    mean : float
        Mean of the distribution of farms (posterior mean), as a proportion.
    alpha, beta : float
        Posterior means of the beta distribution of farms.
    icc : float
        Likeness of two units of one farm, ``1 / (alpha + beta + 1)`` (posterior mean).
    farms : int
        Farms with n > 0.
    reason : str
        Why there is no answer; "" when there is.
    """

    table: pd.DataFrame
    mean: float
    alpha: float
    beta: float
    icc: float
    farms: int
    reason: str = ""


def shrunken_rates(
    cases: npt.ArrayLike, n: npt.ArrayLike, level: float = LEVEL, *, draws: int = DRAWS, seed: int = 0
) -> ShrunkenRates:
    """Beta-binomial shrinkage with rank uncertainty.

    Farms' true rates are Beta(alpha, beta); records are binomial. (alpha, beta) has the density proportional
    to (alpha + beta)^(-5/2) and is integrated over on a grid of (log(alpha/beta), log(alpha + beta)), so that
    limits allow for not knowing how unlike farms are. A farm's rate given (alpha, beta) is
    Beta(alpha + cases, beta + n - cases).

    Parameters
    ----------
    cases, n : array_like, shape (farms,)
        Affected and looked at in each farm.
    level : float, default 0.95
        Credible level.
    draws, seed : int
        Number of random draws, and the start of the random numbers.

    Returns
    -------
    ShrunkenRates
        nan figures and a ``reason`` with fewer than three farms with records.

    Raises
    ------
    ValueError
        If counts are impossible or *level* is not between 0 and 1.

    References
    ----------
    Gelman A et al. (2013). Bayesian Data Analysis, 3rd ed., section 5.3.
    Goldstein H, Spiegelhalter DJ (1996). League tables and their limitations. J R Stat Soc A 159:385-443.

    Examples
    --------
    >>> found = shrunken_rates([0, 12, 30, 9, 14], [8, 60, 90, 70, 65])
    >>> [round(float(x), 2) for x in found.table.shrunken]
    [0.13, 0.2, 0.31, 0.15, 0.22]
    """
    normal_quantile(level)
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    with np.errstate(divide="ignore", invalid="ignore"):
        observed = c / total
    farms = int((total > 0).sum())
    table = pd.DataFrame({"cases": c, "n": total, "observed": observed}, columns=_COLUMNS)
    nan = float("nan")
    if farms < 3:
        return ShrunkenRates(table, nan, nan, nan, nan, farms, say("The spread of farms needs at least three of them."))
    rng = np.random.default_rng(seed)
    alpha, beta = _hyper_draws(c[total > 0], total[total > 0], draws, rng)
    a, b = alpha[:, None] + c, beta[:, None] + total - c
    rates = rng.beta(a, b)
    tail = (1 - level) / 2
    low, high = np.quantile(rates, [tail, 1 - tail], axis=0)
    ranks = rates.argsort(axis=1).argsort(axis=1) + 1
    table["shrunken"] = (a / (a + b)).mean(axis=0)
    table["low"], table["high"] = low, high
    table["weight"] = (total / (alpha[:, None] + beta[:, None] + total)).mean(axis=0)
    table["rank"] = table["shrunken"].rank(method="first").astype(int)
    rank_low, rank_high = np.quantile(ranks, [tail, 1 - tail], axis=0, method="nearest")
    table["rank_low"], table["rank_high"] = rank_low.astype(int), rank_high.astype(int)
    return ShrunkenRates(
        table=table,
        mean=float((alpha / (alpha + beta)).mean()),
        alpha=float(alpha.mean()),
        beta=float(beta.mean()),
        icc=float((1 / (alpha + beta + 1)).mean()),
        farms=farms,
    )


def _log_posterior(c: Array, total: Array, u: Array, v: Array) -> Array:
    """Log density on the grid u = log(alpha/beta), v = log(alpha + beta), up to a constant."""
    size = np.exp(v)
    alpha, beta = size * special.expit(u), size * special.expit(-u)
    value = np.log(alpha) + np.log(beta) - 2.5 * v - len(c) * special.betaln(alpha, beta)
    for ci, ni in zip(c, total, strict=True):
        value = value + special.betaln(alpha + ci, beta + ni - ci)
    return np.asarray(value)


def _hyper_draws(
    c: Array, total: Array, draws: int, rng: np.random.Generator
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    centre = float(special.logit((c.sum() + 0.5) / (total.sum() + 1.0)))
    lo, hi = np.array([centre - 4.0, -3.0]), np.array([centre + 4.0, 14.0])
    for final in (False, True):
        u, v = (np.linspace(lo[i], hi[i], _GRID) for i in (0, 1))
        grid_u, grid_v = np.meshgrid(u, v, indexing="ij")
        log = _log_posterior(c, total, grid_u, grid_v)
        weight = np.exp(log - log.max())
        if final:
            break
        # The second grid covers what the first found worth covering, at a finer step.
        kept = np.argwhere(weight > 1e-6)
        step = (hi - lo) / (_GRID - 1)
        lo, hi = lo + (kept.min(axis=0) - 1) * step, lo + (kept.max(axis=0) + 1) * step
    picked = rng.choice(weight.size, size=draws, p=(weight / weight.sum()).ravel())
    jitter = rng.uniform(-0.5, 0.5, (2, draws)) * ((hi - lo) / (_GRID - 1))[:, None]
    at_u, at_v = grid_u.ravel()[picked] + jitter[0], grid_v.ravel()[picked] + jitter[1]
    size = np.exp(at_v)
    return size * special.expit(at_u), size * special.expit(-at_u)
