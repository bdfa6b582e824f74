"""The control chart of one farm's months: which lie outside, how many lately, and what luck makes of that."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.stats.baseline_chart import BaselineChart, baseline_chart

BASELINE_MONTHS = 12
"""First months with records that the limits rest on when no baseline is given: a year, so that every season
is in it once. [common practice, no source]"""

LATELY_MONTHS = 6
"""Months before the newest record whose signals are told as those of now. [common practice, no source]"""

COLUMNS = (
    "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper", "signal", "baseline", "cows",
)  # fmt: skip

SIDES = {1: "above the upper limit", -1: "below the lower limit"}
"""Side of the limits -> words for a month that lies there."""

BY_CHANCE: Message = say(
    "A signal says that something is unlike before, not what. At most about one herd in ten gives one in two years "
    "though nothing changed."
)

HERDS_BY_LUCK = {2: 20, 3: 40, 4: 100}
"""Months outside on one side within half a year -> one herd in how many gives so many in two years on which nothing
changes, in the worst of the worlds of ``python -m tests.scale.worlds_warn``."""

METHOD: Message = say("Limits from a logistic model of the baseline: level, season and months that wander")


def charted(
    rows: pd.DataFrame, baseline: tuple[dt.date, dt.date] | None = None, *, months: int | None = None
) -> tuple[BaselineChart, pd.DataFrame]:
    """The chart of one farm's months (month, cases, at_risk and, where known, cows) and its table, with `COLUMNS`.

    With *months* limits are worked out for so many months up to the newest only.
    """
    month = rows["month"]
    inside = _inside(month, baseline)
    when = month.to_numpy("datetime64[M]").astype("int64")
    since = -np.inf if months is None or not len(when) else when.max() - months + 1
    chart = baseline_chart(rows["cases"], rows["at_risk"], inside, when, since=since)
    found = chart.table
    signal = [say("{rules}", rules=SIDES[side]) if side else "" for side in found["outside"]]
    columns = {
        **{name: rows[name].to_numpy() for name in ("month", "cases", "at_risk", "cows") if name in rows},
        "prevalence": (rows["cases"] / rows["at_risk"]).to_numpy(),
        "centre": found["centre"],
        "lower": found["low"],
        "upper": found["high"],
        "signal": np.array(signal, dtype=object),
        "baseline": found["baseline"],
    }
    return chart, pd.DataFrame(columns, columns=list(COLUMNS))


def _inside(month: pd.Series, baseline: tuple[dt.date, dt.date] | None) -> np.ndarray:
    if baseline is None:
        return np.asarray(np.arange(len(month)) < BASELINE_MONTHS)
    first = pd.Timestamp(baseline[0]).replace(day=1)
    return ((month >= first) & (month <= pd.Timestamp(baseline[1]))).to_numpy()


def lately(table: pd.DataFrame) -> pd.DataFrame:
    """The months of a chart in the half year that ends with its newest."""
    newest: pd.DataFrame = table[table["month"] > table["month"].max() - pd.DateOffset(months=LATELY_MONTHS)]
    return newest


def sides(table: pd.DataFrame) -> pd.Series:
    """1 for months above their limits, -1 below, 0 within."""
    told = (table["signal"].astype(str) != "").to_numpy()
    side = np.where(told, np.sign((table["prevalence"] - table["centre"]).fillna(0.0)), 0)
    return pd.Series(side.astype("int64"), index=table.index)


def size_in_limits(table: pd.DataFrame) -> pd.Series:
    """How far each month lies from its usual share, in distances from there to the limit on its side."""
    limit = table["upper"].where(table["prevalence"] >= table["centre"], table["lower"])
    return (table["prevalence"] - table["centre"]) / (limit - table["centre"])


def luck(table: pd.DataFrame) -> tuple[Message, ...]:
    """What luck makes of the signals of a chart: one sentence for one month, another for several in half a year."""
    side = sides(table)
    if not side.any():
        return ()
    most = max(
        int(
            (
                side[(table["month"] <= month) & (table["month"] > month - pd.DateOffset(months=LATELY_MONTHS))] == s
            ).sum()
        )
        for month in table.loc[side != 0, "month"]
        for s in (1, -1)
    )
    if most < 2:
        return (BY_CHANCE,)
    return (
        say(
            "{n} months within half a year lie on the same side of the limits. On herds on which nothing changes that "
            "happens in two years to fewer than one in {herds}. It says that something changed, not what.",
            n=most,
            herds=HERDS_BY_LUCK[min(most, max(HERDS_BY_LUCK))],
        ),
    )
