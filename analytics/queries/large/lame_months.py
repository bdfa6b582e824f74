"""Lameness by farm and period over many farms, without a row for every cow and day where none is needed.

The scores table has one row a cow, day, person and scale. On a day when one person scored a farm on one scale its rows
are therefore cows, each once, and adding them up by farm and day, of which there are few, says all of scorings. Cows
are looked at one by one only where a farm was scored on several days of a period, to count each once; and the days of
cows only on farms where several people, or scales, share a day.
"""

from __future__ import annotations

from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.cluster_sums import of_farms
from evenfoot.analytics.queries.filters import grouped, scores
from evenfoot.analytics.queries.large.cow_periods import IN_A_YEAR, cows_by_period, period_number
from evenfoot.analytics.queries.locomotion_scores import (
    OF_COWS,
    OUTCOMES,
    SCALES,
    cows_of_days,
    one_scoring_a_day,
)
from evenfoot.analytics.queries.selection import Selection


def lame_months(
    selection: Selection,
    periods: tuple[str, ...] = ("month",),
    *,
    scales: bool = False,
    of_cows: bool = False,
) -> str:
    """Scorings by farm and period.

    Parameters
    ----------
    selection : Selection
    periods : tuple of str
        Any of ``OF_DAY``, or none.
    scales : bool
        Give ``SCALES`` too.
    of_cows : bool
        Give the sums over cows of every farm. Without, only those of a farm alone in a period are given, which are
        all that limits need when farms are put together; the others are 0.

    Returns
    -------
    str
        A question, as :func:`evenfoot.analytics.queries.cluster_sums.of_farms` gives it: the periods (month and
        quarter as their first day), farm, n (scorings), lame, severe, their sums over cows, and cows; one row a farm
        and period with scorings.
    """
    keys = [*periods, "farm"]
    closer = "SELECT DISTINCT farm FROM farms WHERE most > 1"
    if not of_cows:
        closer = f"SELECT farm FROM farms WHERE most > 1 UNION {_alone('farms', periods)}"
    days = with_periods(one_scoring_a_day(selection, only="SELECT farm FROM closer"), periods, selection)
    carried = SCALES if scales else None
    by_day = of_farms(cows_of_days(days, list(periods), scales=scales), list(periods), OUTCOMES, carried)

    # On a farm that was scored on one day of every period no cow comes twice.
    again = f"""
        SELECT s.*
        FROM ({scores(selection)}) AS s
        SEMI JOIN (SELECT farm FROM plain WHERE days > 1) AS d ON s.farm = d.farm"""
    if not of_cows and len(periods) == 1 and periods[0] in IN_A_YEAR:
        period = periods[0]
        met = f"SELECT farm, number, n AS cows FROM ({cows_by_period(again, ['farm'], period)}) AS met"
        same = f"p.farm = o.farm AND {period_number(f'p.{sql.name(period)}', period)} = o.number"
    else:
        met = _cows_once(with_periods(again, periods, selection), keys, of_cows)
        same = sql.matched(keys, "p", "o")
    # Scored on one day of the period, every scoring is another cow.
    alike = {"cow nn": "n", **{f"cow {what} {name}": name for name in OUTCOMES for what in ("mm", "mn")}}
    sums = {
        name: f"COALESCE(o.{sql.name(name)}, p.{alike[name]})" if of_cows else "CAST(0 AS BIGINT)" for name in OF_COWS
    }
    sums["cows"] = "COALESCE(o.cows, p.n)"
    of_scales = sql.names(SCALES, of="p") if scales else ""
    return f"""
        WITH farms AS ({_of_days(scores(selection), selection, periods)}),
        closer AS ({closer}),
        plain AS (SELECT f.* FROM farms AS f ANTI JOIN closer AS c ON f.farm = c.farm)
        SELECT {sql.commas(sql.names([*keys, "n", *OUTCOMES], of="p"), sql.listed(sums), of_scales)}
        FROM plain AS p LEFT JOIN ({met}) AS o ON {same}
        UNION ALL {by_day}"""


def with_periods(rows: str, periods: tuple[str, ...], selection: Selection) -> str:
    """The rows with their periods, each under its name."""
    named = sql.listed({name: grouped(name, selection) for name in periods})
    return f"SELECT {sql.commas('*', named)} FROM ({rows}) AS rows_of_periods"


def _of_days(rows: str, selection: Selection, periods: tuple[str, ...]) -> str:
    """Scorings by farm and period, were every row another cow's; ``most`` is 1 where that is sure."""
    people = f"""
        SELECT farm, visit_date, scorer, scale,
            COUNT(*) AS n, {sql.total("lame")} AS lame, {sql.total("severe")} AS severe,
            SUM(CAST(score AS DOUBLE)) AS points, COUNT(score) AS pointed
        FROM ({rows}) AS s
        GROUP BY farm, visit_date, scorer, scale"""
    days = f"""
        SELECT farm, visit_date, COUNT(*) AS together,
            {sql.total("n")} AS n, {sql.total("lame")} AS lame, {sql.total("severe")} AS severe,
            SUM(points) AS points, {sql.total("pointed")} AS pointed,
            {sql.total("CASE WHEN scale IS NULL THEN n ELSE 0 END")} AS unscaled,
            MIN(scale) AS low_scale, MAX(scale) AS high_scale
        FROM ({people}) AS people
        GROUP BY farm, visit_date"""
    by = [*periods, "farm"]
    return f"""
        SELECT {sql.names(by)}, MAX(together) AS most, COUNT(*) AS days,
            {sql.total("n")} AS n, {sql.total("lame")} AS lame, {sql.total("severe")} AS severe,
            SUM(points) AS points, {sql.total("pointed")} AS pointed, {sql.total("unscaled")} AS unscaled,
            MIN(low_scale) AS low_scale, MAX(high_scale) AS high_scale
        FROM ({with_periods(days, periods, selection)}) AS days
        {sql.group_by(by)}"""


def _alone(farms: str, periods: tuple[str, ...]) -> str:
    """Farms that are the only one scored in some period; *farms* is the name of a table of farms and periods."""
    return f"SELECT MIN(farm) AS farm FROM {farms}{sql.group_by(periods)} HAVING COUNT(*) = 1"


def _cows_once(rows: str, keys: list[str], of_cows: bool) -> str:
    """Cows, and where asked their sums, by the keys."""
    of_cow = [*keys, "cow"]
    if not of_cows:
        once = f"SELECT DISTINCT {sql.names(of_cow)} FROM ({rows}) AS s"
        return f"SELECT {sql.names(keys)}, COUNT(*) AS cows FROM ({once}) AS once{sql.group_by(keys)}"
    cows = f"""
        SELECT {sql.names(of_cow)}, COUNT(*) AS n,
            CAST(SUM(lame) AS INTEGER) AS lame, CAST(SUM(severe) AS INTEGER) AS severe
        FROM ({rows}) AS s
        {sql.group_by(of_cow)}"""
    return of_farms(cows, [key for key in keys if key != "farm"], OUTCOMES)
