"""Shed stages counted: how many feet stand at each, by cow, and how long each had been on grass."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.horn import SHED_STAGES
from evenfoot.analytics.domain.shedding import HORN_ZONES, STANDING
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import grouped, of_selection
from evenfoot.analytics.queries.horn import group_value, known_groupings, readings
from evenfoot.analytics.queries.selection import Selection

SUMS = ("sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "cows")


def foot_days(selection: Selection, by: tuple[str, ...] = ()) -> str:
    """One row a foot and day, or a claw and day when grouped by claw.

    Where two claws of a foot, or two rows of a claw, give different stages the further one counts.

    Returns
    -------
    str
        A question: the groupings as ``by_*``, farm, cow, visit_date, foot, is_housed, is_season, is_group, stage.
    """
    groups = {f"by_{name}": group_value(name, selection) for name in by}
    of_foot = {
        **groups,
        "is_housed": grouped("housing", selection),
        "is_season": grouped("season", selection),
        "is_group": sql.name("group"),
    }
    keys = [*groups, "farm", "cow", "visit_date", "foot", "is_housed", "is_season", "is_group"]
    if "claw" in by:
        keys.append("claw")
    return f"""
        SELECT {sql.names(keys)}, MAX(shed_stage) AS stage
        FROM (
            SELECT *, {sql.listed(of_foot)}
            FROM ({readings(selection)}) AS r
            WHERE shed_stage IS NOT NULL) AS staged
        {sql.group_by(keys)}"""


def _questions(selection: Selection, by: tuple[str, ...]) -> tuple[str, str]:
    """Two questions: all feet of every group, and those at each shed stage, summed over cows."""
    keys = [f"by_{name}" for name in by]
    named = sql.listed({name: sql.name(f"by_{name}") for name in by})
    of_cow = [*keys, "farm", "cow"]
    at_stage = [*of_cow, "stage"]
    of_all = {
        "sum_n": sql.total("n"),
        "sum_nn": sql.total("n * n"),
        "cows": "COUNT(*)",
        "n_farms": "COUNT(DISTINCT farm)",
    }
    of_cases = {"sum_m": sql.total("m"), "sum_mm": sql.total("m * m"), "sum_mn": sql.total("m * n")}
    whole = f"""
        SELECT {sql.commas(named, sql.listed(of_all))}
        FROM (
            SELECT {sql.names(of_cow)}, COUNT(*) AS n
            FROM ({foot_days(selection, by)}) AS feet
            {sql.group_by(of_cow)}) AS cows
        {sql.group_by(keys)}"""
    cases = f"""
        WITH stages_of_cows AS (
            SELECT {sql.names(at_stage)}, COUNT(*) AS m
            FROM ({foot_days(selection, by)}) AS feet
            {sql.group_by(at_stage)})
        SELECT {sql.commas(named, "stage AS shed_stage", sql.listed(of_cases))}
        FROM (
            SELECT s.*, c.n
            FROM stages_of_cows AS s
            JOIN (SELECT {sql.names(of_cow)}, {sql.total("m")} AS n FROM stages_of_cows{sql.group_by(of_cow)}) AS c
                ON {sql.matched(of_cow, "s", "c")}) AS stages
        {sql.group_by([*keys, "stage"])}"""
    return whole, cases


def count_stages(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> pd.DataFrame:
    """Feet at every shed stage of every group.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, shed_stage (each of 0 to 5), and over cows with m feet at the stage among n: sum_m, sum_n,
        sum_mm, sum_mn, sum_nn, cows; n_farms.
    """
    by = known_groupings(by)
    whole, cases = _questions(selection, by)
    frames = fetch_many(ledger, {"whole": whole, "cases": cases})
    groups = frames["whole"][frames["whole"]["sum_n"].fillna(0) > 0]
    every = groups.merge(pd.DataFrame({"shed_stage": list(SHED_STAGES)}), how="cross")
    out = every.merge(frames["cases"], on=[*by, "shed_stage"], how="left")
    cast = dict.fromkeys((*SUMS, "n_farms"), "int64")
    return out.fillna(dict.fromkeys(("sum_m", "sum_mm", "sum_mn"), 0)).astype(cast).sort_values([*by, "shed_stage"])


def _model_question(selection: Selection) -> str:
    """A question: the columns of :func:`stages_for_model`, in a fixed order of rows."""
    columns = ["farm", "cow", "stage", "housing", "season", "weeks"]
    weeks = f"{sql.days_between('o.turned_out', 'f.visit_date')} / 7"
    return f"""
        WITH foot_days AS ({foot_days(selection)})
        SELECT f.farm, f.cow, f.stage, f.is_housed AS housing, f.is_season AS season, {weeks} AS weeks
        FROM foot_days AS f
        LEFT JOIN (
            SELECT d.farm, d.is_group, d.visit_date, MAX(p.starts_on) AS turned_out
            FROM (SELECT DISTINCT farm, is_group, visit_date FROM foot_days) AS d
            JOIN housing_rows AS p
                ON d.farm = p.farm
                AND d.visit_date >= p.starts_on AND (p.ends_on IS NULL OR d.visit_date <= p.ends_on)
                AND (p."group" IS NULL OR p."group" = d.is_group)
            WHERE p.pasture OR p.housing = 'pasture'
            GROUP BY d.farm, d.is_group, d.visit_date) AS o
            ON f.farm = o.farm AND f.visit_date = o.visit_date
            AND COALESCE(f.is_group, '') = COALESCE(o.is_group, '')
        ORDER BY {sql.names(columns)}"""


def stages_for_model(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """What a model of shedding needs of every foot and day: farm, cow, stage, housing, season, weeks.

    ``weeks`` are those since the housing period with pasture began for the cow's group, missing when she is not out.
    """
    return fetch(ledger, _model_question(selection))


def out_of_order(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Rows that name a zone as shed which at the stage they give should still stand.

    Only rows without a lesion count: on a row with one the zone is the lesion's.

    Returns
    -------
    pandas.DataFrame
        farm, visit_date, cow, foot, claw, zone, shed_stage, row_no, newest first.
    """
    frame = fetch(ledger, _out_of_order(selection))
    order = ["visit_date", "farm", "cow", "foot", "claw", "zone"]
    return frame.sort_values(order, ascending=[False, *[True] * 5]).reset_index(drop=True)


def _out_of_order(selection: Selection) -> str:
    """A question: the columns of :func:`out_of_order`."""
    wrong = " OR ".join(
        f"(shed_stage = {sql.literal(stage)} AND {sql.among('zone', each.standing)})"
        for stage, each in STANDING.items()
        if each.standing
    )
    return f"""
        SELECT farm, visit_date, cow, foot, claw, zone, shed_stage, row_no
        FROM ({of_selection("trim_rows", selection)}) AS r
        WHERE lesion IS NULL AND {sql.among("zone", HORN_ZONES)} AND ({wrong})"""
