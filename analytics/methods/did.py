"""Difference in differences: did the herds that changed move more than the herds that did not?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from analytics.methods.intervals import LEVEL, normal_quantile
from analytics.words import say


@dataclass(frozen=True)
class DifferenceInDifferences:
    """The change of the changed group less the change of the other.

    Attributes
    ----------
    cells : pandas.DataFrame
        ``treated``, ``after`` (booleans), ``cases``, ``n``, ``p``: the four proportions.
    difference, low, high, p_value : float
        ``(p11 - p10) - (p01 - p00)`` as a proportion, its limits and p-value.
    odds_ratio, odds_low, odds_high : float
        The same as a ratio of odds ratios.
    clusters_treated, clusters_other : int
        Clusters in each group.
    df : float
        Degrees of freedom of the t quantile.
    reason : str
        Why there are no limits; "" when there are.
    """

    cells: pd.DataFrame
    difference: float
    low: float
    high: float
    p_value: float
    odds_ratio: float
    odds_low: float
    odds_high: float
    clusters_treated: int
    clusters_other: int
    df: float
    reason: str = ""


def difference_in_differences(
    frame: pd.DataFrame,
    cases: str,
    n: str,
    treated: str,
    after: str,
    cluster: str,
    level: float = LEVEL,
) -> DifferenceInDifferences:
    """Compare the change of two groups, with clusters followed from before to after.

    The four proportions are ratio estimates. Cluster i contributes
    ``z_i = sum over its cells of sign * (m - p n) / N`` (sign + after, - before; turned round in the other
    group), and the variance is ``sum over groups of k/(k-1) * sum (z_i - mean)^2``, so that a cluster's own
    before and after are paired. Limits use t on Welch's degrees of freedom.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row (or more) a cluster and period.
    cases, n : str
        Columns of affected and looked at.
    treated, after : str
        Boolean columns: does the cluster belong to the group that changed; is the row after the change.
    cluster : str
        Column of the cluster. A cluster belongs to one group.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    DifferenceInDifferences
        nan limits and a ``reason`` with fewer than two clusters in a group or an empty cell.

    Raises
    ------
    ValueError
        If a column is missing, counts are impossible, or a cluster is in both groups.

    References
    ----------
    Bertrand M, Duflo E, Mullainathan S (2004). Q J Econ 119:249-275 (why the cluster is the unit).

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": list("aabbccdd"), "changed": [True] * 4 + [False] * 4,
    ...     "after": [False, True] * 4, "lame": [20, 10, 24, 15, 19, 18, 22, 23], "cows": [80] * 8})
    >>> found = difference_in_differences(frame, "lame", "cows", "changed", "after", "herd")
    >>> print(f"{found.difference:.3f}")
    -0.119
    """
    normal_quantile(level)
    missing = [x for x in (cases, n, treated, after, cluster) if x not in frame.columns]
    if missing:
        raise ValueError(f"the frame has no column {missing[0]!r}")
    rows = pd.DataFrame(
        {
            "m": frame[cases].astype(float),
            "n": frame[n].astype(float),
            "treated": frame[treated].astype(bool),
            "after": frame[after].astype(bool),
            "cluster": frame[cluster],
        }
    )
    if bool(((rows["m"] < 0) | (rows["m"] > rows["n"])).any()):
        raise ValueError("cases must lie between 0 and the units looked at")
    rows = rows[rows["n"] > 0]
    if len(rows) and int(rows.groupby("cluster")["treated"].nunique().max()) > 1:
        raise ValueError("a cluster must belong to one group")
    cells = pd.DataFrame([(a, b) for a in (True, False) for b in (True, False)], columns=["treated", "after"])
    totals = rows.groupby(["treated", "after"], as_index=False)[["m", "n"]].sum()
    cells = cells.merge(totals, on=["treated", "after"], how="left").fillna({"m": 0.0, "n": 0.0})
    cells = cells.rename(columns={"m": "cases"})
    cells["p"] = cells["cases"] / cells["n"].where(cells["n"] > 0)
    k = [int(rows.loc[rows["treated"] == g, "cluster"].nunique()) for g in (True, False)]
    p11, p10, p01, p00 = (float(x) for x in cells["p"])
    difference = (p11 - p10) - (p01 - p00)
    with np.errstate(divide="ignore", invalid="ignore"):
        logits = special.logit(cells["p"].to_numpy())
        log_ratio = float((logits[0] - logits[1]) - (logits[2] - logits[3]))
    nan = float("nan")
    if bool((cells["n"] == 0).any()) or min(k) < 2:
        reason = say("Limits need at least two herds in each group, seen before and after.")
        odds = float(np.exp(log_ratio)) if np.isfinite(log_ratio) else nan
        return DifferenceInDifferences(cells, difference, nan, nan, nan, odds, nan, nan, k[0], k[1], nan, reason)
    v, df = _variance(rows, cells, k, logit=False)
    t = float(special.stdtrit(df, 0.5 + level / 2.0))
    se = float(np.sqrt(v))
    odds_low = odds_high = nan
    if np.isfinite(log_ratio):
        v_odds, df_odds = _variance(rows, cells, k, logit=True)
        half = float(special.stdtrit(df_odds, 0.5 + level / 2.0)) * float(np.sqrt(v_odds))
        odds_low, odds_high = float(np.exp(log_ratio - half)), float(np.exp(log_ratio + half))
    return DifferenceInDifferences(
        cells=cells,
        difference=difference,
        low=max(difference - t * se, -2.0),
        high=min(difference + t * se, 2.0),
        p_value=float(2 * special.stdtr(df, -abs(difference) / se)) if se > 0 else nan,
        odds_ratio=float(np.exp(log_ratio)) if np.isfinite(log_ratio) else nan,
        odds_low=odds_low,
        odds_high=odds_high,
        clusters_treated=k[0],
        clusters_other=k[1],
        df=df,
    )


def _variance(rows: pd.DataFrame, cells: pd.DataFrame, k: list[int], *, logit: bool) -> tuple[float, float]:
    """Variance of the difference, or of its log odds ratio, and Welch's degrees of freedom."""
    joined = rows.merge(cells[["treated", "after", "n", "p"]], on=["treated", "after"], suffixes=("", "_all"))
    share = (joined["m"] - joined["p"] * joined["n"]) / joined["n_all"]
    if logit:
        share = share / (joined["p"] * (1 - joined["p"]))
    joined["z"] = share * np.where(joined["after"] == joined["treated"], 1.0, -1.0)
    parts = []
    for group, clusters in zip((True, False), k, strict=True):
        z = joined[joined["treated"] == group].groupby("cluster")["z"].sum().to_numpy(dtype=float)
        parts.append(clusters / (clusters - 1) * float(((z - z.mean()) ** 2).sum()))
    total = sum(parts)
    if total <= 0:
        return 0.0, float(max(min(k) - 1, 1))
    return total, total**2 / sum(v**2 / (c - 1) for v, c in zip(parts, k, strict=True))
