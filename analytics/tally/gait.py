"""Locomotion scores with the sums that clustering needs: scorings, and steps from one scoring to the next."""

from __future__ import annotations

import ibis
import ibis.expr.types as ir
import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.counts import SUMS
from analytics.tally.engine import Question, aggregated, built_once, fetch_many, question_of
from analytics.tally.narrow import grouped
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection

OUTCOMES = ("lame", "severe")


def scoring_sums(
    ledger: Ledger, selection: Selection, by: tuple[str, ...]
) -> tuple[dict[str, pd.DataFrame], list[str]]:
    """Sums over clusters of lame and of severely lame scorings.

    Clusters are the farms where a group has several, else the cows.

    Parameters
    ----------
    by : tuple of str
        At least one grouping.

    Returns
    -------
    sums : dict of str to pandas.DataFrame
        For ``lame`` and ``severe``: the ``by`` columns, then sum_m, sum_n, sum_mm, sum_mn, sum_nn, clusters.
    kinds : list of str
        ``farm`` or ``cow``, one a row.
    """
    frames = fetch_many(ledger, _scorings(selection, by))
    return _chosen(frames, list(by), OUTCOMES)


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
    cows = frames["both"].set_index(keys)["clusters"].sort_index().to_numpy()
    sums, kinds = _chosen(frames, keys, ("lame",))
    whole = frames["whole"].fillna(0).iloc[0]
    return sums["lame"].assign(cows=cows), kinds, int(whole["too_far"]), int(whole["cows"])


@built_once
def _scorings(selection: Selection, by: tuple[str, ...]) -> dict[str, Question]:
    day = one_scoring_a_day(selection)
    day = day.mutate(**{f"by_{name}": grouped(day, name, selection) for name in by}, n=1)
    return _questions(day, by, OUTCOMES)


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
    near = near.mutate(**{f"by_{name}": grouped(near, name, selection) for name in by}, n=1)
    near = near.mutate(by_from_lame=near.from_lame)
    return _questions(near, (*by, "from_lame"), ("lame",)) | {"whole": question_of(whole)}


def _questions(rows: ir.Table, by: tuple[str, ...], outcomes: tuple[str, ...]) -> dict[str, Question]:
    """The sums over cows and over farms, as one question: farms are added up from their cows."""
    keys = [f"by_{name}" for name in by]
    cows = rows.group_by([*keys, "farm", "cow"]).agg(n=rows.n.sum(), **{o: rows[o].sum() for o in outcomes})
    farms = cows.group_by([*keys, "farm"]).agg(n=cows.n.sum(), **{o: cows[o].sum() for o in outcomes})
    of_cows, of_farms = _sums(cows, keys, outcomes), _sums(farms, keys, outcomes)
    of_farms = of_farms.rename({f"farm {name}": name for name in of_farms.columns if name not in keys})
    both = of_cows.join(of_farms, keys)
    return {"both": question_of(both.rename({name: f"by_{name}" for name in by}))}


def _sums(each: ir.Table, keys: list[str], outcomes: tuple[str, ...]) -> ir.Table:
    n = each.n.cast("int64")
    sums = {"sum_n": n.sum(), "sum_nn": (n * n).sum(), "clusters": each.count()}
    for outcome in outcomes:
        m = each[outcome].cast("int64")
        sums |= {
            f"sum_m {outcome}": m.sum(),
            f"sum_mm {outcome}": (m * m).sum(),
            f"sum_mn {outcome}": (m * n).sum(),
        }
    return aggregated(each, keys, **{name: total.cast("int64") for name, total in sums.items()})


def _chosen(
    frames: dict[str, pd.DataFrame], keys: list[str], outcomes: tuple[str, ...]
) -> tuple[dict[str, pd.DataFrame], list[str]]:
    """Farm sums for the groups met on several farms, cow sums for the others."""
    both = frames["both"].set_index(keys).sort_index()
    of_farm = [name for name in both.columns if name.startswith("farm ")]
    cow, farm = both.drop(columns=of_farm), both[of_farm].rename(columns=lambda name: name.removeprefix("farm "))
    pooled = (farm["clusters"] > 1).to_numpy()
    out = {}
    for outcome in outcomes:
        columns = [name if name in cow.columns else f"{name} {outcome}" for name in SUMS]
        chosen = cow[columns].copy()
        chosen.loc[pooled] = farm.loc[pooled, columns]
        out[outcome] = chosen.set_axis(list(SUMS), axis=1).fillna(0).astype("int64").reset_index()
    return out, ["farm" if several else "cow" for several in pooled]
