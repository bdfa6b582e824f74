"""Scorings of locomotion, one a cow and day, and who was lame at her newest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, question_of
from analytics.tally.late import ibis
from analytics.tally.narrow import scores
from analytics.tally.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


def one_scoring_a_day(selection: Selection, *, only: ir.Table | None = None) -> ir.Table:
    """One row a cow and day: farm, cow, visit_date, lame, severe, score, scale and the attributes.

    Where several people scored a cow on one day the majority counts, and a tie counts as lame. The score
    itself is kept only when all were on one scale (their mean). *only* has the one column farm and leaves the others
    out.
    """
    base = scores(selection)
    if only is not None:
        base = base.semi_join(only, "farm")
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
