"""Time until something happens (a lesion again, a cow gone), with cows that were not followed to the end."""

from __future__ import annotations

import itertools
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.cluster_rates import lowest_all_free, relative_reach
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

Array = npt.NDArray[np.float64]

CURVE = ["time", "at_risk", "events", "censored", "survival", "se", "low", "high"]


@dataclass(frozen=True)
class KaplanMeier:
    """Share still free of the event, over time.

    Attributes
    ----------
    curve : pandas.DataFrame
        One row a time at which something happened, from 0: ``time`` (as given), ``at_risk``, ``events``,
        ``censored`` (counts), ``survival`` (0 to 1), ``se`` (Greenwood), ``low``, ``high`` (log-minus-log).
        The curve is a step that holds from each time to the next.
    median, median_low, median_high : float
        Time by which half had the event, and its limits (Brookmeyer-Crowley); inf where the curve, or its
        limit, never falls to a half.
    n, events : int
        Units followed and events seen.
    """

    curve: pd.DataFrame
    median: float
    median_low: float
    median_high: float
    n: int
    events: int

    def at(self, times: npt.ArrayLike) -> pd.DataFrame:
        """Read the curve at *times*.

        Returns
        -------
        pandas.DataFrame
            ``time``, ``at_risk`` (still followed just before that time), ``survival``, ``low``, ``high``; nan
            beyond the last time anybody was followed.
        """
        wanted = np.atleast_1d(np.asarray(times, dtype=float))
        curve = self.curve
        last = float(curve["time"].iloc[-1]) if len(curve) else -np.inf
        place = np.searchsorted(curve["time"].to_numpy(), wanted, side="right") - 1
        after = np.searchsorted(curve["time"].to_numpy(), wanted, side="left")
        known = (place >= 0) & (wanted <= last)
        answer = pd.DataFrame({"time": wanted})
        at_risk = np.append(curve["at_risk"].to_numpy(dtype=float), 0.0)
        answer["at_risk"] = at_risk[np.minimum(after, len(curve))].astype(int)
        for name in ("survival", "low", "high"):
            values = curve[name].to_numpy(dtype=float)
            answer[name] = np.where(known, values[np.maximum(place, 0)], np.nan) if len(curve) else np.nan
        return answer


@dataclass(frozen=True)
class LogRank:
    """Whether groups differ in the time to the event.

    Attributes
    ----------
    chi2, p_value : float
        Statistic and p-value; nan where there is nothing to compare.
    df : int
        Groups minus 1.
    table : pandas.DataFrame
        ``group``, ``n``, ``observed`` events, ``expected`` events if the groups did not differ.
    """

    chi2: float
    df: int
    p_value: float
    table: pd.DataFrame


