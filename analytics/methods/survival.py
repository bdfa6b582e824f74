"""Time until something happens (a lesion again, a cow gone), with cows that were not followed to the end."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.intervals import LEVEL, normal_quantile

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
    time: npt.ArrayLike, event: npt.ArrayLike, level: float = LEVEL, *, entry: npt.ArrayLike | None = None
) -> KaplanMeier:
    """Kaplan-Meier curve: ``S(t) = prod over event times <= t of (1 - events / at risk)``.

    The limits are ``S ** exp(-/+ z * se / (S * log S))``, which stay between 0 and 1.

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
        curve["low"] = np.where(s == 1, 1.0, np.where(s == 0, 0.0, s ** np.exp(-spread)))
        curve["high"] = np.where(s == 1, 1.0, np.where(s == 0, np.nan, s ** np.exp(spread)))
    curve["high"] = curve["high"].ffill()
    return KaplanMeier(
        curve=curve[CURVE],
        median=_first_below(curve, "survival"),
        median_low=_first_below(curve, "low"),
        median_high=_first_below(curve, "high"),
        n=len(t),
        events=int(d.sum()),
    )


def log_rank(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    group: npt.ArrayLike,
    *,
    strata: npt.ArrayLike | None = None,
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

    Returns
    -------
    LogRank
        nan when there are fewer than two groups or no events.

    Raises
    ------
    ValueError
        If a time is negative.

    References
    ----------
    Mantel N (1966). Cancer Chemother Rep 50:163-170. Peto R, Peto J (1972). J R Stat Soc A 135:185-207.

    Examples
    --------
    >>> found = log_rank([4, 5, 6, 9, 12, 15], [1, 1, 1, 1, 0, 1], ["a", "a", "a", "b", "b", "b"])
    >>> print(f"chi2 = {found.chi2:.2f}, p = {found.p_value:.3f}")
    chi2 = 5.05, p = 0.025
    """
    t, d, _ = _followed(time, event, None)
    labels = np.asarray(group, dtype=object)
    where = np.zeros(len(t), dtype=int) if strata is None else pd.factorize(np.asarray(strata, dtype=object))[0]
    codes, names = pd.factorize(labels, sort=True)
    table = _expected(t, d, codes, list(names), where)
    df = max(len(names) - 1, 0)
    if len(names) < 2 or d.sum() == 0:
        return LogRank(float("nan"), df, float("nan"), table)
    from statsmodels.duration.survfunc import survdiff

    with np.errstate(divide="ignore", invalid="ignore"):
        try:
            chi2 = float(survdiff(t, d, codes, strata=None if strata is None else where)[0])
        except np.linalg.LinAlgError:
            # A group nobody of which was at risk beside another's event: nothing was compared.
            return LogRank(float("nan"), df, float("nan"), table)
    return LogRank(chi2, df, float(special.chdtrc(float(df), chi2)), table)


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
    t: Array, d: Array, codes: npt.NDArray[np.intp], names: list[Hashable], where: npt.NDArray[np.intp]
) -> pd.DataFrame:
    expected = np.zeros(len(names))
    for stratum in np.unique(where):
        inside = where == stratum
        ts, ds, cs = t[inside], d[inside], codes[inside]
        for moment in np.unique(ts[ds > 0]):
            risk = ts >= moment
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
