"""Steps from one scoring of a cow to her next, with the sums that clustering needs."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.cluster_sums import chosen_sums, of_farms, of_groups, sums_in_clusters
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import grouped
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection


def step_sums(
    ledger: Ledger, selection: Selection, by: tuple[str, ...], gap_days: int
) -> tuple[pd.DataFrame, list[str], int, int]:
    """Steps from one scoring of a cow to her next, with the sums over clusters of those that ended lame.

    Parameters
    ----------
    by : tuple of str
        Groupings of the later scoring.
    gap_days : int
        Scorings further apart than this make no step.

    Returns
    -------
    sums : pandas.DataFrame
        The ``by`` columns, from_lame (0 or 1), cows, sum_m (ended lame), sum_n (steps), sum_mm, sum_mn,
        sum_nn, clusters.
    kinds : list of str
        ``farm`` or ``cow``, one a row.
    too_far : int
        Pairs of scorings further apart.
    cows : int
        Cows with a step.
    """
    frame = fetch(ledger, _steps(selection, by, gap_days))
    whole = frame[["too_far", "animals"]].fillna(0).iloc[0]
    keys = [*by, "from_lame"]
    groups = frame[frame["n"].notna()].sort_values(keys).reset_index(drop=True)
    groups = groups.astype({"from_lame": "int64", "cows": "int64"})
    sums, kinds = chosen_sums(groups, keys, ("lame",))
    return sums["lame"].assign(cows=groups["cows"]), kinds, int(whole["too_far"]), int(whole["animals"])


def _steps(selection: Selection, by: tuple[str, ...], gap_days: int) -> str:
    # Sums over cows are by farm in any case, and a column must not come twice.
    told = [name for name in by if name != "farm"]
    named = sql.listed({name: grouped(name, selection) for name in told})
    near = f"days <= {sql.literal(gap_days)}"
    steps = f"""
        SELECT {sql.commas(named, "from_lame", "farm", "cow", "lame", f"{near} AS near")}
        FROM ({_followed(selection)}) AS followed
        WHERE from_lame IS NOT NULL"""
    of_cow = [*told, "from_lame", "farm", "cow"]
    farms = of_farms("SELECT * FROM each_cow WHERE n > 0", [*told, "from_lame"], ("lame",))
    # One question, so that cows are followed once; the whole stands beside every group, and alone where there is none.
    return f"""
        WITH each_cow AS (
            SELECT {sql.names(of_cow)},
                COUNT(*) FILTER (WHERE near) AS n,
                COUNT(*) FILTER (WHERE near AND lame = 1) AS lame,
                COUNT(*) FILTER (WHERE NOT near) AS far
            FROM ({steps}) AS steps
            {sql.group_by(of_cow)}
        ),
        animals AS (SELECT farm, cow, SUM(n) AS n, SUM(far) AS far FROM each_cow GROUP BY farm, cow),
        whole AS (
            SELECT {sql.total("far")} AS too_far, {sql.total("CASE WHEN n > 0 THEN 1 ELSE 0 END")} AS animals
            FROM animals
        )
        SELECT whole.*, g.*
        FROM whole LEFT JOIN ({of_groups(farms, [*by, "from_lame"], ("lame",))}) AS g ON TRUE"""


def _followed(selection: Selection) -> str:
    """Scorings with the cow's one before: ``from_lame`` (whether she was lame) and ``days`` between the two."""
    before = "LAG(visit_date) OVER of_cow"
    return f"""
        SELECT *, LAG(lame) OVER of_cow AS from_lame, {sql.days_between(before, "visit_date")} AS days
        FROM ({one_scoring_a_day(selection)}) AS d
        WINDOW of_cow AS (PARTITION BY farm, cow ORDER BY visit_date)"""


DAYS_BETWEEN = (30, 60, 120, 200)
"""Upper ends of the stretches of days between two scorings of a lame cow. [common practice, no source]"""


def sound_again_sums(ledger: Ledger, selection: Selection) -> tuple[pd.DataFrame, list[str], int]:
    """Scorings of lame cows followed by another, by the days between, with the sums over clusters of those sound then.

    Returns
    -------
    sums : pandas.DataFrame
        days_between (``1-30`` and so on), and ``SUMS`` of those that were sound at the next scoring.
    kinds : list of str
        ``farm`` or ``cow``, one a row.
    cows : int
        Cows counted.
    """
    frame = fetch(ledger, _sound_again(selection))
    groups = frame.sort_values("stretch").reset_index(drop=True)
    sums, kinds = chosen_sums(groups, ["stretch"], ("sound",))
    starts = (1, *(end + 1 for end in DAYS_BETWEEN))
    named = [f"{starts[int(place)]}-{DAYS_BETWEEN[int(place)]}" for place in groups["stretch"]]
    cows = int(groups["cows"].max()) if len(groups) else 0
    return sums["sound"].assign(days_between=named), kinds, cows


def _sound_again(selection: Selection) -> str:
    stretch = " ".join(f"WHEN days <= {end} THEN {place}" for place, end in enumerate(DAYS_BETWEEN))
    steps = f"""
        SELECT farm, cow, CASE {stretch} END AS stretch, 1 - lame AS sound
        FROM ({_followed(selection)}) AS followed
        WHERE from_lame = 1 AND days <= {DAYS_BETWEEN[-1]}"""
    cows = f"""
        SELECT stretch, farm, cow, COUNT(*) AS n, {sql.total("sound")} AS sound
        FROM ({steps}) AS steps
        GROUP BY stretch, farm, cow"""
    return sums_in_clusters(cows, ["stretch"], ("sound",))
