"""The same cows scored, or the same feet looked at, by two people within a few days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.domain.lesions import LESIONS, NO_CASE_STAGE
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch_many, question_of
from evenfoot.analytics.queries.filters import of_farm_and_period
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

WITHIN_DAYS = 3
"""Two people saw the same thing when they saw it no more days than this apart. [common practice, no source]"""


def pairs(ledger: Ledger, selection: Selection) -> dict[str, pd.DataFrame]:
    """Paired scores and paired findings of any two people, counted by what each wrote down.

    Each scoring is paired with the nearest one of the other person, once. Every kind of visit counts.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period and cows; ``lesions`` and ``families`` say what a finding on a foot is.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``scores``: a, b, scale, first, second (their scores), pairs, same_day. ``feet``: a, b, first, second
        (1 where that person found a lesion on the foot), pairs, same_day. ``people``: name, of everybody who
        scored or trimmed.
    """
    return fetch_many(ledger, _questions(selection))


@built_once
def _questions(selection: Selection) -> dict[str, Question]:
    everything = selection.with_(visits=("all",), trimmers=())
    scores = of_farm_and_period("scores", everything)
    scores = scores.filter(scores.scorer.notnull(), scores.score.notnull(), scores.scale.notnull())
    scored = scores.select("farm", "cow", "scale", day=scores.visit_date, person=scores.scorer, said=scores.score)
    scored = scored.semi_join(_days_of_two(scored), ["farm", "day"])
    both = _met(scored, ["farm", "cow", "scale"])
    by_score = both.group_by(["a", "b", "scale", "first", "second"]).agg(
        pairs=both.count(), same_day=(both.apart == 0).cast("int64").sum()
    )
    rows = of_farm_and_period("trim_rows", everything)
    rows = rows.filter(rows.trimmer.notnull())
    names = ibis.union(scores.select(name=scores.scorer), rows.select(name=rows.trimmer), distinct=True)
    return {"scores": question_of(by_score), "feet": question_of(_feet(rows, selection)), "people": question_of(names)}


def _feet(rows: ir.Table, selection: Selection) -> ir.Table:
    found = rows.lesion.notnull() & (rows.dd_stage.fill_null("") != NO_CASE_STAGE)
    if selection.lesions:
        found = found & (rows.lesion.isin(selection.lesions) | rows.lesion_detail.isin(selection.lesions))
    if selection.families:
        found = found & rows.lesion.isin([c for c, lesion in LESIONS.items() if lesion.family in selection.families])
    rows = rows.mutate(found=found.fill_null(False).cast("int64"))
    days = _days_of_two(rows.select("farm", day=rows.visit_date, person=rows.trimmer))
    rows = rows.semi_join(days.select("farm", visit_date=days.day), ["farm", "visit_date"])
    trims = rows.group_by(["farm", "cow", "visit_date", "trimmer"]).agg(
        limited=rows.feet_seen.notnull().cast("int64").max(),
        **{f"named_{foot}": rows.feet_seen.contains(foot).fill_null(False).cast("int64").max() for foot in FEET},
        **{f"row_{foot}": (rows.foot == foot).fill_null(False).cast("int64").max() for foot in FEET},
        **{f"found_{foot}": ibis.ifelse(rows.foot == foot, rows.found, 0).max() for foot in FEET},
    )
    each = [
        trims.filter((trims.limited == 0) | (trims[f"named_{foot}"] == 1) | (trims[f"row_{foot}"] == 1)).select(
            "farm",
            "cow",
            foot=ibis.literal(foot),
            day=trims.visit_date,
            person=trims.trimmer,
            said=trims[f"found_{foot}"],
        )
        for foot in FEET
    ]
    both = _met(ibis.union(*each), ["farm", "cow", "foot"])
    return both.group_by(["a", "b", "first", "second"]).agg(
        pairs=both.count(), same_day=(both.apart == 0).cast("int64").sum()
    )


def _days_of_two(seen: ir.Table) -> ir.Table:
    """Farms and days on which somebody else was there too, a few days before or after: farm, day.

    Nearly all records are of other days, and need not be matched cow by cow.
    """
    days = seen.select("farm", "day", "person").distinct()
    other = days.rename(other="person", other_day="day")
    both = days.join(other, "farm")
    apart = both.day.delta(both.other_day, unit="day").abs()
    return both.filter((both.person != both.other) & (apart <= WITHIN_DAYS)).select("farm", "day").distinct()


def _met(seen: ir.Table, unit: list[str]) -> ir.Table:
    """Rows of two people on one unit no more than a few days apart, nearest first, each row used once."""
    one = seen.rename(a="person", first="said", day_a="day")
    other = seen.rename(b="person", second="said", day_b="day")
    both = one.join(other, unit)
    apart = both.day_a.delta(both.day_b, unit="day").abs()
    both = both.mutate(apart=apart).filter((both.a < both.b) & (apart <= WITHIN_DAYS))
    key = [*unit, "a", "b"]
    nearest_b = ibis.window(group_by=[*key, "day_a"], order_by=["apart", "day_b"])
    nearest_a = ibis.window(group_by=[*key, "day_b"], order_by=["apart", "day_a"])
    both = both.mutate(place_b=ibis.row_number().over(nearest_b), place_a=ibis.row_number().over(nearest_a))
    return both.filter((both.place_a == 0) & (both.place_b == 0))
