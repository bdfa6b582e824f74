"""Worlds whose truth is known, for what goes by time at risk, by sire and by two people's grades.

Run with ``python -m tests.scale.worlds_rates``.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.cluster_rates import cluster_rate_ratios, cluster_rates
from analytics.methods.intervals import poisson_rate, rate_ratio
from analytics.methods.kappa import kappa_limits

Array = npt.NDArray[np.float64]

PREVALENCES = (0.1, 0.15, 0.2, 0.3, 0.5)
KAPPAS = (0.2, 0.4, 0.6, 0.8, 0.9, 0.95)


def tables_of_two(n: int) -> Array:
    """Every table that two people can make of *n* units with two grades: shape (tables, 2, 2)."""
    a, b, c = (x.ravel() for x in np.indices((n + 1,) * 3))
    kept = a + b + c <= n
    a, b, c = a[kept], b[kept], c[kept]
    return np.stack([a, b, c, n - a - b - c], axis=-1).reshape(-1, 2, 2).astype(float)


def large_sample_kappa(tables: Array) -> tuple[Array, Array]:
    """Kappa of tables of two grades and its large-sample standard error, written out anew (Fleiss, Cohen, Everitt)."""
    n = tables.sum((-1, -2))
    p = tables / n[:, None, None]
    rows, columns = p.sum(-1), p.sum(-2)
    same, chance = p[:, 0, 0] + p[:, 1, 1], (rows * columns).sum(-1)
    kappa = (same - chance) / (1 - chance)
    left = 1 - kappa
    first = sum(p[:, i, i] * (1 - (rows[:, i] + columns[:, i]) * left) ** 2 for i in (0, 1))
    second = left**2 * sum(p[:, i, 1 - i] * (columns[:, i] + rows[:, 1 - i]) ** 2 for i in (0, 1))
    inside = first + second - (kappa - chance * left) ** 2
    return kappa, np.sqrt(np.maximum(inside, 0.0) / n) / (1 - chance)


def exact_kappa_coverage(n: int) -> pd.DataFrame:
    """Coverage of the limits of kappa for two grades, summed over every table, where a kappa exists.

    Returns
    -------
    pandas.DataFrame
        prevalence (of both people), kappa, coverage, width, and large_sample (coverage of kappa plus and minus 1.96
        standard errors).
    """
    tables = tables_of_two(n)
    low, high = kappa_limits(tables)
    known = np.isfinite(low)
    tables, low, high = tables[known], low[known], high[known]
    centre, se = large_sample_kappa(tables)
    ways = special.gammaln(n + 1) - special.gammaln(tables + 1).sum((-1, -2))
    rows = []
    for p in PREVALENCES:
        for kappa in KAPPAS:
            apart = p * (1 - p) * (1 - kappa)
            shares = np.array([[p - apart, apart], [apart, 1 - p - apart]])
            chance = np.exp(ways + special.xlogy(tables, shares).sum((-1, -2)))
            chance /= chance.sum()
            held = (low - 1e-9 <= kappa) & (kappa <= high + 1e-9)
            wald = np.abs(centre - kappa) <= 1.96 * se
            rows.append((p, kappa, chance @ held, chance @ (high - low), chance @ wald))
    return pd.DataFrame(rows, columns=["prevalence", "kappa", "coverage", "width", "large_sample"])


def herds_over_time(
    farms: int, spread: float, per_100: float, repeats: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, float]:
    """Farms of unlike size and rate: one row a repeat and farm, with its events and cow-months.

    Farms have 100 cows on average (log-normal, coefficient of variation 0.6), followed for 20 to 24 months; the rate
    of a farm is log-normal with *spread*, and cows of a farm differ as an exponential does. Returns the frame (world,
    farm, events, time) and the true mean rate a month.
    """
    shape = (repeats, farms)
    wide = np.sqrt(np.log(1.36))
    cows = np.maximum(rng.lognormal(np.log(100) - wide**2 / 2, wide, shape).round(), 15)
    time = cows * 24 * rng.uniform(0.8, 1.0, shape)
    rate = per_100 / 100 * np.exp(spread * rng.standard_normal(shape))
    events = rng.poisson(rate * time * rng.gamma(cows, 1 / cows))
    world, farm = np.indices(shape)
    frame = {"world": world.ravel(), "farm": farm.ravel(), "events": events.ravel(), "time": time.ravel()}
    return pd.DataFrame(frame), per_100 / 100 * float(np.exp(spread**2 / 2))


def rate_coverage(farms: int, spread: float, per_100: float, repeats: int, seed: int = 1) -> dict[str, float]:
    """Coverage of the limits of a rate, and of exact Poisson limits, which take every case for independent."""
    frame, truth = herds_over_time(farms, spread, per_100, repeats, np.random.default_rng(seed))
    found = cluster_rates(frame, ["world"], "farm")
    low, high = poisson_rate(found["events"], found["time"])
    return {
        "coverage": float(((found["low"] <= truth) & (truth <= found["high"])).mean()),
        "poisson": float(((low <= truth) & (truth <= high)).mean()),
        "width": float((np.log(found["high"]) - np.log(found["low"].clip(lower=1e-9))).median()),
    }


def ratio_coverage(
    farms: int, spread: float, per_100: float, repeats: int, *, apart: bool = False, unlike: float = 0.2, seed: int = 1
) -> dict[str, float]:
    """Coverage of a rate ratio of 1.5 between two kinds of housing, farms differing by *spread* and in the ratio by
    *unlike* (log scale).

    Each farm has both kinds in a share of its own (the more, the higher its rate), or with *apart* one of them.
    """
    rng = np.random.default_rng(seed)
    held = crude = told = 0
    truth = np.log(1.5)
    for _ in range(repeats):
        frame, _ = herds_over_time(farms, 0.0, 1.0, 1, rng)
        farm = spread * rng.standard_normal(farms)
        share = (np.arange(farms) % 2).astype(float) if apart else special.expit(farm + rng.standard_normal(farms))
        effect = truth + unlike * rng.standard_normal(farms)
        time = np.concatenate([frame["time"] * share, frame["time"] * (1 - share)])
        rate = per_100 / 100 * np.exp(np.concatenate([farm + effect, farm]))
        both = pd.DataFrame({"farm": np.tile(np.arange(farms), 2), "kind": np.repeat(["one", "other"], farms)})
        both = both.assign(time=time, events=rng.poisson(rate * time))
        both = both[both["time"] > 0]
        found = cluster_rate_ratios(both, "kind", "other", "farm", within=not apart).loc["one"]
        sums = both.groupby("kind")[["events", "time"]].sum()
        _, low, high = rate_ratio(*sums.loc["one"], *sums.loc["other"])
        told += np.isfinite(found["low"])
        held += np.log(found["low"]) <= truth <= np.log(found["high"])
        crude += np.log(low) <= truth <= np.log(high)
    return {"coverage": held / max(told, 1), "poisson": crude / repeats}
