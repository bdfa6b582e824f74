"""Lameness by farm and month over many farms, without a row for every cow and day where none is needed.

Most cows are scored by one person a day. Then the scorings of a cow in a month are simply its rows, and there is no
need to make days of them first. Whether that is so shows in the same grouping: powers of two by the day of the month
add up to their bitwise "or" exactly where no day stands twice. Only the farms where one does are counted by the day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.tally.cluster_sums import of_farms
from analytics.tally.engine import bit, together
from analytics.tally.late import ibis
from analytics.tally.narrow import scores
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

OUTCOMES = ("lame", "severe")

SCALES = {"points": "sum", "pointed": "sum", "unscaled": "sum", "low_scale": "min", "high_scale": "max"}
"""What is known of the scale: the scores added up, how many, scorings without one scale, the first and last scale."""


def lame_months(selection: Selection, *, scales: bool = False) -> ir.Table:
    """Scorings by farm and month.

    Parameters
    ----------
    selection : Selection
    scales : bool
        Give ``SCALES`` too.

    Returns
    -------
    ibis.Table
        As :func:`analytics.tally.cluster_sums.of_farms` gives it: month (its first day), farm, n (scorings), cows,
        lame, severe and their sums over cows; one row a farm and month with scorings.
    """
    rows = scores(selection)
    rows = rows.mutate(month=rows.visit_date.truncate("M"), day=rows.visit_date.day())
    cows = rows.group_by(["month", "farm", "cow"]).agg(
        n=rows.count(),
        # Sums come back wider than they are added up quickly.
        lame=rows.lame.sum().cast("int32"),
        severe=rows.severe.sum().cast("int32"),
        twice=(bit(rows.day).sum() != together(rows.day)).cast("int64"),
    )
    plain = of_farms(cows, ["month"], OUTCOMES, {"twice": "max"})
    twice = plain.group_by("farm").agg(twice=plain.twice.max())
    twice = twice.filter(twice.twice == 1).select("farm")
    if scales:
        # Of few groups, so another look at the rows costs less than carrying this along for every cow.
        scaled = _scales(rows, rows.group_by(["month", "farm"]))
        plain = plain.join(scaled, ["month", "farm"])

    days = one_scoring_a_day(selection, only=twice)
    days = days.mutate(month=days.visit_date.truncate("M"))
    by_day = of_farms(cows_of_days(days, ["month"], scales=scales), ["month"], OUTCOMES, SCALES if scales else None)
    return ibis.union(plain.anti_join(twice, "farm").select(*by_day.columns), by_day)


def cows_of_days(days: ir.Table, keys: list[str], *, scales: bool = False) -> ir.Table:
    """The days of :func:`one_scoring_a_day` counted by the keys, farm and cow: n, lame, severe, and ``SCALES``."""
    each = days.group_by([*keys, "farm", "cow"])
    counted = {"n": days.count(), "lame": days.lame.sum(), "severe": days.severe.sum()}
    return _scales(days, each, counted) if scales else each.agg(**counted)


def _scales(base: ir.Table, each: ir.GroupedTable, counted: dict[str, ir.Value] | None = None) -> ir.Table:
    return each.agg(
        **(counted or {}),
        points=base.score.cast("float64").sum(),
        pointed=base.score.count(),
        unscaled=base.scale.isnull().sum(),
        low_scale=base.scale.min(),
        high_scale=base.scale.max(),
    )
