"""The same cows scored, or the same feet looked at, by two people within a few days."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.domain.lesions import LESIONS, NO_CASE_STAGE
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.filters import of_farm_and_period
from evenfoot.analytics.queries.selection import Selection

WITHIN_DAYS = 3
"""Two people saw the same thing when they saw it no more days than this apart. [common practice, no source]"""


def pairs(ledger: Ledger, selection: Selection) -> dict[str, pd.DataFrame]:
    """Paired scores and paired findings of any two people, counted by what each wrote down.

    Each scoring is paired with the nearest one of the other person, once. Every kind of visit counts.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period and cows; ``lesions`` and ``families`` say what a finding on a foot is.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``scores``: a, b, scale, first, second (their scores), pairs, same_day. ``feet``: a, b, first, second
        (1 where that person found a lesion on the foot), pairs, same_day. ``people``: name, of everybody who
        scored or trimmed.
    """
    return fetch_many(ledger, _questions(selection))


def _questions(selection: Selection) -> dict[str, str]:
    everything = selection.with_(visits=("all",), trimmers=())
    scores = f"""
        SELECT farm, cow, scale, visit_date AS day, scorer AS person, score AS said
        FROM ({of_farm_and_period("scores", everything)}) AS s
        WHERE scorer IS NOT NULL AND score IS NOT NULL AND scale IS NOT NULL"""
    scored = f"""
        SELECT s.*
        FROM ({scores}) AS s SEMI JOIN ({_days_of_two(scores)}) AS d ON s.farm = d.farm AND s.day = d.day"""
    rows = f"SELECT * FROM ({of_farm_and_period('trim_rows', everything)}) AS r WHERE trimmer IS NOT NULL"
    return {
        "scores": _counted(_met(scored, ["farm", "cow", "scale"]), ["a", "b", "scale", "first", "second"]),
        "feet": _feet(rows, selection),
        "people": f"""
            SELECT person AS name FROM ({scores}) AS s
            UNION SELECT trimmer AS name FROM ({rows}) AS r""",
    }


def _feet(rows: str, selection: Selection) -> str:
    found = ["lesion IS NOT NULL", f"COALESCE(dd_stage, '') <> {sql.literal(NO_CASE_STAGE)}"]
    if selection.lesions:
        either = (sql.among("lesion", selection.lesions), sql.among("lesion_detail", selection.lesions))
        found.append(f"({' OR '.join(either)})")
    if selection.families:
        of_families = [code for code, lesion in LESIONS.items() if lesion.family in selection.families]
        found.append(sql.among("lesion", of_families))
    told = {"limited": "MAX(CASE WHEN feet_seen IS NOT NULL THEN 1 ELSE 0 END)"}
    for foot in FEET:
        here, of = f"foot = {sql.literal(foot)}", foot.lower()
        told |= {
            f"named_{of}": f"MAX(CASE WHEN feet_seen LIKE {sql.literal(f'%{foot}%')} THEN 1 ELSE 0 END)",
            f"row_{of}": f"MAX(CASE WHEN {here} THEN 1 ELSE 0 END)",
            f"found_{of}": f"MAX(CASE WHEN {' AND '.join([here, *found])} THEN 1 ELSE 0 END)",
        }
    days = _days_of_two(f"SELECT farm, visit_date AS day, trimmer AS person FROM ({rows}) AS r")
    looks = f"""
        SELECT r.farm, r.cow, r.visit_date AS day, r.trimmer AS person, {sql.listed(told)}
        FROM ({rows}) AS r SEMI JOIN ({days}) AS d ON r.farm = d.farm AND r.visit_date = d.day
        GROUP BY r.farm, r.cow, r.visit_date, r.trimmer"""
    each = sql.union(
        *(
            f"""
            SELECT farm, cow, {sql.literal(foot)} AS foot, day, person, CAST(found_{foot.lower()} AS BIGINT) AS said
            FROM looks
            WHERE limited = 0 OR named_{foot.lower()} = 1 OR row_{foot.lower()} = 1"""
            for foot in FEET
        )
    )
    met = _met(f"WITH looks AS ({looks}) {each}", ["farm", "cow", "foot"])
    return _counted(met, ["a", "b", "first", "second"])


def _counted(met: str, keys: list[str]) -> str:
    """Pairs by the keys, and those of one day."""
    same_day = "COUNT(*) FILTER (WHERE apart = 0)"
    return f"""
        SELECT {sql.names(keys)}, COUNT(*) AS pairs, {same_day} AS same_day
        FROM ({met}) AS met
        {sql.group_by(keys)}"""


def _days_of_two(seen: str) -> str:
    """Farms and days on which somebody else was there too, a few days before or after: farm, day.

    Nearly all records are of other days, and need not be matched cow by cow.
    """
    return f"""
        WITH days AS (SELECT DISTINCT farm, day, person FROM ({seen}) AS seen)
        SELECT DISTINCT one.farm, one.day
        FROM days AS one
        JOIN days AS other ON one.farm = other.farm AND one.person <> other.person
        WHERE ABS({sql.days_between("other.day", "one.day")}) <= {WITHIN_DAYS}"""


def _met(seen: str, unit: list[str]) -> str:
    """Rows of two people on one unit no more than a few days apart, nearest first, each row used once."""
    keys = sql.names([*unit, "a", "b"])
    return f"""
        WITH seen AS ({seen}),
        pairs AS (
            SELECT {sql.names(unit, of="one")}, one.person AS a, other.person AS b,
                one.said AS first, other.said AS second, one.day AS day_a, other.day AS day_b,
                ABS({sql.days_between("other.day", "one.day")}) AS apart
            FROM seen AS one JOIN seen AS other ON {sql.matched(unit, "one", "other")} AND one.person < other.person
        ),
        placed AS (
            SELECT *,
                ROW_NUMBER() OVER (PARTITION BY {keys}, day_a ORDER BY apart, day_b) AS place_b,
                ROW_NUMBER() OVER (PARTITION BY {keys}, day_b ORDER BY apart, day_a) AS place_a
            FROM pairs
            WHERE apart <= {WITHIN_DAYS}
        )
        SELECT * FROM placed WHERE place_a = 1 AND place_b = 1"""
