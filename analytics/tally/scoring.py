"""Locomotion scores counted: how many scorings, how many lame, by period and group."""

from __future__ import annotations

import ibis
import ibis.expr.types as ir
import pandas as pd

from analytics.ledger import Ledger
from analytics.mistake import Mistake
from analytics.tally.engine import Question, aggregated, built_once, fetch, question_of
from analytics.tally.narrow import OF_TRIM, grouped, scores
from analytics.tally.selection import Selection
from analytics.words import say


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


def count_scorings(ledger: Ledger, selection: Selection, by: tuple[str, ...] = ("month",)) -> pd.DataFrame:
    """Count scorings, lame and severely lame ones.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings that are a property of the cow and day.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns; scored, lame, severe (scorings); cows, n_farms; scales (how many scales are
        mixed), scale and mean_score (only where one scale was used, else missing); and per cow with m
        lame among n scorings: sum_mm, sum_mn, sum_nn, clusters.

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
    frame = frame[frame["scored"].fillna(0) > 0]
    whole = ["scored", "lame", "severe", "cows", "n_farms", "sum_mm", "sum_mn", "sum_nn", "clusters"]
    frame = frame.astype(dict.fromkeys(whole, "int64"))
    one = (frame["low_scale"] == frame["high_scale"]) & (frame["unscaled"] == 0)
    frame = frame.assign(
        scale=frame["low_scale"].where(one), mean_score=(frame["points"] / frame["pointed"]).where(one)
    )
    frame = frame.drop(columns=["points", "pointed", "low_scale", "high_scale", "unscaled"])
    return frame.sort_values(list(by)).reset_index(drop=True) if by else frame.reset_index(drop=True)


@built_once
def _counted(selection: Selection, by: tuple[str, ...]) -> Question:
    day = one_scoring_a_day(selection)
    day = day.mutate(**{f"by_{name}": grouped(day, name, selection) for name in by})
    keys = [f"by_{name}" for name in by]
    per_cow = day.group_by([*keys, "farm", "cow"]).agg(
        n=day.count(),
        m=day.lame.sum(),
        s=day.severe.sum(),
        points=day.score.sum(),
        pointed=day.score.count(),
        low_scale=day.scale.min(),
        high_scale=day.scale.max(),
        unscaled=day.scale.isnull().sum(),
    )
    n, m = per_cow.n, per_cow.m
    out = aggregated(
        per_cow,
        keys,
        scored=n.sum().cast("int64"),
        lame=m.sum().cast("int64"),
        severe=per_cow.s.sum().cast("int64"),
        cows=per_cow.count(),
        n_farms=per_cow.farm.nunique(),
        points=per_cow.points.sum(),
        pointed=per_cow.pointed.sum(),
        low_scale=per_cow.low_scale.min(),
        high_scale=per_cow.high_scale.max(),
        unscaled=per_cow.unscaled.sum(),
        sum_mm=(m * m).sum().cast("int64"),
        sum_mn=(m * n).sum().cast("int64"),
        sum_nn=(n * n).sum().cast("int64"),
        clusters=per_cow.count(),
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
