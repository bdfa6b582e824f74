"""Scorings of locomotion, one a cow and day, and who was lame at her newest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, question_of
from analytics.tally.late import ibis
from analytics.tally.narrow import scores
from analytics.tally.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


_OF_A_DAY = ("group", "housing", "floor", "bedding", "wetness", "breed", "sire", "trimmer")


def one_scoring_a_day(selection: Selection, *, only: ir.Table | None = None) -> ir.Table:
    """One row a cow and day: farm, cow, visit_date, lame, severe, score, scale and the attributes.

    Where several people scored a cow on one day the majority counts, and a tie counts as lame. The score
    itself is kept only when all were on one scale (their mean). *only* has the one column farm and leaves the others
    out.
    """
    base = scores(selection)
    if only is not None:
        return _agreed(base.semi_join(only, "farm"))
    if len(selection.farms) == 1 or selection.cows:
        return _agreed(base)
    # A row a cow, day, person and scale: where one person scored a farm's day on one scale, each row is another cow's.
    people = base.select("farm", "visit_date", "scorer", "scale").distinct()
    days = people.group_by(["farm", "visit_date"]).agg(together=people.count())
    several = days.filter(days.together > 1)
    day = ["farm", "visit_date"]
    return ibis.union(_as_scored(base.anti_join(several, day)), _agreed(base.semi_join(several, day)))


def _agreed(base: ir.Table) -> ir.Table:
    """Scores put together by cow and day."""
    return base.group_by(["farm", "cow", "visit_date"]).agg(
        lame=(base.lame.mean() >= 0.5).cast("int64"),
        severe=(base.severe.mean() >= 0.5).cast("int64"),
        score=ibis.cases((base.scale.min() == base.scale.max(), base.score.mean())),
        scale=ibis.cases((base.scale.min() == base.scale.max(), base.scale.max())),
        parity=base.parity.max(),
        visit_kind=base.visit_kind.min(),
        **{name: base[name].max() for name in _OF_A_DAY},
    )


def _as_scored(base: ir.Table) -> ir.Table:
    """The same of scores that are already one a cow and day."""
    return base.select(
        "farm",
        "cow",
        "visit_date",
        lame=base.lame.cast("int64"),
        severe=base.severe.cast("int64"),
        score=ibis.cases((base.scale.notnull(), base.score.cast("float64"))),
        scale=base.scale,
        parity=base.parity,
        visit_kind=base.visit_kind,
        **{name: base[name] for name in _OF_A_DAY},
    )


@dataclass(frozen=True)
class LameCows:
    """Cows lame at their newest scoring.

    ``table`` has cow, farm, scored_on, score, scale, severe (0 or 1), group, times_lame_before (how many of the
    earlier scorings were lame) and scorings; ``n`` and ``severe`` are how many there are in all.
    """

    table: pd.DataFrame
    n: int
    severe: int


def lame_cows(ledger: Ledger, selection: Selection, most: int) -> LameCows:
    """Cows lame at their newest scoring in the selection, worst and newest first, *most* of them at most."""
    frame = fetch(ledger, _lame(selection, most))
    frame = frame.sort_values(
        ["severe", "scored_on", "score", "farm", "cow"], ascending=[False, False, False, True, True]
    )
    n, severe = (int(frame[name].iloc[0]) if len(frame) else 0 for name in ("all", "all_severe"))
    columns = ["cow", "farm", "scored_on", "score", "scale", "group", "times_lame_before", "scorings", "severe"]
    return LameCows(frame[columns].reset_index(drop=True), n, severe)


@built_once
def _lame(selection: Selection, most: int) -> Question:
    day = one_scoring_a_day(selection.with_(visits=("all",)))
    cows = day.group_by(["farm", "cow"]).agg(
        visit_date=day.visit_date.max(), times_lame=day.lame.sum().cast("int64"), scorings=day.count()
    )
    # Lame days are few, so that the newest is looked for among them.
    newest = day.filter(day.lame == 1).inner_join(cows, ["farm", "cow", "visit_date"])
    lame = newest.select(
        "farm", "cow", "severe", "score", "scale", "group", "scorings",
        scored_on=newest.visit_date, times_lame_before=newest.times_lame - 1,
    )  # fmt: skip
    lame = lame.mutate(all=lame.count().over(ibis.window()), all_severe=lame.severe.sum().over(ibis.window()))
    order = [ibis.desc(name, nulls_first=False) for name in ("severe", "scored_on", "score")]
    return question_of(lame.order_by([*order, "farm", "cow"]).limit(most))
