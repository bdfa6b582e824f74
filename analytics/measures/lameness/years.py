"""Is this year, so far, unlike the same months of the years before."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.measures.outcome import cluster_months, outcome_named, series_basis
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.baseline_chart import SEASON_SD
from evenfoot.analytics.stats.cluster import cluster_sums
from evenfoot.analytics.stats.intervals import normal_quantile
from evenfoot.analytics.stats.month_model import MonthModel, month_model, season_columns
from evenfoot.analytics.stats.paired_proportions import paired_difference

YEAR_SD = 0.35
"""Prior standard deviation, on the logit scale, by which years differ while the wander of months is judged.
[common practice, no source]"""

COLUMNS = (
    "year", "to_month", "cases", "at_risk", "prevalence", "low", "high", "difference", "diff_low", "diff_high",
    "direction",
)  # fmt: skip


@memoize
def years(ledger: Ledger, selection: Selection, *, outcome: str | None = None, level: float = 0.95) -> Answer:
    """Compare this year up to its newest month with records with the same months of every year before.

    Comparing like months holds the season alike. Cows that are in both years are paired with themselves, so the
    interval of the difference allows for their being alike. It also allows for months that wander about their level
    more than cows explain, and several together, as much as :mod:`evenfoot.analytics.stats.month_model` finds in the
    herd.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``until`` says what "this year" is, the newest records by default; ``since`` is not applied, so that the years
        before can be looked up.
    outcome : {"lameness", "lesion"}, optional
        Lameness, unless the selection narrows the findings, without it.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: year, newest first; to_month (1 to 12: January up to this month is counted in every year), cases,
        at_risk (scorings or trims), prevalence, low, high; difference (this year less that one) with diff_low and
        diff_high (proportions, missing for this year itself); direction: ``up`` or ``down`` when that interval lies on
        one side of 0, ``unclear`` when not, ``too few`` below 20 looked at in either, ``pooled`` where several farms
        are together, missing for this year itself. ``extra["months"]``: month, cases, at_risk, prevalence, low, high,
        of all years.

    References
    ----------
    Cochran WG (1977) Sampling Techniques, 3rd ed., section 6.19 (difference of two ratios).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (clusters).
    """
    what = outcome_named(selection, outcome)
    asked = selection.with_(since=None)
    rows, kind = cluster_months(ledger, asked, what)
    basis, cautions = series_basis(
        ledger,
        asked,
        what,
        level,
        listed(
            (say("Cluster-robust interval"), say("difference of two ratios, clusters paired, months that wander")), ";"
        ),
    )
    if rows.empty:
        return Answer("years", pd.DataFrame(columns=list(COLUMNS)), basis, cautions, ("year",))
    newest = rows["month"].max()
    rows = rows.assign(year=rows["month"].dt.year)
    same = rows[rows["month"].dt.month <= newest.month]
    pooled = kind == "farm"
    now = same[same["year"] == newest.year]
    wander = None if pooled else _wander(rows)
    table = pd.DataFrame(
        [
            _year(now, same[same["year"] == year], year, newest.year, level, wander)
            for year in sorted(set(same["year"]))[::-1]
        ],
        columns=[name for name in COLUMNS if name not in ("to_month", "low", "high")],
    )
    sums = _sums(same, "year").loc[table["year"]].reset_index(drop=True)
    limits = limits_of(sums, kind, level).table
    table = table.assign(to_month=newest.month, low=limits["low"], high=limits["high"])
    if pooled:
        cautions += (_POOLED,)
    elif len(table) > 1:
        cautions += (_SEVERAL,)
    else:
        cautions += (say("There is no year before this one in the records to compare it with."),)
    return Answer("years", table[list(COLUMNS)], basis, cautions, ("year",), {"months": _months(rows, kind, level)})


def _sums(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    whole = rows.groupby([by, "cluster"], as_index=False)[["cases", "at_risk"]].sum()
    names = ["sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters"]
    return pd.DataFrame(
        {key: cluster_sums(part["cases"], part["at_risk"]) for key, part in whole.groupby(by)}, index=names
    ).T


def _months(rows: pd.DataFrame, kind: str, level: float) -> pd.DataFrame:
    sums = _sums(rows, "month").rename_axis("month").reset_index()
    limits = limits_of(sums, kind, level).table
    out = pd.DataFrame({"month": pd.to_datetime(sums["month"]), "cases": sums["sum_m"], "at_risk": sums["sum_n"]})
    return out.astype({"cases": "int64", "at_risk": "int64"}).assign(
        prevalence=sums["sum_m"] / sums["sum_n"], low=limits["low"], high=limits["high"]
    )


def _year(
    now: pd.DataFrame, then: pd.DataFrame, year: int, this: int, level: float, wander: MonthModel | None
) -> tuple[int, int, int, float, float, float, float, str | None]:
    cases, at_risk = int(then["cases"].sum()), int(then["at_risk"].sum())
    share = cases / at_risk
    if year == this:
        return year, cases, at_risk, share, math.nan, math.nan, math.nan, None
    both = pd.concat([now.assign(side="now"), then.assign(side="then")])
    wide = both.pivot_table(index="cluster", columns="side", values=["cases", "at_risk"], aggfunc="sum", fill_value=0)
    found = paired_difference(
        wide["cases", "now"], wide["at_risk", "now"], wide["cases", "then"], wide["at_risk", "then"], level
    )
    low, high = found.low, found.high
    if wander is not None:
        month, pull = _pull(now, then)
        normal = normal_quantile(level)
        low = found.difference - wander.half_width(pull, month, (found.difference - found.low) / normal, level)
        high = found.difference + wander.half_width(pull, month, (found.high - found.difference) / normal, level)
    few = min(at_risk, int(now["at_risk"].sum())) < FEW_COWS or not np.isfinite(low)
    direction = "too few" if few else "pooled" if wander is None else _direction(low, high)
    return year, cases, at_risk, share, found.difference, low, high, direction


def _wander(rows: pd.DataFrame) -> MonthModel:
    """How months wander about season and their year's level."""
    months = rows.groupby("month", as_index=False)[["cases", "at_risk"]].sum()
    year = pd.get_dummies(months["month"].dt.year, drop_first=True).to_numpy(dtype=float)
    columns = np.column_stack([season_columns(_number(months["month"])), year])
    free = [SEASON_SD, SEASON_SD, *[YEAR_SD] * year.shape[1]]
    return month_model(columns, months["cases"], months["at_risk"], _number(months["month"]), free)


def _pull(now: pd.DataFrame, then: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Months of two years, and how much the log odds of each pull at the difference of their shares."""
    when, pull = [], []
    for rows, sign in ((now, 1.0), (then, -1.0)):
        months = rows.groupby("month", as_index=False)[["cases", "at_risk"]].sum()
        share = float(months["cases"].sum() / months["at_risk"].sum())
        when.append(_number(months["month"]))
        pull.append(sign * share * (1 - share) * (months["at_risk"] / months["at_risk"].sum()).to_numpy())
    return np.concatenate(when), np.concatenate(pull)


def _number(month: pd.Series) -> np.ndarray:
    return np.asarray(month.dt.year * 12 + month.dt.month, dtype=np.float64)


def _direction(low: float, high: float) -> str:
    return "up" if low > 0 else "down" if high < 0 else "unclear"


_POOLED: Message = say(
    "Several farms are together here, and not the same farms were visited in every year, so no rise or fall is called. "
    "Choose one farm to compare its years."
)

_SEVERAL: Message = say(
    "Only the same months of each year are compared, whatever visits fell in them; with several years one clear "
    "difference is a hint, not a proof."
)