def kaplan_meier(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    level: float = LEVEL,
    *,
    entry: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
) -> KaplanMeier:
    """Kaplan-Meier curve: ``S(t) = prod over event times <= t of (1 - events / at risk)``.

    The limits are ``S ** exp(-/+ z * se / (S * log S))``, which stay between 0 and 1. With a *cluster* the standard
    error is that of the sum over clusters of each one's influence on log S, and t quantiles replace z
    (`cluster_rates.relative_reach`); where nothing happened yet, the limit allows for unlike clusters too.

    Parameters
    ----------
    time : array_like
        Time followed, in any unit, 0 or more.
    event : array_like of bool
        True when the follow-up ended in the event, False when it merely ended (censored).
    level : float, default 0.95
        Confidence level.
    entry : array_like, optional
        Time at which each unit came under observation, if later than 0 (delayed entry).
    cluster : array_like, optional
        Cow (or farm) of each unit, when several units of one are alike.

    Returns
    -------
    KaplanMeier
        An empty curve and a nan median when nobody was followed.

    Raises
    ------
    ValueError
        If a time is negative, or *entry* is not before *time*, or *level* is not between 0 and 1.

    References
    ----------
    Kaplan EL, Meier P (1958). J Am Stat Assoc 53:457-481.
    Kalbfleisch JD, Prentice RL (1980). The Statistical Analysis of Failure Time Data, page 15.
    Brookmeyer R, Crowley J (1982). Biometrics 38:29-41.
    Ying Z, Wei LJ (1994). J Multivariate Anal 50:17-29; Williams RL (1995). Biometrics 51:1107-1112 (clusters).

    Examples
    --------
    >>> found = kaplan_meier([6, 6, 6, 6, 7, 9, 10], [1, 1, 1, 0, 1, 0, 1])
    >>> print(f"{found.at(7).survival[0]:.3f}, median {found.median:.0f}")
    0.381, median 7
    """
    z = normal_quantile(level)
    t, d, start = _followed(time, event, entry)
    nan = float("nan")
    if not len(t):
        return KaplanMeier(pd.DataFrame(columns=CURVE, dtype=float), nan, nan, nan, 0, 0)
    from statsmodels.duration.survfunc import SurvfuncRight

    with np.errstate(divide="ignore", invalid="ignore"):
        fitted = SurvfuncRight(t, d, entry=start) if start is not None else SurvfuncRight(t, d)
    steps = pd.DataFrame(
        {
            "time": np.asarray(fitted.surv_times, dtype=float),
            "events": np.asarray(fitted.n_events, dtype=int),
            "survival": np.asarray(fitted.surv_prob, dtype=float),
            "se": np.asarray(fitted.surv_prob_se, dtype=float),
        }
    )
    curve = _whole_curve(steps, t, d, start)
    s, se = curve["survival"].to_numpy(), curve["se"].to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = z * se / (s * np.log(s))
        if cluster is not None:
            times = curve["time"].to_numpy()
            robust, effective = _cluster_variance(t, d, start, np.asarray(cluster), times)
            cumulative = -np.log(s)
            least = (se / (s * cumulative)) ** 2
            spread = -relative_reach(robust / cumulative**2, least, effective, level)[0]
            curve["se"] = np.where(s > 0, s * np.sqrt(robust), se)
        curve["low"] = np.where(s == 1, 1.0, np.where(s == 0, 0.0, s ** np.exp(-spread)))
        curve["high"] = np.where(s == 1, 1.0, np.where(s == 0, np.nan, s ** np.exp(spread)))
    curve["high"] = curve["high"].ffill()
    if cluster is not None:
        at_risk = curve["at_risk"].to_numpy(dtype=float)
        whole = (s == 1) & (at_risk > 0) & (curve["time"] > 0)
        curve["low"] = np.where(whole, lowest_all_free(at_risk, np.maximum(effective, 1.0), level), curve["low"])
    return KaplanMeier(
        curve=curve[CURVE],
        median=_first_below(curve, "survival"),
        median_low=_first_below(curve, "low"),
        median_high=_first_below(curve, "high"),
        n=len(t),
        events=int(d.sum()),
    )


_CLUSTERS_AT_ONCE = 2_000
"""Clusters laid out beside the times of events at once: some 30 MB for a thousand times. [common practice, no
source]"""


