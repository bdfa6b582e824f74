"""What a change at a known time went with, units of several kinds held alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from analytics.methods.extra_binomial import Array, inflation_of, newey_west, satterthwaite, totals, weighted
from analytics.methods.intervals import LEVEL, normal_quantile
from analytics.words import say

LEAST_TIMES = 6  # points in time on either side; 12 are better [common practice, no source]
SLOPE_TIMES = 12  # points on either side from which a change of slope is fitted too [common practice, no source]
YEAR = 12.0
CURVE_STEP = 0.5
_SEPARATED = 12.0

NAMES = {"after": "level", "after_time": "slope", "time": "before"}


@dataclass(frozen=True)
class HeldChange:
    """A change fitted twice: against the trend there was, and as a plain step.

    Attributes
    ----------
    terms : pandas.DataFrame
        ``term``, ``ratio`` (odds ratio), ``low``, ``high``, ``p_value``. Terms: ``step`` (after against
        before, season and kind held alike, no trend), ``level`` (just after against what the trend before led
        one to expect), ``slope`` (odds ratio a unit of time, after over before) and ``before`` (odds ratio a
        unit of time before the change). nan where it was not fitted.
    series : pandas.DataFrame
        One row a point in time: ``time``, ``cases``, ``n`` of all kinds together, ``fitted``, ``without`` (had
        the change not come), ``without_low``, ``without_high``. Fitted and without are shares at the mean mix of
        kinds, so that they do not follow what kind of units a month happened to have. Of the step where no trend
        was fitted.
    curve : pandas.DataFrame
        ``time``, ``after`` and the same four, every half unit of time; just before the change and at it.
    end_difference, end_low, end_high : float
        Fitted minus without at the last time and the mean mix, as a proportion.
    dispersion : float
        Pearson chi-square of the cells over degrees of freedom before it was allowed for, not below 1.
    errors : str
        ``"scaled"`` (for over-dispersion) or ``"newey-west"``, of the segmented fit (of the step where there
        is no other).
    times_before, times_after : int
        Points in time with units on either side.
    reason : str
        Why there is no answer; "" when there is.
    """

    terms: pd.DataFrame
    series: pd.DataFrame
    curve: pd.DataFrame
    end_difference: float
    end_low: float
    end_high: float
    dispersion: float
    errors: str
    times_before: int
    times_after: int
    reason: str = ""


@dataclass(frozen=True)
class _Fit:
    beta: Array
    covariance: Array
    df: float
    dispersion: float
    errors: str
    names: list[str]
    mix: dict[str, float]
    """Share of all units that each kind has."""


def held_change(frame: pd.DataFrame, change: float, *, level: float = LEVEL, period: float = YEAR) -> HeldChange:
    """Segmented logistic regression of counts with one change, by kind of unit.

    ``logit p = a + b1 time + b2 after + b3 after (time - change) + season + kind``, and the step without b1 and
    b3. ``after`` is time >= change; season is one sine and cosine; b3 is fitted from 12 points on either side
    on. Where the cells of a kind differ more than their units explain, the kind is given a likeness of units of
    one cell (Williams), so that a large visit does not count for more than the month it fell in; standard
    errors are Newey-West over time where that is larger. Limits use t on points in time minus coefficients, or
    on Satterthwaite's degrees of freedom where the spread of few cells decides.

    In simulation (``tests/methods/test_change.py``) a step that is not there has p < 0.05 in 2 of 100 series whose
    months differ by chance only, and in 8 to 10 of 100 where months wander together by 0.2 to 0.4 on the logit
    scale and ten visits carry most of the cows. Few large visits cannot tell their own luck from a change.

    Parameters
    ----------
    frame : pandas.DataFrame
        ``time`` (months), ``kind``, ``cases``, ``n``; one row a time and kind.
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
    Williams DA (1982). Extra-binomial variation in logistic linear models. Appl Stat 31:144-148.

    Examples
    --------
    >>> frame = pd.DataFrame({"time": range(24), "kind": "all", "cases": [30] * 12 + [15] * 12, "n": 100})
    >>> found = held_change(frame, 12)
    >>> print(f"{found.terms.set_index('term').ratio['step']:.2f}")
    0.41
    """
    normal_quantile(level)
    cells = frame[frame["n"] > 0].sort_values(["time", "kind"]).reset_index(drop=True)
    if bool(((cells["cases"] < 0) | (cells["cases"] > cells["n"])).any()):
        raise ValueError("cases must lie between 0 and the units looked at")
    times = cells.drop_duplicates("time")["time"]
    before, after = int((times < change).sum()), int((times >= change).sum())
    # A kind without a case, or with nothing but cases, tells nothing and has no finite level.
    sums = cells.groupby("kind")[["cases", "n"]].transform("sum")
    cells = cells[(sums["cases"] > 0) & (sums["cases"] < sums["n"])].reset_index(drop=True)
    reason = _too_little(cells, change, before, after)
    if reason:
        return _no_answer(frame, before, after, reason)
    step = _fit(cells, change, period, trend=False, slope=False)
    trend = _fit(cells, change, period, trend=True, slope=min(before, after) >= SLOPE_TIMES)
    if isinstance(step, str):
        return _no_answer(frame, before, after, step)
    shown = step if isinstance(trend, str) else trend
    series, end = _series(cells, shown, change, period, level)
    return HeldChange(
        terms=_terms(step, None if isinstance(trend, str) else trend, level),
        series=series,
        curve=_curve(times, shown, change, period, level),
        end_difference=end[0],
        end_low=end[1],
        end_high=end[2],
        dispersion=shown.dispersion,
        errors=shown.errors,
        times_before=before,
        times_after=after,
    )


def _too_little(cells: pd.DataFrame, change: float, before: int, after: int) -> str:
    if min(before, after) < LEAST_TIMES:
        return say(
            "A change needs at least {LEAST_TIMES} months with records on either side; there are {before} before and "
            "{after} after.",
            LEAST_TIMES=LEAST_TIMES,
            before=before,
            after=after,
        )
    if not len(cells):
        return say("Nobody, or everybody, is a case.")
    sides = cells.groupby(cells["time"] >= change)[["cases", "n"]].sum()
    if len(sides) < 2 or not bool(((sides["cases"] > 0) & (sides["cases"] < sides["n"])).all()):
        return say("Nobody, or everybody, is a case on one side of the change.")
    return ""


def _fit(cells: pd.DataFrame, change: float, period: float, *, trend: bool, slope: bool) -> _Fit | str:
    at = cells["time"].to_numpy(dtype=float)
    columns = {name: values for name, values in _of_time(at, change, period).items() if trend or name != "time"}
    if not slope:
        columns.pop("after_time")
    for kind in sorted(cells["kind"].unique())[1:]:
        columns[f"kind {kind}"] = (cells["kind"] == kind).to_numpy(dtype=float)
    x, names = np.column_stack(list(columns.values())), list(columns)
    count = int(cells["time"].nunique())
    kinds = int(cells["kind"].nunique())
    df = count - (x.shape[1] - kinds + 1)
    if df < 1 or np.linalg.matrix_rank(x) < x.shape[1]:
        return say("There are too few months to tell the change from the season.")
    cases, n = cells["cases"].to_numpy(dtype=float), cells["n"].to_numpy(dtype=float)
    ones = np.ones_like(at)
    plain = weighted(x, cases, n, ones)
    if plain is None or abs(plain.beta[1]) > _SEPARATED:
        return say("The fit did not settle.")
    kind = pd.factorize(cells["kind"], sort=True)[0]
    inflation, spare = inflation_of(x, cases, n, kind, plain)
    solved = weighted(x, cases, n, inflation)
    if solved is None:
        return say("The fit did not settle.")
    beta, covariance, errors = solved.beta, solved.covariance, "scaled"
    df = min(float(df), satterthwaite(x, n, kind, solved, inflation, spare))
    hac = newey_west(x, cases, n, beta, at, inflation) * count / max(count - x.shape[1] + kinds - 1, 1)
    if hac[1, 1] > covariance[1, 1]:
        covariance, errors = hac, "newey-west"
    dispersion = max(1.0, float((plain.residual**2).sum()) / max(len(at) - x.shape[1], 1))
    units = cells.groupby("kind")["n"].sum()
    mix = {str(kind): float(share) for kind, share in (units / units.sum()).items()}
    return _Fit(beta, covariance, df, dispersion, errors, names, mix)


def _of_time(at: Array, change: float, period: float) -> dict[str, Array]:
    """What a model knows of each point in time."""
    after, angle = (at >= change).astype(float), 2 * np.pi * at / period
    return {
        "one": np.ones_like(at),
        "after": after,
        "time": at - change,
        "after_time": after * (at - change),
        "cos": np.cos(angle),
        "sin": np.sin(angle),
    }


def _t(fit: _Fit, level: float) -> float:
    return float(special.stdtrit(float(fit.df), 0.5 + level / 2.0))


def _terms(step: _Fit, trend: _Fit | None, level: float) -> pd.DataFrame:
    rows = [("step", *_ratio(step, "after", level))]
    for name, term in NAMES.items():
        known = trend is not None and name in trend.names
        rows.append((term, *(_ratio(trend, name, level) if known and trend else (float("nan"),) * 4)))
    return pd.DataFrame(rows, columns=["term", "ratio", "low", "high", "p_value"])


def _ratio(fit: _Fit, name: str, level: float) -> tuple[float, float, float, float]:
    j = fit.names.index(name)
    b, se = float(fit.beta[j]), float(np.sqrt(max(fit.covariance[j, j], 0.0)))
    half = _t(fit, level) * se
    p = float(2 * special.stdtr(float(fit.df), -abs(b / se))) if se > 0 else float("nan")
    return float(np.exp(b)), float(np.exp(b - half)), float(np.exp(b + half)), p


def _at_mean_mix(fit: _Fit, at: Array, change: float, period: float, *, changed: bool) -> tuple[Array, Array]:
    """Shares at points in time were the mix of kinds always the mean one, and their slopes in the coefficients."""
    columns = _of_time(at, change, period)
    for name in () if changed else ("after", "after_time"):
        columns[name] = np.zeros_like(at)
    share, slope = np.zeros_like(at), np.zeros((len(at), len(fit.names)))
    for kind, weight in fit.mix.items():
        x = np.column_stack(
            [columns[name] if name in columns else np.full_like(at, name == f"kind {kind}") for name in fit.names]
        )
        mu = special.expit(x @ fit.beta)
        share += weight * mu
        slope += weight * (mu * (1 - mu))[:, None] * x
    return share, slope


def _lines(fit: _Fit, at: Array, change: float, period: float, level: float) -> dict[str, Array]:
    """``fitted``, ``without`` and its limits."""
    fitted, _ = _at_mean_mix(fit, at, change, period, changed=True)
    p, slope = _at_mean_mix(fit, at, change, period, changed=False)
    spread = np.einsum("ij,jk,ik->i", slope, fit.covariance, slope)
    half = _t(fit, level) * np.sqrt(np.maximum(spread, 0.0)) / (p * (1 - p))
    return {
        "fitted": fitted,
        "without": p,
        "without_low": special.expit(special.logit(p) - half),
        "without_high": special.expit(special.logit(p) + half),
    }


def _series(
    cells: pd.DataFrame, fit: _Fit, change: float, period: float, level: float
) -> tuple[pd.DataFrame, tuple[float, float, float]]:
    place, times = pd.factorize(cells["time"], sort=True)
    at = np.asarray(times, dtype=float)
    out = pd.DataFrame({"time": times, "cases": totals(place, cells["cases"]), "n": totals(place, cells["n"])})
    out = out.assign(**_lines(fit, at, change, period, level))
    (with_it, up), (without, down) = (_at_mean_mix(fit, at[-1:], change, period, changed=c) for c in (True, False))
    end, gap = float(with_it[0] - without[0]), up[0] - down[0]
    reach = _t(fit, level) * float(np.sqrt(max(gap @ fit.covariance @ gap, 0.0)))
    return out, (end, max(end - reach, -1.0), min(end + reach, 1.0))


def _curve(times: pd.Series, fit: _Fit, change: float, period: float, level: float) -> pd.DataFrame:
    """The lines between the points in time, broken at the change."""
    first, last = float(times.min()), float(times.max())
    before = np.append(np.arange(first, change, CURVE_STEP), np.nextafter(change, first))
    at = np.concatenate([before, np.arange(change, last + CURVE_STEP / 2, CURVE_STEP)])
    return pd.DataFrame({"time": at, "after": at >= change, **_lines(fit, at, change, period, level)})


def _no_answer(frame: pd.DataFrame, before: int, after: int, reason: str) -> HeldChange:
    nan = float("nan")
    terms = pd.DataFrame(
        [(term, nan, nan, nan, nan) for term in ("step", *NAMES.values())],
        columns=["term", "ratio", "low", "high", "p_value"],
    )
    seen = frame[frame["n"] > 0]
    series = seen.groupby("time", as_index=False)[["cases", "n"]].sum()
    for name in ("fitted", "without", "without_low", "without_high"):
        series[name] = nan
    curve = pd.DataFrame(columns=["time", "after", "fitted", "without", "without_low", "without_high"], dtype=float)
    return HeldChange(terms, series, curve, nan, nan, nan, nan, "", before, after, reason)
