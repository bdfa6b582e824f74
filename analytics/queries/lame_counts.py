"""Locomotion scores counted: how many scorings, how many lame, by period and group."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.cluster_sums import chosen_sums, of_farms, of_groups
from evenfoot.analytics.queries.denominators import cows_of_farms, with_keys, without_by
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import OF_TRIM
from evenfoot.analytics.queries.large.lame_months import lame_months
from evenfoot.analytics.queries.large.size import is_large
from evenfoot.analytics.queries.locomotion_scores import (
    COUNTED,
    OF_COWS,
    OF_DAY,
    OUTCOMES,
    SCALES,
    cows_of_days,
    one_scoring_a_day,
    scales_of,
)
from evenfoot.analytics.queries.selection import Selection


@dataclass(frozen=True)
class Scorings:
    """What :func:`count_scorings` found.

    Attributes
    ----------
    table : pandas.DataFrame
        The groupings; scored, lame, severe (scorings); cows, n_farms; scale and mean_score (only where one scale was
        used, else missing).
    sums : dict of str to pandas.DataFrame
        For ``lame`` and ``severe``, on the rows of the table: the groupings, then sum_m, sum_n, sum_mm, sum_mn,
        sum_nn, clusters. Clusters are the farms where a group has several, else the cows.
    kinds : list of str
        ``farm`` or ``cow``, one a row.
    """

    table: pd.DataFrame
    sums: dict[str, pd.DataFrame]
    kinds: list[str]


def count_scorings(ledger: Ledger, selection: Selection, by: tuple[str, ...] = ("month",)) -> Scorings:
    """Count scorings, lame and severely lame ones, with the sums that their limits need.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings that are a property of the cow and day.

    Returns
    -------
    Scorings

    Raises
    ------
    UserError
        A grouping that does not apply to scores.
    """
    for name in by:
        if name not in OF_TRIM:
            raise UserError(
                say(
                    "Locomotion scores cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_TRIM),
                )
            )
    frame = fetch(ledger, _counted(selection, tuple(by), is_large(ledger)))
    frame = frame[frame["n"].fillna(0) > 0]
    frame = (frame.sort_values(list(by)) if by else frame).reset_index(drop=True)
    sums, kinds = chosen_sums(frame, list(by), OUTCOMES)
    one = (frame["low_scale"] == frame["high_scale"]) & (frame["unscaled"] == 0)
    table = frame[list(by)].assign(
        **{name: frame[name].astype("int64") for name in ("n", *OUTCOMES, "cows", "n_farms")},
        scale=frame["low_scale"].where(one),
        mean_score=(frame["points"] / frame["pointed"]).where(one),
    )
    return Scorings(table.rename(columns={"n": "scored"}), sums, kinds)


def _counted(selection: Selection, by: tuple[str, ...], large: bool = True) -> str:
    if large and set(by) <= {"farm", *OF_DAY} and len(selection.farms) != 1:
        periods = tuple(name for name in by if name in OF_DAY)
        farms = lame_months(selection, periods, scales=True, of_cows="farm" in by)
        return of_groups(farms, list(by), OUTCOMES, SCALES)
    days = with_keys(one_scoring_a_day(selection), by, selection)
    if "farm" in by or len(selection.farms) == 1:
        keys = [f"by_{name}" for name in by]
        farms = of_farms(cows_of_days(days, keys, scales=True), keys, OUTCOMES, SCALES)
    else:
        farms = _of_many_farms(days, by, large=large)
    named = f"SELECT {sql.commas(without_by(by), sql.names(_OF_FARM))} FROM ({farms}) AS farms_by"
    return of_groups(named, list(by), OUTCOMES, SCALES)


_OF_FARM = ("n", *OUTCOMES, *OF_COWS, "cows", *SCALES)
"""What :func:`of_farms` gives beside the keys and the farm."""


def _of_many_farms(days: str, by: tuple[str, ...], *, large: bool) -> str:
    """The days of several farms added up as :func:`of_farms` does; where farms are put together without cow sums.

    Those are what limits need where a farm is alone in a group, so that cows are added up one by one only there.
    *days* have been given their keys (:func:`with_keys`).
    """
    keys = [f"by_{name}" for name in by]
    of_farm = [*keys, "farm"]
    of_alone = f"SELECT d.* FROM days AS d SEMI JOIN alone AS a ON {sql.matched(keys, 'd', 'a')}"
    closer = of_farms(cows_of_days(of_alone, keys, scales=True), keys, OUTCOMES, SCALES)
    cows = cows_of_farms("SELECT * FROM days", list(by), large=large)
    none = sql.listed(dict.fromkeys(OF_COWS, "CAST(0 AS BIGINT)"))
    return f"""
        WITH days AS ({days}),
        totals AS ({scales_of("SELECT * FROM days", of_farm, COUNTED)}),
        alone AS (SELECT {sql.names(keys) or "1 AS whole"} FROM totals{sql.group_by(keys)} HAVING COUNT(*) = 1)
        SELECT {sql.names([*of_farm, "n", *OUTCOMES], of="t")}, {none}, c.n AS cows, {sql.names(SCALES, of="t")}
        FROM totals AS t
        JOIN ({cows}) AS c ON t.farm = c.farm_key AND {sql.matched(keys, "t", "c")}
        ANTI JOIN alone AS a ON {sql.matched(keys, "t", "a")}
        UNION ALL {closer}"""