def _cluster_variance(
    t: Array, d: Array, start: Array | None, cluster: npt.NDArray[Any], times: Array
) -> tuple[Array, Array]:
    """Variance of log S at *times*, and the effective number of clusters, from each cluster's influence.

    A cluster's influence up to a time is the sum over events of (its events less its share of those at risk) over those
    at risk who stayed free; leaving one out moves log S by that much over what is left. For units that are clusters of
    their own the sum of squares is Greenwood's.
    """
    codes = np.unique(cluster, return_inverse=True)[1]
    k = int(codes.max()) + 1
    entered = np.zeros(len(t)) if start is None else start
    # A unit is at risk at the times after its entry, up to its end.
    first, last = np.searchsorted(times, entered, side="right"), np.searchsorted(times, t, side="right")
    if start is None:
        first = np.zeros(len(t), dtype=int)
    own = np.searchsorted(times, t)
    at_risk = np.cumsum(np.bincount(first, minlength=len(times) + 1) - np.bincount(last, minlength=len(times) + 1))
    at_risk = at_risk[: len(times)].astype(float)
    events = np.bincount(own, weights=d, minlength=len(times))
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(at_risk > 0, events / at_risk, 0.0)
        weight = np.where(at_risk > events, 1.0 / (at_risk - events), 0.0)
    squares, shares, followed = np.zeros(len(times)), np.zeros(len(times)), np.zeros(len(times))
    expected = np.cumsum(hazard * at_risk)
    order = np.argsort(codes, kind="stable")
    edges = np.searchsorted(codes[order], np.arange(0, k + _CLUSTERS_AT_ONCE, _CLUSTERS_AT_ONCE))
    for place, (begin, stop) in enumerate(itertools.pairwise(edges)):
        some = order[begin:stop]
        rows = codes[some] - place * _CLUSTERS_AT_ONCE
        size = min(_CLUSTERS_AT_ONCE, k - place * _CLUSTERS_AT_ONCE)
        if size <= 0:
            continue
        here = np.zeros((size, len(times) + 1))
        np.add.at(here, (rows, first[some]), 1.0)
        np.add.at(here, (rows, last[some]), -1.0)
        here = np.cumsum(here, axis=1)[:, :-1]
        seen = np.zeros((size, len(times)))
        np.add.at(seen, (rows, own[some]), d[some])
        pull = np.cumsum((seen - here * hazard) * weight, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            held = np.where(expected > 0, np.cumsum(here * hazard, axis=1) / expected, 0.0)
            pull = np.where(held < 1.0, pull / (1.0 - held), pull)
        squares += (pull**2).sum(axis=0)
        shares += (held**2).sum(axis=0)
        followed += (held > 0).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(shares > 0, 1.0 / shares, float(k))
        variance = np.where(followed > 1, (followed - 1.0) / followed, 1.0) * squares
    return variance, effective


def log_rank(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    group: npt.ArrayLike,
    *,
    strata: npt.ArrayLike | None = None,
    entry: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
) -> LogRank:
    """Log-rank test of no difference between groups, within strata (herds) if given.

    Parameters
    ----------
    time, event : array_like
        As in `kaplan_meier`.
    group : array_like
        The group of each unit.
    strata : array_like, optional
        The stratum of each unit; units are compared within strata only.
    entry : array_like, optional
        As in `kaplan_meier`.
    cluster : array_like, optional
        Cow (or farm) of each unit. The statistic is then Hotelling's over the clusters' shares in observed less
        expected, ``k U' S^-1 U``, S their covariance, judged by F on ``df`` and clusters less ``df``; so few clusters
        make a careful test.

    Returns
    -------
    LogRank
        nan when there are fewer than two groups or no events, or no more clusters than groups less 1.

    Raises
    ------
    ValueError
        If a time is negative.

    References
    ----------
    Mantel N (1966). Cancer Chemother Rep 50:163-170. Peto R, Peto J (1972). J R Stat Soc A 135:185-207.
    Lin DY, Wei LJ (1989). J Am Stat Assoc 84:1074-1078 (each unit's share in the score). Hotelling H (1931). Ann Math
    Stat 2:360-378. Ibragimov R, Mueller UK (2010). J Bus Econ Stat 28:453-468 (few, unlike clusters).

    Examples
    --------
    >>> found = log_rank([4, 5, 6, 9, 12, 15], [1, 1, 1, 1, 0, 1], ["a", "a", "a", "b", "b", "b"])
    >>> print(f"chi2 = {found.chi2:.2f}, p = {found.p_value:.3f}")
    chi2 = 5.05, p = 0.025
    """
    t, d, start = _followed(time, event, entry)
    labels = np.asarray(group, dtype=object)
    where = np.zeros(len(t), dtype=int) if strata is None else pd.factorize(np.asarray(strata, dtype=object))[0]
    codes, names = pd.factorize(labels, sort=True)
    table = _expected(t, d, codes, list(names), where, start)
    df = max(len(names) - 1, 0)
    if len(names) < 2 or d.sum() == 0:
        return LogRank(float("nan"), df, float("nan"), table)
    if cluster is not None:
        scores = _scores(t, d, start, codes, len(names), where)
        return LogRank(*_hotelling(scores, pd.factorize(np.asarray(cluster, dtype=object))[0]), table)
    if start is not None:
        raise ValueError("delayed entry needs a cluster; give each unit one of its own")
    from statsmodels.duration.survfunc import survdiff

    with np.errstate(divide="ignore", invalid="ignore"):
        try:
            chi2 = float(survdiff(t, d, codes, strata=None if strata is None else where)[0])
        except np.linalg.LinAlgError:
            # A group nobody of which was at risk beside another's event: nothing was compared.
            return LogRank(float("nan"), df, float("nan"), table)
    return LogRank(chi2, df, float(special.chdtrc(float(df), chi2)), table)


def _scores(
    t: Array, d: Array, start: Array | None, codes: npt.NDArray[np.intp], groups: int, where: npt.NDArray[np.intp]
) -> Array:
    """Each unit's share in observed less expected events of each group: shape (units, groups). Sums to 0 in a row."""
    out = np.zeros((len(t), groups))
    for stratum in np.unique(where):
        inside = np.flatnonzero(where == stratum)
        ts, ds, cs = t[inside], d[inside], codes[inside]
        times = np.unique(ts[ds > 0])
        if not len(times):
            continue
        began = np.full(len(ts), -np.inf) if start is None else start[inside]
        risk = np.zeros((len(times), groups))
        for each in range(groups):
            ends, begins = np.sort(ts[cs == each]), np.sort(began[cs == each])
            risk[:, each] = np.searchsorted(begins, times, side="left") - np.searchsorted(ends, times, side="left")
        whole = risk.sum(axis=1)
        share = risk / whole[:, None]
        events = np.bincount(np.searchsorted(times, ts[ds > 0]), minlength=len(times))
        hazard = np.concatenate([[0.0], np.cumsum(events / whole)])
        of_group = np.vstack([np.zeros(groups), np.cumsum(share * (events / whole)[:, None], axis=0)])
        last = np.searchsorted(times, ts, side="right")
        first = np.searchsorted(times, began, side="right")
        member = np.eye(groups)[cs]
        seen = ds[:, None] * (member - share[np.minimum(np.searchsorted(times, ts), len(times) - 1)])
        out[inside] = seen - member * (hazard[last] - hazard[first])[:, None] + of_group[last] - of_group[first]
    return out


def _hotelling(scores: Array, cluster: npt.NDArray[np.intp]) -> tuple[float, int, float]:
    """Statistic, degrees of freedom and p-value of no score on average, over the clusters that tell anything."""
    sums = np.zeros((int(cluster.max()) + 1, scores.shape[1]))
    np.add.at(sums, cluster, scores)
    sums = sums[np.abs(sums).max(axis=1) > 1e-9]
    df, k = scores.shape[1] - 1, len(sums)
    if k <= df:
        return float("nan"), df, float("nan")
    mean = sums[:, :-1].mean(axis=0)
    spread = np.atleast_2d(np.cov(sums[:, :-1], rowvar=False))
    rank = int(np.linalg.matrix_rank(spread))
    if rank < df:
        return float("nan"), df, float("nan")
    statistic = float(k * mean @ np.linalg.solve(spread, mean))
    return statistic, df, float(special.fdtrc(float(df), float(k - df), statistic * (k - df) / (df * (k - 1))))


def _followed(
    time: npt.ArrayLike, event: npt.ArrayLike, entry: npt.ArrayLike | None
) -> tuple[Array, Array, Array | None]:
    t = np.atleast_1d(np.asarray(time, dtype=float))
    d = np.atleast_1d(np.asarray(event)).astype(float)
    if np.any(t < 0):
        raise ValueError("a time followed cannot be negative")
    if entry is None:
        return t, d, None
    start = np.atleast_1d(np.asarray(entry, dtype=float))
    if np.any(start >= t):
        raise ValueError("entry must come before the end of the follow-up")
    return t, d, start


def _whole_curve(steps: pd.DataFrame, t: Array, d: Array, start: Array | None) -> pd.DataFrame:
    """Times of events and of censoring, from 0, with who is at risk just before each."""
    times = np.unique(np.concatenate([[0.0], t]))
    ends = np.sort(t)
    at_risk = len(t) - np.searchsorted(ends, times, side="left")
    if start is not None:
        at_risk = at_risk - (len(t) - np.searchsorted(np.sort(start), times, side="left"))
        at_risk[0] = int((start <= 0).sum())
    curve = pd.DataFrame({"time": times, "at_risk": at_risk.astype(int)})
    censored = pd.Series(t[d == 0]).value_counts()
    curve["censored"] = curve["time"].map(censored).fillna(0).astype(int)
    curve = curve.merge(steps, on="time", how="left")
    curve["events"] = curve["events"].fillna(0).astype(int)
    curve["survival"] = curve["survival"].ffill().fillna(1.0)
    curve["se"] = curve["se"].ffill().fillna(0.0)
    return curve


def _first_below(curve: pd.DataFrame, name: str) -> float:
    reached = curve.loc[curve[name] <= 0.5 + 1e-12, "time"]
    return float(reached.iloc[0]) if len(reached) else float("inf")


def _expected(
    t: Array,
    d: Array,
    codes: npt.NDArray[np.intp],
    names: list[Hashable],
    where: npt.NDArray[np.intp],
    start: Array | None,
) -> pd.DataFrame:
    began = np.full(len(t), -np.inf) if start is None else start
    expected = np.zeros(len(names))
    for stratum in np.unique(where):
        inside = where == stratum
        ts, ds, cs, es = t[inside], d[inside], codes[inside], began[inside]
        for moment in np.unique(ts[ds > 0]):
            risk = (ts >= moment) & (es < moment)
            share = np.bincount(cs[risk], minlength=len(names)) / risk.sum()
            expected += ds[ts == moment].sum() * share
    return pd.DataFrame(
        {
            "group": names,
            "n": np.bincount(codes, minlength=len(names)) if len(codes) else np.zeros(len(names), int),
            "observed": np.bincount(codes, weights=d, minlength=len(names)).astype(int) if len(codes) else 0,
            "expected": expected,
        }
    )
