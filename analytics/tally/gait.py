"""Steps from one scoring of a cow to her next, with the sums that clustering needs."""

from __future__ import annotations

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.cluster_sums import chosen_sums, sums_in_clusters
from analytics.tally.engine import Question, built_once, fetch_many, question_of
from analytics.tally.late import ibis
from analytics.tally.narrow import grouped
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection


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
    frames = fetch_many(ledger, _steps(selection, by, gap_days))
    keys = [*by, "from_lame"]
    groups = frames["groups"].sort_values(keys).reset_index(drop=True)
    sums, kinds = chosen_sums(groups, keys, ("lame",))
    whole = frames["whole"].fillna(0).iloc[0]
    return sums["lame"].assign(cows=groups["cows"]), kinds, int(whole["too_far"]), int(whole["cows"])


@built_once
def _steps(selection: Selection, by: tuple[str, ...], gap_days: int) -> dict[str, Question]:
    day = one_scoring_a_day(selection)
    window = ibis.window(group_by=["farm", "cow"], order_by="visit_date")
    step = day.mutate(
        from_lame=day.lame.lag().over(window),
        days=day.visit_date.delta(day.visit_date.lag().over(window), unit="day"),
    )
    step = step.filter(step.from_lame.notnull())
    step = step.mutate(near=step.days <= gap_days)
    animals = step.group_by(["farm", "cow"]).agg(far=(~step.near).sum(), close=step.near.sum())
    whole = animals.agg(too_far=animals.far.sum(), cows=(animals.close > 0).sum())
    near = step.filter(step.near)
    near = near.mutate(**{f"by_{name}": grouped(near, name, selection) for name in by})
    keys = [*(f"by_{name}" for name in by), "from_lame"]
    cows = near.group_by([*keys, "farm", "cow"]).agg(n=near.count(), lame=near.lame.sum())
    groups = sums_in_clusters(cows, keys, ("lame",)).rename({name: f"by_{name}" for name in by})
    return {"groups": question_of(groups), "whole": question_of(whole)}
