"""Rates per time at risk whose units come in clusters (cases of one cow, cows of one farm)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile, rate_ratio

Array = npt.NDArray[np.float64]

UNSEEN_VARIANCE = 1.0
"""Variance of the rates of clusters, over their mean squared, assumed where no event, or one cluster alone, was seen
and the data cannot tell: rates that differ as much as they are high. [common practice, no source]"""

TAIL = 3.5
"""How much harder unlike clusters lower the degrees of freedom than gamma-spread rates would: log-normal rates have
longer tails, and the few highest clusters carry mean and variance. As in `cluster.cluster_proportion`, and chosen by
simulation: ``python -m tests.scale.worlds_rates``."""


LEAST_DF = 2.5
"""Degrees of freedom are not lowered below this (nor raised above clusters less 1). With 4 to 6 very unlike farms fewer
make limits many times wider and cover no more: 94.3 % against 94.8 (``python -m tests.scale.worlds_rates``)."""


def relative_reach(
    variance: npt.ArrayLike, least: npt.ArrayLike, clusters: npt.ArrayLike, level: float = LEVEL
) -> tuple[Any, Any]:
    """How far limits reach, relative to a rate (or on the log scale), and the degrees of freedom used.

    ``max(t(df) * sqrt(variance), z * sqrt(least))``, with ``df = (k - 1) / (1 + 3.5 c ((d - 1) / d)^2)``: c is the
    variance of the clusters' rates over their mean squared, d the design effect ``variance / least``. It follows
    Satterthwaite's rule for a mean of long-tailed clusters. Limits are never nearer than those of independent events.

    Parameters
    ----------
    variance : array_like
        Cluster-robust variance of the log rate.
    least : array_like
        Its variance were events independent (1 over the number of events).
    clusters : array_like
        Effective number of clusters, k.
    level : float, default 0.95

    Returns
    -------
    reach, df : ndarray
    """
    robust, independent, k = np.broadcast_arrays(variance, least, clusters)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.maximum(robust - independent, 0.0) * k
        design = np.maximum(robust / independent, 1.0)
        df = (k - 1.0) / (1.0 + TAIL * spread * ((design - 1.0) / design) ** 2)
        df = np.maximum(df, np.clip(k - 1.0, 1.0, LEAST_DF))
        t = special.stdtrit(df, 0.5 + level / 2.0)
        reach = np.maximum(t * np.sqrt(robust), normal_quantile(level) * np.sqrt(independent))
    return reach, df


def highest_without_events(time: npt.ArrayLike, clusters: npt.ArrayLike, level: float = LEVEL) -> Any:
    """The highest rate at which no event at all has a chance of half the error, clusters differing as assumed.

    With gamma-spread rates of variance v over mean squared the chance of none is ``(1 + v r T / k) ** (-k / v)``.

    Examples
    --------
    The rule of three (3.69 events, one-sided 2.5 %) when there are many clusters:

    >>> print(f"{highest_without_events(100.0, 1e6):.4f} {highest_without_events(100.0, 4):.4f}")
    0.0369 0.0606
    """
    at_risk, k = np.broadcast_arrays(np.asarray(time, dtype=float), np.asarray(clusters, dtype=float))
    v = UNSEEN_VARIANCE
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.expm1(-np.log((1.0 - level) / 2.0) * v / k) * k / v / at_risk


def lowest_all_free(n: npt.ArrayLike, clusters: npt.ArrayLike, level: float = LEVEL) -> Any:
    """The lowest share of free units at which all *n* of so many clusters are free with a chance of half the error.

    The same gamma-spread clusters as in `highest_without_events`: a unit is free with chance ``(1 + v L) ** (-1 /
    v)``, a cluster of m units with ``(1 + v L m) ** (-1 / v)``.

    Examples
    --------
    Twenty units that are clusters of their own: the binomial's exact limit.

    >>> print(f"{lowest_all_free(20, 20):.4f} {0.025 ** (1 / 20):.4f} {lowest_all_free(20, 4):.4f}")
    0.8316 0.8316 0.7675
    """
    units, k = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(clusters, dtype=float))
    hazard = highest_without_events(units, np.minimum(k, units), level)
    return (1.0 + UNSEEN_VARIANCE * hazard) ** (-1.0 / UNSEEN_VARIANCE)


def cluster_rates(frame: pd.DataFrame, group: Sequence[str], cluster: str, level: float = LEVEL) -> pd.DataFrame:
    """Rates with limits that allow for likeness within clusters.

    The rate is events over time, r. Its variance is that of the delete-one jackknife over clusters, ``(k - 1) / k * sum
    ((events_i - r time_i) / (T - time_i))^2``; the limits are score limits for a count, ``r (1 + s/2 -/+ sqrt(s +
    s^2/4))`` with s the squared reach of `relative_reach`. Without events, and with one cluster alone, how unlike
    clusters are is assumed (``UNSEEN_VARIANCE``).

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group and cluster: the *group* columns, *cluster*, ``events`` and ``time``.
    group : sequence of str
        Columns that make a group; none for all as one.
    cluster : str
        Column of the cluster.
    level : float, default 0.95

    Returns
    -------
    pandas.DataFrame
        One row a group, in order: the group columns, events, time, rate, low, high (nan without time), clusters (with
        time), variance (of the log rate), df. The last two are nan without events.

    References
    ----------
    Cochran WG (1977). Sampling Techniques, 3rd ed., section 6.17 (jackknife of a ratio). Rao JNK, Scott AJ (1999). Stat
    Med 18:1373-1385 (over-dispersed counts of clusters). Satterthwaite FE (1946). Biometrics Bull 2:110-114.

    Examples
    --------
    >>> frame = pd.DataFrame({"farm": list("abcdef"), "events": [3, 9, 4, 1, 12, 6], "time": [10.0] * 6})
    >>> found = cluster_rates(frame, [], "farm").iloc[0]
    >>> print(f"{found['rate']:.2f} ({found['low']:.2f} to {found['high']:.2f})")
    0.58 (0.26 to 1.33)
    """
    keys = list(group)
    rows = frame[[*keys, cluster, "events", "time"]]
    rows = rows.groupby([*keys, cluster], dropna=False, as_index=False)[["events", "time"]].sum()
    if not keys:
        rows = rows.assign(_all=0)
        keys = ["_all"]
    rows = _pulls(rows, keys)
    sums = rows.groupby(keys, dropna=False, sort=True)
    out = sums[["events", "time"]].sum()
    out["clusters"] = sums["present"].sum().astype("int64")
    k = out["clusters"].to_numpy(dtype=float)
    events, time = out["events"].to_numpy(dtype=float), out["time"].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(time > 0, events / time, np.nan)
        effective = time**2 / sums["squared"].sum().to_numpy()
        robust = (k - 1.0) / k * sums["pull_squared"].sum().to_numpy()
        robust = np.where(k >= 2, robust, 1.0 / events + UNSEEN_VARIANCE)
        reach, df = relative_reach(robust, 1.0 / events, effective, level)
        # One cluster shows no spread: it is assumed, and known.
        reach = np.where(k >= 2, reach, normal_quantile(level) * np.sqrt(robust))
        s = reach**2
        low, high = (rate * (1.0 + s / 2.0 + side * np.sqrt(s + s * s / 4.0)) for side in (-1.0, 1.0))
        none = (events == 0) & (time > 0)
        low = np.where(none, 0.0, low)
        high = np.where(none, highest_without_events(time, np.maximum(effective, 1.0), level), high)
    some = events > 0
    out = out.assign(rate=rate, low=np.where(time > 0, low, np.nan), high=np.where(time > 0, high, np.nan))
    out = out.assign(variance=np.where(some, robust, np.nan), df=np.where(some & (k >= 2), df, np.nan))
    out = out.reset_index()
    return out.drop(columns="_all") if "_all" in out else out


def _pulls(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """How far the log rate of its group moves when a cluster is left out, to first order: column ``pull``."""
    sums = rows.groupby(keys, dropna=False)[["events", "time"]].transform("sum")
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = sums["events"] / sums["time"]
        rest = (sums["time"] - rows["time"]).where(lambda left: left > 0, sums["time"])
        pull = ((rows["events"] - rate * rows["time"]) / rest / rate).to_numpy(dtype=float)
    return rows.assign(
        pull=np.where(np.isfinite(pull), pull, 0.0),
        pull_squared=np.where(np.isfinite(pull), pull, 0.0) ** 2,
        squared=rows["time"] ** 2,
        present=rows["time"] > 0,
    )


def cluster_rate_ratios(
    frame: pd.DataFrame, group: str, reference: Any, cluster: str, level: float = LEVEL, *, within: bool = False
) -> pd.DataFrame:
    """Ratios of the rates of groups to that of a reference group.

    A cluster that has time in both groups counts in both, so what its units share cancels. With *within* the ratio is
    Mantel and Haenszel's over clusters: ``sum(e1 T0 / T) / sum(e0 T1 / T)``, T = T1 + T0 the time of the cluster; what
    clusters differ in then does not come in, and clusters with one of the groups alone say nothing. Variances are
    those of the jackknife over clusters, on the log scale, with t quantiles, never below the variance of independent
    events.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a group and cluster: *group*, *cluster*, ``events``, ``time``.
    group : str
        Column of the group.
    reference : object
        The group the others are compared with.
    cluster : str
        Column of the cluster.
    level : float, default 0.95
    within : bool, default False
        Compare within clusters only.

    Returns
    -------
    pandas.DataFrame
        Index the group: ratio, low, high, clusters (that have both groups, with *within*; else with either). The
        reference has 1 three times. nan where there is no time, or with *within* fewer than two clusters with both.
        Where one side has no event, the limits are the exact ones of independent events.

    References
    ----------
    Mantel N, Haenszel W (1959). J Natl Cancer Inst 22:719-748; for rates, Greenland S, Robins JM (1985). Biometrics
    41:55-68. Cochran WG (1977). Sampling Techniques, 3rd ed., section 6.17 (jackknife).

    Examples
    --------
    Four farms, indoors and at grass; each farm has twice the rate indoors:

    >>> frame = pd.DataFrame({"farm": [*"abcd"] * 2, "housing": ["in"] * 4 + ["out"] * 4, "time": [10.0] * 8,
    ...                       "events": [40, 20, 11, 62, 20, 10, 5, 30]})
    >>> found = cluster_rate_ratios(frame, "housing", "out", "farm", within=True).loc["in"]
    >>> print(f"{found['ratio']:.2f}, {found['clusters']:.0f} farms")
    2.05, 4 farms
    """
    rows = frame.groupby([group, cluster], dropna=False, as_index=False)[["events", "time"]].sum()
    rows = _pulls(rows, [group])
    base = rows[rows[group] == reference].set_index(cluster)
    if within:
        parts = ((name, part.set_index(cluster)) for name, part in rows.groupby(group))
        found = {name: _within(part, base, level) for name, part in parts}
        out = pd.DataFrame.from_dict(found, orient="index", columns=["ratio", "low", "high", "clusters"])
    else:
        out = _crude(rows, base, group, reference, cluster, level)
    out.index.name = group
    out.loc[[reference], ["ratio", "low", "high"]] = 1.0
    return out


def _crude(
    rows: pd.DataFrame, base: pd.DataFrame, group: str, reference: Any, cluster: str, level: float
) -> pd.DataFrame:
    """Ratios of the rates of groups, clusters shared or not."""
    each = cluster_rates(rows, [group], cluster, level).set_index(group)
    own = each.loc[reference]
    together = rows.assign(product=rows["pull"] * rows[cluster].map(base["pull"]).fillna(0.0))
    together["alone"] = ~rows[cluster].isin(base.index)
    sums = together.groupby(group, dropna=False).agg(product=("product", "sum"), alone=("alone", "sum"))
    k = (sums["alone"] + len(base)).to_numpy(dtype=float)
    events, time = each["events"].to_numpy(dtype=float), each["time"].to_numpy(dtype=float)
    ratio, low, high = (np.array(x) for x in rate_ratio(events, time, own["events"], own["time"], level))
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = each["variance"].to_numpy() + own["variance"] - 2.0 * (k - 1.0) / k * sums["product"].to_numpy()
        # Welch and Satterthwaite; a single cluster's variance is assumed, and known.
        parts = [(each["variance"].to_numpy(), each["df"].to_numpy()), (own["variance"], own["df"])]
        df = sum(v for v, _ in parts) ** 2 / sum(np.where(np.isfinite(d), v * v / d, 0.0) for v, d in parts)
        reach = _reach(variance, 1.0 / events + 1.0 / own["events"], df, level)
    some = (events > 0) & (time > 0) & (own["events"] > 0) & (own["time"] > 0)
    return pd.DataFrame(
        {
            "ratio": ratio,
            "low": np.where(some, ratio * np.exp(-reach), low),
            "high": np.where(some, ratio * np.exp(reach), high),
            "clusters": k,
        },
        index=each.index,
    )


def _within(part: pd.DataFrame, base: pd.DataFrame, level: float) -> tuple[float, float, float, float]:
    """Mantel and Haenszel's ratio over the clusters that have both groups."""
    nan = float("nan")
    columns = ["events", "time"]
    both = part[columns].join(base[columns].rename(columns=lambda name: f"{name}_base"), how="inner")
    both = both[(both["time"] > 0) & (both["time_base"] > 0)]
    k = float(len(both))
    if k < 2:
        return nan, nan, nan, k
    time = (both["time"] + both["time_base"]).to_numpy()
    one = (both["events"] * both["time_base"]).to_numpy() / time
    other = (both["events_base"] * both["time"]).to_numpy() / time
    events = (both["events"] + both["events_base"]).to_numpy(dtype=float)
    weight = events * (both["time"] * both["time_base"]).to_numpy() / time**2
    if one.sum() == 0 or other.sum() == 0:
        if events.sum() == 0:
            return nan, nan, nan, k
        share = float((events * both["time"].to_numpy() / time).sum() / events.sum())
        exact = rate_ratio(both["events"].sum(), share, both["events_base"].sum(), 1.0 - share, level)
        return float(exact[0]), float(exact[1]), float(exact[2]), k
    held = weight / weight.sum()
    pull = (one / one.sum() - other / other.sum()) / np.maximum(1.0 - held, 1e-9)
    variance = (k - 1.0) / k * float((pull[held < 1.0] ** 2).sum())
    least = float(weight.sum() / (one.sum() * other.sum()))
    effective = 1.0 / float((held**2).sum())
    ratio = float(one.sum() / other.sum())
    reach = float(_reach(variance, least, max(effective - 1.0, 1.0), level))
    return ratio, ratio * float(np.exp(-reach)), ratio * float(np.exp(reach)), k


def _reach(variance: Any, least: Any, df: Any, level: float) -> Any:
    """How far the limits of a log ratio reach."""
    z = normal_quantile(level)
    t = np.where(np.isfinite(df), special.stdtrit(np.maximum(df, 1.0), 0.5 + level / 2.0), z)
    return np.maximum(t * np.sqrt(np.maximum(variance, 0.0)), z * np.sqrt(least))
