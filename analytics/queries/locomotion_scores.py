"""Scorings of locomotion, one a cow and day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfoot.analytics.queries.filters import scores
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

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
