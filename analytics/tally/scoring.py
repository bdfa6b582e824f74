"""Locomotion scores counted: how many scorings, how many lame, by period and group."""

from __future__ import annotations

from dataclasses import dataclass

import ibis
import ibis.expr.types as ir
import pandas as pd

from analytics.ledger import Ledger
from analytics.mistake import Mistake
from analytics.tally.cluster_sums import chosen_sums, sums_in_clusters
from analytics.tally.engine import Question, built_once, fetch, question_of
from analytics.tally.narrow import OF_TRIM, grouped, scores
from analytics.tally.selection import Selection
from analytics.words import say

OUTCOMES = ("lame", "severe")


def one_scoring_a_day(selection: Selection) -> ir.Table:
    """One row a cow and day: farm, cow, visit_date, lame, severe, score, scale and the attributes.

    Where several people scored a cow on one day the majority counts, and a tie counts as lame. The score
    itself is kept only when all were on one scale (their mean).
    """
    base = scores(selection)
    names = [name for name in ("group", "housing", "floor", "bedding", "wetness", "breed", "sire", "trimmer")]
    return base.group_by(["farm", "cow", "visit_date"]).agg(
        lame=(base.lame.mean() >= 0.5).cast("int64"),
        severe=(base.severe.mean() >= 0.5).cast("int64"),
        score=ibis.cases((base.scale.min() == base.scale.max(), base.score.mean())),
        scale=ibis.cases((base.scale.min() == base.scale.max(), base.scale.max())),
        parity=base.parity.max(),
        visit_kind=base.visit_kind.min(),
        **{name: base[name].max() for name in names},
    )


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
    Mistake
        A grouping that does not apply to scores.
    """
    for name in by:
        if name not in OF_TRIM:
            raise Mistake(
                say(
                    "Locomotion scores cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_TRIM),
                )
            )
    frame = fetch(ledger, _counted(selection, tuple(by)))
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


@built_once
def _counted(selection: Selection, by: tuple[str, ...]) -> Question:
    day = one_scoring_a_day(selection)
    day = day.mutate(**{f"by_{name}": grouped(day, name, selection) for name in by})
    keys = [f"by_{name}" for name in by]
    cows = day.group_by([*keys, "farm", "cow"]).agg(
        n=day.count(),
        lame=day.lame.sum(),
        severe=day.severe.sum(),
        points=day.score.sum(),
        pointed=day.score.count(),
        low_scale=day.scale.min(),
        high_scale=day.scale.max(),
        unscaled=day.scale.isnull().sum(),
    )
    out = sums_in_clusters(
        cows, keys, OUTCOMES, added=("points", "pointed", "unscaled"), least=("low_scale",), most=("high_scale",)
    )
    return question_of(out.rename({name: f"by_{name}" for name in by}))


def lame_cows(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Cows lame at their newest scoring in the selection, worst and newest first.

    Returns
    -------
    pandas.DataFrame
        cow, farm, scored_on, score, scale, severe (0 or 1), group, times_lame_before (how many of the earlier
        scorings were lame) and scorings.
    """
    frame = fetch(ledger, _lame(selection))
    frame = frame.sort_values(
        ["severe", "scored_on", "score", "farm", "cow"], ascending=[False, False, False, True, True]
    )
    columns = ["cow", "farm", "scored_on", "score", "scale", "group", "times_lame_before", "scorings", "severe"]
    return frame[columns].reset_index(drop=True)


@built_once
def _lame(selection: Selection) -> Question:
    day = one_scoring_a_day(selection.with_(visits=("all",)))
    window = ibis.window(group_by=["farm", "cow"], order_by=ibis.desc("visit_date"))
    ranked = day.mutate(place=ibis.row_number().over(window))
    per_cow = ranked.group_by(["farm", "cow"]).agg(
        scored_on=ranked.visit_date.max(),
        newest_lame=ranked.lame.max(where=ranked.place == 0),
        severe=ranked.severe.max(where=ranked.place == 0),
        score=ranked.score.max(where=ranked.place == 0),
        scale=ranked.scale.max(where=ranked.place == 0),
        group=ranked.group.max(where=ranked.place == 0),
        times_lame_before=ranked.lame.sum(where=ranked.place > 0).fill_null(0),
        scorings=ranked.count(),
    )
    return question_of(per_cow.filter(per_cow.newest_lame == 1))
