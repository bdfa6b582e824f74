"""Locomotion scores counted: how many scorings, how many lame, by period and group."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.cluster_sums import chosen_sums, of_farms, of_groups
from evenfoot.analytics.queries.denominators import cows_of_farms
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of
from evenfoot.analytics.queries.filters import OF_TRIM, grouped
from evenfoot.analytics.queries.large.bitmask import LAYS_OUT_BITS
from evenfoot.analytics.queries.large.lame_months import (
    OF_COWS,
    OF_DAY,
    OUTCOMES,
    SCALES,
    cows_of_days,
    lame_months,
    scales_of,
)
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


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
    UserError
        A grouping that does not apply to scores.
    """
    for name in by:
        if name not in OF_TRIM:
            raise UserError(
                say(
                    "Locomotion scores cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_TRIM),
                )
            )
    frame = fetch(ledger, _counted(selection, tuple(by), ledger.dialect in LAYS_OUT_BITS))
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
def _counted(selection: Selection, by: tuple[str, ...], use_bitmask: bool = True) -> Question:
    keys = [f"by_{name}" for name in by]
    if set(by) <= {"farm", *OF_DAY} and len(selection.farms) != 1:
        periods = tuple(name for name in by if name in OF_DAY)
        farms = lame_months(selection, periods, scales=True, of_cows="farm" in by, use_bitmask=use_bitmask)
        farms = farms.mutate(**{f"by_{name}": farms[name] for name in by})
    else:
        day = one_scoring_a_day(selection)
        day = day.mutate(**{f"by_{name}": grouped(day, name, selection) for name in by})
        if "farm" in by or len(selection.farms) == 1:
            farms = of_farms(cows_of_days(day, keys, scales=True), keys, OUTCOMES, SCALES)
        else:
            farms = _of_many_farms(day, by, use_bitmask=use_bitmask)
    out = of_groups(farms, keys, OUTCOMES, SCALES)
    return question_of(out.rename({name: f"by_{name}" for name in by}))


def _of_many_farms(day: ir.Table, by: tuple[str, ...], *, use_bitmask: bool) -> ir.Table:
    """The days of several farms added up as :func:`of_farms` does; where farms are put together without cow sums.

    Those are what limits need where a farm is alone in a group, so that cows are added up one by one only there.
    """
    keys = [f"by_{name}" for name in by]
    counted = {"n": day.count(), **{name: day[name].sum().cast("int64") for name in OUTCOMES}}
    totals = scales_of(day, day.group_by([*keys, "farm"]), counted)
    groups = totals.group_by(keys).agg(farms=totals.count())
    alone = groups.filter(groups.farms == 1)
    closer = of_farms(cows_of_days(day.semi_join(alone, keys), keys, scales=True), keys, OUTCOMES, SCALES)
    cows = cows_of_farms(day.mutate(farm_key=day.farm, cow_key=day.cow), list(by), use_bitmask=use_bitmask)
    both = totals.anti_join(alone, keys).inner_join(cows.rename(farm="farm_key", cows="n"), [*keys, "farm"])
    none = {name: ibis.literal(0, "int64") for name in OF_COWS}
    return ibis.union(both.mutate(**none).select(*closer.columns), closer)
