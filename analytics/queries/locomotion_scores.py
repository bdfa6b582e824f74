"""Scorings of locomotion, one a cow and day, and what is counted of them."""

from __future__ import annotations

from collections.abc import Mapping

from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.filters import scores
from evenfoot.analytics.queries.selection import Selection

OUTCOMES = ("lame", "severe")

SCALES = {"points": "sum", "pointed": "sum", "unscaled": "sum", "low_scale": "min", "high_scale": "max"}
"""What is known of the scale: the scores added up, how many, scorings without one scale, the first and last scale."""

OF_DAY = ("month", "quarter", "season", "year")
"""Groupings that the day alone decides."""

OF_COWS = ("cow nn", *(f"cow {what} {outcome}" for outcome in OUTCOMES for what in ("mm", "mn")))

COUNTED = {"n": "COUNT(*)", "lame": sql.total("lame"), "severe": sql.total("severe")}
"""What is counted of days."""


_OF_A_DAY = ("group", "housing", "floor", "bedding", "wetness", "breed", "sire", "trimmer")


def one_scoring_a_day(selection: Selection, *, only: str | None = None) -> str:
    """One row a cow and day: farm, cow, visit_date, lame, severe, score, scale and the attributes.

    Where several people scored a cow on one day the majority counts, and a tie counts as lame. The score
    itself is kept only when all were on one scale (their mean). *only* is a question with the one column farm and
    leaves the others out.
    """
    rows = scores(selection)
    if only is not None:
        return _agreed(f"SELECT * FROM ({rows}) AS s SEMI JOIN ({only}) AS o ON s.farm = o.farm")
    if len(selection.farms) == 1 or selection.cows:
        return _agreed(rows)
    # A row a cow, day, person and scale: where one person scored a farm's day on one scale, each row is another cow's.
    several = f"""
        SELECT farm, visit_date
        FROM (SELECT DISTINCT farm, visit_date, scorer, scale FROM ({rows}) AS s) AS people
        GROUP BY farm, visit_date HAVING COUNT(*) > 1"""
    same_day = "s.farm = d.farm AND s.visit_date = d.visit_date"
    alone = _as_scored(f"SELECT * FROM ({rows}) AS s ANTI JOIN scored_by_several AS d ON {same_day}")
    others = _agreed(f"SELECT * FROM ({rows}) AS s SEMI JOIN scored_by_several AS d ON {same_day}")
    return f"WITH scored_by_several AS ({several}) {alone} UNION ALL {others}"


def _agreed(rows: str) -> str:
    """Scores put together by cow and day."""
    one_scale = "MIN(scale) = MAX(scale)"
    attributes = sql.listed({name: f"MAX({sql.name(name)})" for name in _OF_A_DAY})
    return f"""
        SELECT farm, cow, visit_date,
            CAST(CASE WHEN AVG(lame) >= 0.5 THEN 1 ELSE 0 END AS BIGINT) AS lame,
            CAST(CASE WHEN AVG(severe) >= 0.5 THEN 1 ELSE 0 END AS BIGINT) AS severe,
            CASE WHEN {one_scale} THEN AVG(score) END AS score,
            CASE WHEN {one_scale} THEN MAX(scale) END AS scale,
            MAX(parity) AS parity, MIN(visit_kind) AS visit_kind, {attributes}
        FROM ({rows}) AS agreed GROUP BY farm, cow, visit_date"""


def _as_scored(rows: str) -> str:
    """The same of scores that are already one a cow and day."""
    return f"""
        SELECT farm, cow, visit_date, CAST(lame AS BIGINT) AS lame, CAST(severe AS BIGINT) AS severe,
            CASE WHEN scale IS NOT NULL THEN CAST(score AS DOUBLE) END AS score,
            scale, parity, visit_kind, {sql.names(_OF_A_DAY)}
        FROM ({rows}) AS scored"""


def cows_of_days(days: str, keys: list[str], *, scales: bool = False) -> str:
    """The days of :func:`one_scoring_a_day` counted by the keys, farm and cow: n, lame, severe, and ``SCALES``."""
    by = [*keys, "farm", "cow"]
    return scales_of(days, by, COUNTED) if scales else _by(days, by, COUNTED)


def scales_of(days: str, keys: list[str], counted: Mapping[str, str]) -> str:
    """Days grouped by the keys, with what is *counted* of each group and ``SCALES``."""
    scales = {
        "points": "SUM(CAST(score AS DOUBLE))",
        "pointed": "COUNT(score)",
        "unscaled": "COUNT(*) - COUNT(scale)",
        "low_scale": "MIN(scale)",
        "high_scale": "MAX(scale)",
    }
    return _by(days, keys, {**counted, **scales})


def _by(days: str, keys: list[str], counted: Mapping[str, str]) -> str:
    return f"SELECT {sql.names(keys)}, {sql.listed(counted)} FROM ({days}) AS days_by{sql.group_by(keys)}"
