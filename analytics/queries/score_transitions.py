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


@built_once
def _sound_again(selection: Selection) -> Question:
    day = one_scoring_a_day(selection)
    window = ibis.window(group_by=["farm", "cow"], order_by="visit_date")
    step = day.mutate(
        from_lame=day.lame.lag().over(window),
        days=day.visit_date.delta(day.visit_date.lag().over(window), unit="day"),
    )
    step = step.filter((step.from_lame == 1) & (step.days <= DAYS_BETWEEN[-1]))
    places = [(step.days <= end, place) for place, end in enumerate(DAYS_BETWEEN)]
    step = step.mutate(stretch=ibis.cases(*places), sound=1 - step.lame)
    cows = step.group_by(["stretch", "farm", "cow"]).agg(n=step.count(), sound=step.sound.sum())
    return question_of(sums_in_clusters(cows, ["stretch"], ("sound",)))
