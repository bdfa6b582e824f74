"""Steps from one scoring of a cow to her next, with the sums that clustering needs."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.cluster_sums import chosen_sums, sums_in_clusters
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of
from evenfoot.analytics.queries.filters import grouped
from evenfoot.analytics.queries.lazy_import import ibis
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


@built_once
def _steps(selection: Selection, by: tuple[str, ...], gap_days: int) -> Question:
    day = one_scoring_a_day(selection)
    window = ibis.window(group_by=["farm", "cow"], order_by="visit_date")
    step = day.mutate(
        from_lame=day.lame.lag().over(window),
        days=day.visit_date.delta(day.visit_date.lag().over(window), unit="day"),
    )
    step = step.filter(step.from_lame.notnull())
    step = step.mutate(near=step.days <= gap_days)
    step = step.mutate(**{f"by_{name}": grouped(step, name, selection) for name in by})
    keys = [*(f"by_{name}" for name in by), "from_lame"]
    cows = step.group_by([*keys, "farm", "cow"]).agg(
        n=step.near.sum(), lame=(step.near & (step.lame == 1)).sum(), far=(~step.near).sum()
    )
    animals = cows.group_by(["farm", "cow"]).agg(n=cows.n.sum(), far=cows.far.sum())
    whole = animals.agg(too_far=animals.far.sum(), animals=(animals.n > 0).sum())
    groups = sums_in_clusters(cows.filter(cows.n > 0), keys, ("lame",)).rename({name: f"by_{name}" for name in by})
    # One question, so that cows are followed once; the whole stands beside every group, and alone where there is none.
    return question_of(whole.left_join(groups, ibis.literal(True)))
