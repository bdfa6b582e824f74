"""What cases cost, with how unsure that is: random draws from published mean and spread."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.methods.intervals import LEVEL, normal_quantile

DRAWS = 20_000


@dataclass(frozen=True)
class CostEstimate:
    """Cost of the cases of a herd.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a kind: ``kind``, ``cases``, ``mean``, ``sd`` (cost a case as given), ``total`` (cases times
        mean), ``low``, ``high`` (limits of the total), in the currency given.
    total, median, low, high : float
        Of the sum over kinds.
    draws : int
        Random draws behind the limits.
    """

    table: pd.DataFrame
    total: float
    median: float
    low: float
    high: float
    draws: int


def simulate_cost(
    cases: Mapping[str, float],
    cost: Mapping[str, tuple[float, float]],
    level: float = LEVEL,
    *,
    shape: Literal["gamma", "lognormal"] = "gamma",
    spread: Literal["herd", "case"] = "herd",
    draws: int = DRAWS,
    seed: int = 0,
) -> CostEstimate:
    """Total cost of cases whose cost a case is known as mean and standard deviation.

    Costs are drawn from a gamma (shape mean^2/sd^2, scale sd^2/mean) or a lognormal distribution with that
    mean and standard deviation, never below 0. ``spread="herd"`` takes the SD as not knowing what a case
    costs in this herd: one draw holds for all its cases, and limits stay wide however many there are.
    ``"case"`` takes it as cases differing from each other, and luck evens out over many.

    Parameters
    ----------
    cases : mapping of str to float
        Number of cases by kind.
    cost : mapping of str to (mean, sd)
        Cost a case, in one currency. Kinds without cost are refused, kinds without cases are left out.
    level : float, default 0.95
        Share of draws between the limits.
    shape : {"gamma", "lognormal"}
        Distribution.
    spread : {"herd", "case"}
        What the SD stands for.
    draws, seed : int
        Number of random draws, and the start of the random numbers.

    Returns
    -------
    CostEstimate
        Zeros when there are no cases.

    Raises
    ------
    ValueError
        If a kind has no cost, a number is negative, a mean is 0 with an SD, or an argument is unknown.

    References
    ----------
    Bruijnis MRN, Hogeveen H, Stassen EN (2010). J Dairy Sci 93:2419-2432 (stochastic simulation of such
    costs). Briggs A, Claxton K, Sculpher M (2006). Decision Modelling for Health Economic Evaluation, chapter
    4 (gamma).

    Examples
    --------
    >>> found = simulate_cost({"DD": 10, "SU": 4}, {"DD": (137, 36), "SU": (252, 39)})
    >>> print(f"{found.total:.0f}")
    2378
    >>> found.low < found.total < found.high
    True
    """
    normal_quantile(level)
    if shape not in ("gamma", "lognormal"):
        raise ValueError(f'shape must be "gamma" or "lognormal", got {shape!r}')
    if spread not in ("herd", "case"):
        raise ValueError(f'spread must be "herd" or "case", got {spread!r}')
    rng = np.random.default_rng(seed)
    whole = np.zeros(draws)
    tail = (1 - level) / 2
    rows = []
    for kind, count in cases.items():
        if kind not in cost:
            raise ValueError(f"no cost is given for {kind!r}")
        mean, sd = cost[kind]
        if count < 0 or mean < 0 or sd < 0 or (mean == 0 and sd > 0):
            raise ValueError(f"the cases and the cost of {kind!r} cannot be negative")
        drawn = _totals(rng, float(count), float(mean), float(sd), shape, spread, draws)
        whole = whole + drawn
        low, high = np.quantile(drawn, [tail, 1 - tail])
        rows.append((kind, float(count), mean, sd, count * mean, float(low), float(high)))
    low, high = np.quantile(whole, [tail, 1 - tail])
    table = pd.DataFrame(rows, columns=["kind", "cases", "mean", "sd", "total", "low", "high"])
    return CostEstimate(table, float(table["total"].sum()), float(np.median(whole)), float(low), float(high), draws)


def _totals(
    rng: np.random.Generator, count: float, mean: float, sd: float, shape: str, spread: str, draws: int
) -> npt.NDArray[np.float64]:
    if count == 0 or mean == 0 or sd == 0:
        return np.full(draws, count * mean)
    if spread == "case":
        # The sum of independent cases has mean count * mean and variance count * sd^2.
        mean, sd, count = mean * count, sd * float(np.sqrt(count)), 1.0
    if shape == "gamma":
        return count * rng.gamma((mean / sd) ** 2, sd**2 / mean, draws)
    log_variance = float(np.log1p((sd / mean) ** 2))
    return count * rng.lognormal(np.log(mean) - log_variance / 2, np.sqrt(log_variance), draws)
