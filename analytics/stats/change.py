"""What a change at a known time went with, trend, season and kind of unit held alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.autoregression import (
    Array,
    Autoregression,
    Estimate,
    autoregression,
    estimate_of,
    season_axes,
    wave,
)
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

LEAST_TIMES = 6  # points in time on either side; 12 are better [common practice, no source]
SLOPE_TIMES = 36  # points on either side from which a change of slope is fitted too [common practice, no source]
EFFECT_TIME = 12.0  # what a change went with is averaged over so many months after it [common practice, no source]
YEAR = 12.0
CURVE_STEP = 0.5
_SPARE_POINTS = 3  # points in time beyond the coefficients [common practice, no source]

Columns = dict[str, Array]


@dataclass(frozen=True)
class HeldChange:
    """A change against the trend there was.

    Attributes
    ----------
    terms : pandas.DataFrame
        ``term``, ``ratio`` (odds ratio), ``low``, ``high``, ``p_value``. Terms: ``effect`` (over the first year
        after the change, against going on as before), ``level`` (just after, against the same), ``slope`` (odds
        ratio a unit of time, after over before) and ``before`` (odds ratio a unit of time before the change). nan
        where it was not fitted.
    months : float
        Units of time that the effect is averaged over: 12, or as many as there are after the change.
    fitted, expected, difference, difference_low, difference_high : float
        Mean shares over that time, as fitted and had it gone on as before, and their difference.
    series : pandas.DataFrame
        One row a point in time: ``time``, ``cases``, ``n`` of all kinds together, ``fitted``, ``without`` (had
        the change not come), ``without_low``, ``without_high``. Fitted and without are shares at the mean mix of
        kinds, so that they do not follow what kind of units a month happened to have.
    curve : pandas.DataFrame
        ``time``, ``after`` and the same four, every half unit of time; just before the change and at it.
    spread, correlation : float
        Logit SD of the points in time about the line, and correlation of neighbours.
    times_before, times_after : int
        Points in time with units on either side.
    reason : str
        Why there is no answer; "" when there is.
    """

    terms: pd.DataFrame
    months: float
    fitted: float
    expected: float
    difference: float
    difference_low: float
    difference_high: float
    series: pd.DataFrame
    curve: pd.DataFrame
    spread: float
    correlation: float
    times_before: int
    times_after: int
    reason: str = ""


@dataclass(frozen=True)
class ComparedChange:
    """The effect of a change over that of the same day where nothing was changed, a ratio of odds ratios."""

    ratio: float
    low: float
    high: float
    p_value: float
    reason: str = ""


@dataclass(frozen=True)
class _Fit:
    found: Autoregression
    names: list[str]
    mix: dict[str, float]
    """Share of all units that each kind has."""
    axes: Array
    """What of the season is held alike."""


def held_change(frame: pd.DataFrame, change: float, *, level: float = LEVEL, period: float = YEAR) -> HeldChange:
    """Segmented logistic regression of counts with one change, points in time wandering together.

    ``logit p = a + b1 time + b2 after + b3 after (time - change) + season + kind + u``. ``after`` is time >= change;
    season is one sine and cosine, or what of it the months tell: a herd seen in the same two months every year has each
    compared with itself; b3 is fitted from 36 points on either side on; u is the autocorrelated spread of
    points in time of :func:`evenfoot.analytics.stats.autoregression.autoregression`. The effect is ``b2 + b3 (time -
    change)`` averaged over the first 12 units of time after the change.

    Parameters
    ----------
    frame : pandas.DataFrame
        ``time`` (months), ``kind``, ``cases``, ``n``; one row a time and kind. Perhaps ``farm``: farms wander apart
        and have levels of their own; and ``offset``, a known part of the logit.
    change : float
        First time that belongs to "after".
    level : float, default 0.95
        Confidence level.
    period : float, default 12
        Units of time in a year.

    Returns
    -------
    HeldChange

    Raises
    ------
    ValueError
        If counts are impossible or *level* is not between 0 and 1.

    References
    ----------
    Wagner AK et al. (2002). J Clin Pharm Ther 27:299-309.
    Lopez Bernal J, Cummins S, Gasparrini A (2017). Int J Epidemiol 46:348-355.

    Examples
    --------
    >>> frame = pd.DataFrame({"time": range(24), "kind": "all", "cases": [30] * 12 + [15] * 12, "n": 100})
    >>> found = held_change(frame, 12)
    >>> print(f"{found.terms.set_index('term').ratio['effect']:.2f}")
    0.41
    """
    normal_quantile(level)
    cells = _cells(frame)
    times = cells.drop_duplicates("time")["time"]
    before, after = int((times < change).sum()), int((times >= change).sum())
    cells = _telling(cells)
    reason = _too_little(cells, times, change, period)
    fit = reason or _fit(cells, change, period, slope=min(before, after) >= SLOPE_TIMES)
    if isinstance(fit, str):
        return _no_answer(frame, before, after, fit)
    months = _months_of(times, change)
    shares = _shares_after(fit, change, months, period, level)
    return HeldChange(
        terms=_terms(fit, months, level),
        months=months,
        fitted=shares[0],
        expected=shares[1],
        difference=shares[0] - shares[1],
        difference_low=shares[2],
        difference_high=shares[3],
        series=_series(cells, fit, change, period, level),
        curve=_curve(times, fit, change, period, level),
        spread=fit.found.spread,
        correlation=fit.found.correlation,
        times_before=before,
        times_after=after,
    )


def compared_change(
    own: pd.DataFrame, other: pd.DataFrame, change: float, *, level: float = LEVEL, period: float = YEAR
) -> ComparedChange:
    """The effect of a change where it was made over that of the same day where it was not.

    One regression of both: each has its own level, trend and change; they share the season, and how much and how
    slowly their points in time wander, each by itself.

    Parameters
    ----------
    own, other : pandas.DataFrame
        As for :func:`held_change`.
    change, level, period
        As for :func:`held_change`.

    Returns
    -------
    ComparedChange
        nan with a ``reason`` where either has too little.

    References
    ----------
    Linden A (2015). Conducting interrupted time-series analysis for single- and multiple-group comparisons. Stata J
    15:480-500.
    """
    normal_quantile(level)
    groups = {"own": _telling(_cells(own)), "other": _telling(_cells(other))}
    nan = float("nan")
    for cells in groups.values():
        if reason := _too_little(cells, cells["time"].drop_duplicates(), change, period):
            return ComparedChange(nan, nan, nan, nan, reason)
    points = [(cells["time"].drop_duplicates() >= change).value_counts().min() for cells in groups.values()]
    cells = pd.concat(
        [part.assign(group=group, farm=group + part["farm"], label=group + part["label"])
         for group, part in groups.items()], ignore_index=True,
    )  # fmt: skip
    fit = _fit(cells, change, period, slope=min(points) >= SLOPE_TIMES, apart="own")
    if isinstance(fit, str):
        return ComparedChange(nan, nan, nan, nan, fit)
    months = min(_months_of(part["time"], change) for part in groups.values())
    of = _effect(fit.names, months, "own ")
    found = estimate_of(fit.found, of, level)
    return ComparedChange(found.value, found.low, found.high, found.p_value)


def _cells(frame: pd.DataFrame) -> pd.DataFrame:
    """The counts that hold any unit, with the farm, a label of farm and kind, and an offset."""
    cells = frame[frame["n"] > 0].reset_index(drop=True)
    if bool(((cells["cases"] < 0) | (cells["cases"] > cells["n"])).any()):
        raise ValueError("cases must lie between 0 and the units looked at")
    farm = cells["farm"].astype(str) if "farm" in cells else pd.Series("", index=cells.index, dtype=str)
    offset = cells["offset"].astype(float) if "offset" in cells else 0.0
    cells = cells.assign(farm=farm, label=farm + "|" + cells["kind"].astype(str), offset=offset)
    return cells.sort_values(["time", "label"]).reset_index(drop=True)


def _telling(cells: pd.DataFrame) -> pd.DataFrame:
    """A kind without a case, or with nothing but cases, tells nothing and has no finite level."""
    sums = cells.groupby("label")[["cases", "n"]].transform("sum")
    return cells[(sums["cases"] > 0) & (sums["cases"] < sums["n"])].reset_index(drop=True)


def _too_little(cells: pd.DataFrame, times: pd.Series, change: float, period: float) -> str:
    before, after = int((times < change).sum()), int((times >= change).sum())
    if min(before, after) < LEAST_TIMES:
        return _what_would_do(times, before, after, period)
    if not len(cells):
        return say("Nobody, or everybody, is a case.")
    sides = cells.groupby(cells["time"] >= change)[["cases", "n"]].sum()
    if len(sides) < 2 or not bool(((sides["cases"] > 0) & (sides["cases"] < sides["n"])).all()):
        return say("Nobody, or everybody, is a case on one side of the change.")
    return ""


def _what_would_do(times: pd.Series, before: int, after: int, period: float) -> str:
    """How many points there are, how many would do, and how long that takes at the pace there is."""
    span = float(times.max() - times.min()) if len(times) > 1 else 0.0
    count = {"least": LEAST_TIMES, "before": before, "after": after}
    if span <= 0:
        return say(
            "{least} months with records on either side of the change would do; there are {before} before and {after} "
            "after.",
            **count,
        )
    apart = span / (len(times) - 1)
    return say(
        "{least} months with records on either side of the change would do, about {months} months at the pace of this "
        "herd; there are {before} before and {after} after.",
        months=round(LEAST_TIMES * max(apart, 1.0)),
        **count,
    )


def _months_of(times: pd.Series, change: float) -> float:
    """Units of time that the effect is averaged over."""
    return float(min(EFFECT_TIME, np.floor(times.max() - change) + 1))


def _fit(cells: pd.DataFrame, change: float, period: float, *, slope: bool, apart: str = "") -> _Fit | str:
    at = cells["time"].to_numpy(dtype=float)
    axes = season_axes(np.unique(at), period)
    columns = _of_time(at, change, period, axes)
    if not slope:
        columns.pop("after_time")
    if apart:
        here = (cells["group"] == apart).to_numpy(dtype=float)
        columns |= {
            f"{apart} {name}": columns[name] * here for name in ("after", "time", "after_time") if name in columns
        }
    for label in sorted(cells["label"].unique())[1:]:
        columns[f"label {label}"] = (cells["label"] == label).to_numpy(dtype=float)
    columns = _independent(columns)
    points = len(cells.drop_duplicates(["farm", "time"]))
    labels = int(cells["label"].nunique())
    x = np.column_stack(list(columns.values()))
    if "after" not in columns or "time" not in columns or points < x.shape[1] - labels + 1 + _SPARE_POINTS:
        return say("There are too few months to tell the change from the trend and the season.")
    found = autoregression(x, cases=cells["cases"], n=cells["n"], time=at, series=cells["farm"], offset=cells["offset"])
    if found is None:
        return say("The fit did not settle.")
    units = cells.groupby("label")["n"].sum()
    mix = {str(label): float(share) for label, share in (units / units.sum()).items()}
    return _Fit(found, list(columns), mix, axes)


def _independent(columns: Columns) -> Columns:
    """The columns without those that the ones before them say already."""
    kept: Columns = {}
    for name, values in columns.items():
        if np.linalg.matrix_rank(np.column_stack([*kept.values(), values])) > len(kept):
            kept[name] = values
    return kept


def _of_time(at: Array, change: float, period: float, axes: Array) -> Columns:
    """What a model knows of each point in time."""
    after = (at >= change).astype(float)
    season = wave(at, period) @ axes
    return {
        "one": np.ones_like(at),
        "after": after,
        "time": (at - change) / period,
        "after_time": after * (at - change) / period,
        **{f"season {axis}": season[:, axis] for axis in range(season.shape[1])},
    }


def _effect(names: list[str], months: float, group: str = "") -> Array:
    """The weights of the coefficients in the effect: the mean over the first *months*."""
    weights = {f"{group}after": 1.0, f"{group}after_time": (months - 1) / 2 / YEAR}
    return np.array([weights.get(name, 0.0) for name in names])


def _terms(fit: _Fit, months: float, level: float) -> pd.DataFrame:
    nan = float("nan")
    sums = {
        "effect": _effect(fit.names, months),
        "level": np.array([float(name == "after") for name in fit.names]),
        "slope": np.array([float(name == "after_time") for name in fit.names]) / YEAR,
        "before": np.array([float(name == "time") for name in fit.names]) / YEAR,
    }
    rows = []
    for term, of in sums.items():
        found = estimate_of(fit.found, of, level) if of.any() else Estimate(nan, nan, nan, nan)
        rows.append((term, found.value, found.low, found.high, found.p_value))
    return pd.DataFrame(rows, columns=["term", "ratio", "low", "high", "p_value"])


def _at_mean_mix(fit: _Fit, at: Array, change: float, period: float, *, changed: bool) -> tuple[Array, Array]:
    """Shares at points in time were the mix of kinds always the mean one, and their slopes in the coefficients."""
    columns = _of_time(at, change, period, fit.axes)
    for name in () if changed else ("after", "after_time"):
        columns[name] = np.zeros_like(at)
    share, slope = np.zeros_like(at), np.zeros((len(at), len(fit.names)))
    for label, weight in fit.mix.items():
        x = np.column_stack(
            [columns[name] if name in columns else np.full_like(at, name == f"label {label}") for name in fit.names]
        )
        mu = special.expit(x @ fit.found.beta)
        share += weight * mu
        slope += weight * (mu * (1 - mu))[:, None] * x
    return share, slope


def _shares_after(
    fit: _Fit, change: float, months: float, period: float, level: float
) -> tuple[float, float, float, float]:
    """Mean shares over the first months after the change, fitted and expected, and limits of their difference."""
    at = change + np.arange(max(months, 1.0))
    (fitted, up), (without, down) = (_at_mean_mix(fit, at, change, period, changed=c) for c in (True, False))
    gap = (up - down).mean(axis=0)
    reach = normal_quantile(level) * float(np.sqrt(max(gap @ fit.found.covariance @ gap, 0.0)))
    difference = float((fitted - without).mean())
    return float(fitted.mean()), float(without.mean()), max(difference - reach, -1.0), min(difference + reach, 1.0)


def _lines(fit: _Fit, at: Array, change: float, period: float, level: float) -> dict[str, Array]:
    """``fitted``, ``without`` and its limits."""
    fitted, _ = _at_mean_mix(fit, at, change, period, changed=True)
    p, slope = _at_mean_mix(fit, at, change, period, changed=False)
    spread = np.einsum("ij,jk,ik->i", slope, fit.found.covariance, slope)
    half = normal_quantile(level) * np.sqrt(np.maximum(spread, 0.0)) / (p * (1 - p))
    return {
        "fitted": fitted,
        "without": p,
        "without_low": special.expit(special.logit(p) - half),
        "without_high": special.expit(special.logit(p) + half),
    }


def _series(cells: pd.DataFrame, fit: _Fit, change: float, period: float, level: float) -> pd.DataFrame:
    sums = cells.groupby("time", as_index=False)[["cases", "n"]].sum()
    return sums.assign(**_lines(fit, sums["time"].to_numpy(dtype=float), change, period, level))


def _curve(times: pd.Series, fit: _Fit, change: float, period: float, level: float) -> pd.DataFrame:
    """The lines between the points in time, broken at the change."""
    first, last = float(times.min()), float(times.max())
    before = np.append(np.arange(first, change, CURVE_STEP), np.nextafter(change, first))
    at: npt.NDArray[np.float64] = np.concatenate([before, np.arange(change, last + CURVE_STEP / 2, CURVE_STEP)])
    return pd.DataFrame({"time": at, "after": at >= change, **_lines(fit, at, change, period, level)})


def _no_answer(frame: pd.DataFrame, before: int, after: int, reason: str) -> HeldChange:
    nan = float("nan")
    terms = pd.DataFrame(
        [(term, nan, nan, nan, nan) for term in ("effect", "level", "slope", "before")],
        columns=["term", "ratio", "low", "high", "p_value"],
    )
    seen = frame[frame["n"] > 0]
    series = seen.groupby("time", as_index=False)[["cases", "n"]].sum()
    for name in ("fitted", "without", "without_low", "without_high"):
        series[name] = nan
    curve = pd.DataFrame(columns=["time", "after", "fitted", "without", "without_low", "without_high"], dtype=float)
    return HeldChange(terms, *(nan,) * 6, series, curve, nan, nan, before, after, reason)
