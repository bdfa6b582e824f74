"""Shed stages counted: how many feet stand at each, by cow, and how long each had been on grass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.horn import SHED_STAGES
from evenfoot.analytics.domain.shedding import HORN_ZONES, STANDING
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import (
    Question,
    aggregated,
    built_once,
    fetch,
    fetch_many,
    in_order,
    question_of,
    table,
)
from evenfoot.analytics.queries.filters import grouped, of_farm_and_period, of_visits
from evenfoot.analytics.queries.horn import group_value, known_groupings, readings
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

SUMS = ("sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "cows")


def foot_days(selection: Selection, by: tuple[str, ...] = ()) -> ir.Table:
    """One row a foot and day (a claw and day when grouped by claw): by_*, farm, cow, visit_date, stage and more.

    Where two claws of a foot, or two rows of a claw, give different stages the further one counts.
    """
    base = readings(selection)
    base = base.filter(base.shed_stage.notnull())
    base = base.mutate(
        **{f"by_{name}": group_value(base, name, selection) for name in by},
        is_housed=grouped(base, "housing", selection),
        is_season=grouped(base, "season", selection),
        is_group=base.group,
    )
    keys = [*(f"by_{name}" for name in by), "farm", "cow", "visit_date", "foot", "is_housed", "is_season", "is_group"]
    if "claw" in by:
        keys.append("claw")
    return base.group_by(keys).agg(stage=base.shed_stage.max())


@built_once
def _questions(selection: Selection, by: tuple[str, ...]) -> tuple[Question, Question]:
    feet = foot_days(selection, by)
    keys = [f"by_{name}" for name in by]
    cows = feet.group_by([*keys, "farm", "cow"]).agg(n=feet.count())
    whole = aggregated(
        cows,
        keys,
        sum_n=cows.n.sum().cast("int64"),
        sum_nn=(cows.n * cows.n).sum().cast("int64"),
        cows=cows.count(),
        n_farms=cows.farm.nunique(),
    )
    at = feet.group_by([*keys, "farm", "cow", "stage"]).agg(m=feet.count())
    at = at.join(cows, [*keys, "farm", "cow"])
    cases = at.group_by([*keys, "stage"]).agg(
        sum_m=at.m.sum().cast("int64"),
        sum_mm=(at.m * at.m).sum().cast("int64"),
        sum_mn=(at.m * at.n).sum().cast("int64"),
    )
    names = {name: f"by_{name}" for name in by}
    return question_of(whole.rename(names)), question_of(cases.rename(shed_stage="stage", **names))


def count_stages(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> pd.DataFrame:
    """Feet at every shed stage of every group.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, shed_stage (each of 0 to 5), and over cows with m feet at the stage among n: sum_m, sum_n,
        sum_mm, sum_mn, sum_nn, cows; n_farms.
    """
    by = known_groupings(by)
    whole, cases = _questions(selection, by)
    frames = fetch_many(ledger, {"whole": whole, "cases": cases})
    groups = frames["whole"][frames["whole"]["sum_n"].fillna(0) > 0]
    every = groups.merge(pd.DataFrame({"shed_stage": list(SHED_STAGES)}), how="cross")
    out = every.merge(frames["cases"], on=[*by, "shed_stage"], how="left")
    cast = dict.fromkeys((*SUMS, "n_farms"), "int64")
    return out.fillna(dict.fromkeys(("sum_m", "sum_mm", "sum_mn"), 0)).astype(cast).sort_values([*by, "shed_stage"])


@built_once
def _model_question(selection: Selection) -> Question:
    feet = foot_days(selection)
    periods = table("housing_rows")
    grass = periods.filter(periods.pasture.fill_null(False) | (periods.housing.fill_null("") == "pasture"))
    days = feet.select("farm", "is_group", "visit_date").distinct()
    out = days.join(
        grass.select("farm", "starts_on", "ends_on", of_group="group"),
        [
            days.farm == grass.farm,
            days.visit_date >= grass.starts_on,
        ],
        rname="{name}_of",
    )
    out = out.filter(
        out.ends_on.isnull() | (out.ends_on >= out.visit_date),
        out.of_group.isnull() | (out.of_group == out.is_group),
    )
    turned = out.group_by(["farm", "is_group", "visit_date"]).agg(turned_out=out.starts_on.max())
    turned = turned.rename(at_farm="farm", at_group="is_group", at_day="visit_date")
    both = feet.left_join(
        turned,
        [
            feet.farm == turned.at_farm,
            feet.visit_date == turned.at_day,
            feet.is_group.fill_null("") == turned.at_group.fill_null(""),
        ],
    )
    days_out = both.visit_date.delta(both.turned_out, unit="day")
    rows = both.select("farm", "cow", "stage", housing="is_housed", season="is_season", weeks=days_out / 7)
    return question_of(in_order(rows))


def stages_for_model(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """What a model of shedding needs of every foot and day: farm, cow, stage, housing, season, weeks.

    ``weeks`` are those since the housing period with pasture began for the cow's group, missing when she is not out.
    """
    return fetch(ledger, _model_question(selection))


def out_of_order(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Rows that name a zone as shed which at the stage they give should still stand.

    Only rows without a lesion count: on a row with one the zone is the lesion's.

    Returns
    -------
    pandas.DataFrame
        farm, visit_date, cow, foot, claw, zone, shed_stage, row_no, newest first.
    """
    frame = fetch(ledger, _out_of_order(selection))
    order = ["visit_date", "farm", "cow", "foot", "claw", "zone"]
    return frame.sort_values(order, ascending=[False, *[True] * 5]).reset_index(drop=True)


@built_once
def _out_of_order(selection: Selection) -> Question:
    base = of_visits(of_farm_and_period("trim_rows", selection), selection)
    wrong: ir.BooleanValue = ibis.literal(False)
    for stage, each in STANDING.items():
        if each.standing:
            wrong = wrong | ((base.shed_stage == stage) & base.zone.isin(each.standing))
    found = base.filter(base.lesion.isnull(), base.zone.isin(HORN_ZONES), wrong)
    return question_of(found.select("farm", "visit_date", "cow", "foot", "claw", "zone", "shed_stage", "row_no"))
