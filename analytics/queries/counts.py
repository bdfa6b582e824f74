"""Cases and what was looked at, per cow, trim, foot or claw, with the sums that clustering needs.

A unit (a cow, one of her trims, feet or claws) is at risk in a group when it was looked at at least once
in it, and a case when any trim in the group shows the lesion on it. Cows are the clusters of one farm;
farms are the clusters when several are pooled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.feet import BETWEEN_CLAWS, CLAWS, FEET
from evenfoot.analytics.domain.lesions import parent_of
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.cluster_sums import SUMS
from evenfoot.analytics.queries.denominators import cows_of_farms, looked_at, sites_unsaid, with_keys
from evenfoot.analytics.queries.engine import Question, aggregated, built_once, fetch, fetch_many, question_of
from evenfoot.analytics.queries.filters import (
    BETWEEN,
    NOT_RECORDED,
    OF_FINDING,
    OF_PLACE,
    OF_TRIM,
    findings,
    grouped,
    trims,
)
from evenfoot.analytics.queries.large.bitmask import LAYS_OUT_BITS, cases_of_farms, layout_of
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import LEVELS, Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


@dataclass(frozen=True)
class Counts:
    """What :func:`count` found.

    ``table`` has the grouping columns, ``cases``, ``at_risk``, ``n_farms``, ``n_visits`` and, over the
    clusters of each group with m cases among n units: ``sum_m``, ``sum_n``, ``sum_mm``, ``sum_mn``,
    ``sum_nn`` and ``clusters``. ``cluster`` says what a cluster is (``cow`` or ``farm``).
    ``without_place`` counts findings of the selection that cannot be placed on the foot or claw asked for.
    """

    table: pd.DataFrame
    cluster: str
    without_place: int
    per: str


def count(
    ledger: Ledger,
    selection: Selection,
    by: tuple[str, ...] = (),
    per: str = "cow",
    *,
    met: Callable[[], tuple[int, int]] | None = None,
) -> Counts:
    """Count cases and units at risk.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings: any of ``OF_TRIM``, ``OF_PLACE`` and ``OF_FINDING``.
    per : {"cow", "trim", "foot", "claw"}
        The unit counted.
    met : callable, optional
        Gives the farms and visits of the selection, where they are known already or being asked for; they are not
        asked for again then.

    Returns
    -------
    Counts
        One row for every group looked at, crossed with every kind of finding met; groups without a case
        have 0 cases.

    Raises
    ------
    UserError
        A grouping or level that does not exist.
    """
    known = (*OF_TRIM, *OF_PLACE, *OF_FINDING)
    for name in by:
        if name not in known:
            raise UserError(
                say("Nothing can be grouped by '{name}'; use any of {listed}.", name=name, listed=", ".join(known))
            )
    if per not in LEVELS:
        raise UserError(say("'{per}' is not a level of counting; use cow, trim, foot or claw.", per=per))
    by = tuple(dict.fromkeys(by))
    trim_groups = tuple(name for name in by if name in OF_TRIM)
    site_groups = tuple(name for name in by if name in OF_PLACE)
    of_finding = tuple(name for name in by if name in OF_FINDING)

    met = None if trim_groups else met
    # Of one farm the counting need not wait for it.
    waits = met is not None and len(selection.farms) != 1
    spread = met() if met and waits else None
    farms = spread[0] if spread else 1 if "farm" in trim_groups else _farms_in(ledger, selection)
    cluster = "cow" if farms <= 1 else "farm"
    use_bitmask = ledger.dialect in LAYS_OUT_BITS
    questions = _questions(selection, trim_groups, site_groups, of_finding, per, cluster, use_bitmask)
    if met:
        questions.pop("spread")
    frames = fetch_many(ledger, questions)
    if met:
        frames["spread"] = pd.DataFrame([spread or met()], columns=["n_farms", "n_visits"])
    where, groups = [*trim_groups, *site_groups], frames["groups"]
    cases = groups.loc[groups["sum_m"].notna(), [*where, *of_finding, "sum_m", "sum_mm", "sum_mn"]]
    risk = groups[[*where, "sum_n", "sum_nn", "clusters"]]
    risk = risk.drop_duplicates(where) if where else risk.iloc[:1]
    kinds = cases[list(of_finding)].drop_duplicates()
    if of_finding == ("lesion",):
        # What was asked for and never found is an answer too: 0 cases.
        asked = [parent_of(code) for code in selection.lesions]
        kinds = pd.DataFrame({"lesion": list(dict.fromkeys([*kinds["lesion"], *asked]))}, dtype="str")
    table = _combine(risk, frames["spread"], cases, kinds, trim_groups, site_groups)
    return Counts(
        _sorted(table, by), cluster, int(frames["unplaced"]["rows"].iloc[0]) if "unplaced" in frames else 0, per
    )


def count_unplaced(ledger: Ledger, selection: Selection, by: tuple[str, ...], per: str, cluster: str) -> pd.DataFrame:
    """Count the cases of findings that do not say all of the place asked for.

    Parameters
    ----------
    ledger, selection, by
        As for :func:`count`.
    per : {"cow", "trim"}
        Feet and claws cannot be told apart where they are not recorded.
    cluster : {"cow", "farm"}

    Returns
    -------
    pandas.DataFrame
        As ``Counts.table``, groups with a case only. What is not recorded of the place is ``NOT_RECORDED``, of the
        zone missing. At risk are the units looked at on the foot, or on any foot where it is not recorded.
    """
    by = tuple(dict.fromkeys(by))
    trim_groups = tuple(name for name in by if name in OF_TRIM)
    site_groups = tuple(name for name in by if name in OF_PLACE)
    of_finding = tuple(name for name in by if name in OF_FINDING)
    questions = {
        "groups": _unplaced_cases(selection, trim_groups, site_groups, of_finding, per, cluster),
        "spread": _spread_question(selection, trim_groups),
    }
    frames = fetch_many(ledger, questions)
    groups, spread = frames["groups"], frames["spread"]
    table = groups.merge(spread, on=list(trim_groups), how="left") if trim_groups else groups.merge(spread, how="cross")
    for column in (*SUMS, "n_farms", "n_visits"):
        table[column] = table[column].fillna(0).astype("int64")
    table = table.assign(cases=table["sum_m"], at_risk=table["sum_n"])
    return _sorted(table[[*by, "cases", "at_risk", "n_farms", "n_visits", *SUMS]], by)


@built_once
def _spread_question(selection: Selection, trim_groups: tuple[str, ...]) -> Question:
    return question_of(_spread(selection, trim_groups))


@built_once
def _unplaced_cases(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    cluster: str,
) -> Question:
    found = _without_place(selection, site_groups, per, zone="zone" in of_finding)
    placed = {name: grouped(found, name, selection).fill_null(NOT_RECORDED) for name in site_groups}
    base = with_keys(found, (*trim_groups, *of_finding), selection).mutate(
        **{f"by_{name}": value for name, value in placed.items()}
    )
    names = (*trim_groups, *site_groups, *of_finding)
    keys = [*(f"by_{name}" for name in names), "farm_key", "cow_key"]
    once = base.select(*keys, **({"unit": base.visit_date} if per == "trim" else {})).distinct()
    cases = once.group_by(keys).agg(m=once.count()).rename({name: f"by_{name}" for name in names})
    of_farms = cluster == "farm"
    if of_farms:
        cases = cases.group_by([*names, "farm_key"]).agg(m=cases.m.sum()).mutate(cow_key=ibis.literal(""))
    where = (*trim_groups, *site_groups)
    sites = sites_unsaid(selection, site_groups) if site_groups else None
    seen = looked_at(selection, trim_groups, site_groups, per, of_farms=of_farms, use_bitmask=False, sites=sites)
    risk, cases = _sums_at_risk(seen, where), _sums_of_cases(cases, seen, where, of_finding)
    both = cases.join(risk, list(where) or ibis.literal(True), how="inner")
    return question_of(both.select(*names, *(both[name] for name in SUMS)))


@built_once
def _placeless_question(selection: Selection) -> Question:
    place = {"feet": "foot", "claws": "claw", "zones": "zone"}
    found = findings(selection.with_(**{name: () for name in place}))
    keep: list[ir.BooleanValue] = []
    missing: ir.BooleanValue = ibis.literal(False)
    for name, column in place.items():
        if wanted := getattr(selection, name):
            keep.append(found[column].isin(wanted) | found[column].isnull())
            missing = missing | found[column].isnull()
    here = found.filter(*keep, missing)
    return question_of(here.agg(rows=here.count()))


def placeless(ledger: Ledger, selection: Selection) -> int:
    """How many findings may lie at the feet, claws and zones selected, and do not say."""
    if not (selection.feet or selection.claws or selection.zones):
        return 0
    return int(fetch(ledger, _placeless_question(selection))["rows"].iloc[0])


@built_once
def _questions(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    cluster: str,
    use_bitmask: bool = True,
) -> dict[str, Question]:
    """The SQL of a count. It depends on the question only, so it is built once a question."""
    where = (*trim_groups, *site_groups)
    rest = {
        "spread": question_of(_spread(selection, trim_groups)),
        **(
            {"unplaced": question_of(_unplaced(selection, site_groups, per, zone="zone" in of_finding))}
            if site_groups or per in ("foot", "claw") or "zone" in of_finding
            else {}
        ),
    }
    if cluster == "cow" and per == "cow":
        return {
            "groups": question_of(_sums_of_cows(selection, trim_groups, site_groups, of_finding, use_bitmask)),
            **rest,
        }
    narrowed = site_groups or of_finding or selection.feet or selection.claws
    if cluster == "cow" and per == "trim" and not narrowed:
        return {"groups": question_of(_sums_of_trims(selection, trim_groups)), **rest}
    if cluster == "farm":
        seen = looked_at(selection, trim_groups, site_groups, per, of_farms=True, use_bitmask=use_bitmask)
        cases = _cases_of_farms(selection, trim_groups, site_groups, of_finding, per, use_bitmask)
    else:
        seen = looked_at(selection, trim_groups, site_groups, per, use_bitmask=use_bitmask)
        cases = _cases(selection, trim_groups, site_groups, of_finding, per)
    risk = _sums_at_risk(seen, where)
    found = _sums_of_cases(cases, seen, where, of_finding)
    # One question, so that what was looked at is gone through once.
    both = risk.left_join(found, list(where) or ibis.literal(True)).drop(*(f"{name}_right" for name in where))
    return {"groups": question_of(both), **rest}


@built_once
def _farms_question(selection: Selection) -> Question:
    base = trims(selection)
    return question_of(base.agg(farms=base.farm.nunique()))


def _farms_in(ledger: Ledger, selection: Selection) -> int:
    if len(selection.farms) == 1:
        return 1
    return int(fetch(ledger, _farms_question(selection))["farms"].iloc[0])


def _cases(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
) -> ir.Table:
    """Columns: groupings, farm_key, cow_key, m (units of that cow that are a case in the group)."""
    found = findings(selection)
    needed = set(site_groups) | ({"foot"} if per == "foot" else {"foot", "claw"} if per == "claw" else set())
    needed |= {name for name in of_finding if name == "zone"}
    for column in sorted(needed):
        found = found.filter(grouped(found, column, selection).notnull())
    names = (*trim_groups, *site_groups, *of_finding)
    base = with_keys(found, names, selection)
    unit = {"cow": (), "trim": ("visit_date",), "foot": ("foot",), "claw": ("foot", "claw")}[per]
    keys = [*(f"by_{name}" for name in names), "farm_key", "cow_key"]
    # Each unit once, then counted: many times quicker than counting the distinct units of every group.
    once = base.select(*keys, **{f"unit_{name}": base[name] for name in unit}).distinct()
    out = once.group_by(keys).agg(m=once.count()) if unit else once.mutate(m=ibis.literal(1, "int64"))
    return out.rename({name: f"by_{name}" for name in names})


def _cases_of_farms(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    use_bitmask: bool,
) -> ir.Table:
    """The same columns as :func:`_cases`, with the units of whole farms; cow_key is empty."""
    places = (*site_groups, *of_finding)
    # A zone between the claws has no outer and inner side, so that it needs no bits of its own.
    spared = {"side", "zone"} <= set(places)
    held = tuple("claw" if spared and name == "side" else name for name in places)
    layout = layout_of(held) if use_bitmask and per == "cow" else None
    if per == "cow" and not places:
        found = with_keys(findings(selection), trim_groups, selection)
        cases = cows_of_farms(found, list(trim_groups), use_bitmask=use_bitmask).rename(m="n")
        cases = cases.rename({name: f"by_{name}" for name in trim_groups})
    elif layout is None:
        cases = _cases(selection, trim_groups, site_groups, of_finding, per)
        cases = cases.group_by([*trim_groups, *places, "farm_key"]).agg(m=cases.m.sum())
    else:
        found = with_keys(findings(selection), trim_groups, selection)
        if spared:
            found = found.mutate(claw=found.zone.isin(BETWEEN_CLAWS).ifelse(CLAWS[0], found.claw))
        elif "side" in held:
            found = found.mutate(side=grouped(found, "side", selection))
        keys = [f"by_{name}" for name in trim_groups]
        cases = cases_of_farms(found.select(*keys, "farm_key", "cow_key", *held), keys, layout)
        if spared:
            cases = cases.mutate(side=cases.zone.isin(BETWEEN_CLAWS).ifelse(BETWEEN, cases.claw)).drop("claw")
        cases = cases.rename({name: f"by_{name}" for name in trim_groups})
    return cases.mutate(cow_key=ibis.literal(""))


def _sums_of_cows(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    use_bitmask: bool,
) -> ir.Table:
    """All ``SUMS`` where cows are counted and are the clusters.

    A cow is looked at in a group once and is a case of it once or never, so that her squares and products are what she
    is counted as; and where something was found on a foot it was looked at, so that the two need not be matched.
    """
    where = [*trim_groups, *site_groups]
    seen = looked_at(selection, trim_groups, site_groups, "cow", of_farms=True, use_bitmask=use_bitmask)
    risk = aggregated(seen, where, sum_n=seen.n.sum().cast("int64"))
    cases = _cases(selection, trim_groups, site_groups, of_finding, "cow")
    found = aggregated(cases, [*where, *of_finding], sum_m=cases.count())
    both = risk.left_join(found, where or ibis.literal(True))
    return both.select(
        *where, *of_finding, "sum_n", "sum_m",
        sum_nn=both.sum_n, clusters=both.sum_n, sum_mm=both.sum_m, sum_mn=both.sum_m,
    )  # fmt: skip


def _sums_of_trims(selection: Selection, trim_groups: tuple[str, ...]) -> ir.Table:
    """All ``SUMS`` of the trims of whole cows, which are the clusters.

    Trims and those with a case are set one under the other and added up cow by cow once, which spares looking each cow
    with a case up among all that were looked at.
    """
    keys = [*(f"by_{name}" for name in trim_groups), *(() if "farm" in trim_groups else ("farm_key",)), "cow_key"]
    seen = with_keys(trims(selection), trim_groups, selection).select(*keys, n=_one(True), m=_one(False))
    found = with_keys(findings(selection), trim_groups, selection).select(*keys, "visit_date").distinct()
    both = seen.union(found.select(*keys, n=_one(False), m=_one(True)))
    cows = both.group_by(keys).agg(n=both.n.sum().cast("int64"), m=both.m.sum().cast("int64"))
    cows = cows.filter(cows.n > 0)
    sums = {
        "sum_n": cows.n.sum(), "sum_nn": (cows.n * cows.n).sum(), "sum_m": cows.m.sum(),
        "sum_mm": (cows.m * cows.m).sum(), "sum_mn": (cows.m * cows.n).sum(),
    }  # fmt: skip
    out = aggregated(
        cows,
        [f"by_{name}" for name in trim_groups],
        clusters=cows.count(),
        **{name: total.cast("int64") for name, total in sums.items()},
    )
    return out.rename({name: f"by_{name}" for name in trim_groups})


def _one(counts: bool) -> ir.IntegerScalar:
    return ibis.literal(int(counts), "int64")


def _sums_at_risk(seen: ir.Table, where: tuple[str, ...]) -> ir.Table:
    n = seen.n.cast("int64")
    return aggregated(
        seen,
        list(where),
        sum_n=n.sum().cast("int64"),
        sum_nn=(n * n).sum().cast("int64"),
        clusters=seen.count(),
    )


def _spread(selection: Selection, trim_groups: tuple[str, ...]) -> ir.Table:
    base = with_keys(trims(selection), trim_groups, selection)
    keys = [f"by_{name}" for name in trim_groups]
    visits = base.select(*keys, "farm_key", "visit_date").distinct()
    out = aggregated(visits, keys, n_farms=visits.farm_key.nunique(), n_visits=visits.count())
    return out.rename({name: f"by_{name}" for name in trim_groups})


def _sums_of_cases(cases: ir.Table, seen: ir.Table, where: tuple[str, ...], of_finding: tuple[str, ...]) -> ir.Table:
    both = cases.join(seen, [*where, "farm_key", "cow_key"], how="inner")
    m, n = both.m.cast("int64"), both.n.cast("int64")
    return aggregated(
        both,
        [*where, *of_finding],
        sum_m=m.sum().cast("int64"),
        sum_mm=(m * m).sum().cast("int64"),
        sum_mn=(m * n).sum().cast("int64"),
    )


def _without_place(selection: Selection, site_groups: tuple[str, ...], per: str, *, zone: bool = False) -> ir.Table:
    """The findings that do not say all of the place that the question needs."""
    found = findings(selection)
    needed = set(site_groups) | ({"foot"} if per == "foot" else {"foot", "claw"} if per == "claw" else set())
    needed.discard("limb")
    missing: ir.BooleanValue = ibis.literal(False)
    for column in sorted(needed | ({"foot"} if "limb" in site_groups else set()) | ({"zone"} if zone else set())):
        missing = missing | grouped(found, column, selection).isnull()
    return found.filter(missing)


def _unplaced(selection: Selection, site_groups: tuple[str, ...], per: str, *, zone: bool) -> ir.Table:
    """How many findings carry no foot, claw or zone although the question needs one."""
    found = _without_place(selection, site_groups, per, zone=zone)
    return found.agg(rows=found.count())


def _combine(
    risk: pd.DataFrame,
    spread: pd.DataFrame,
    cases: pd.DataFrame,
    kinds: pd.DataFrame,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
) -> pd.DataFrame:
    where = [*trim_groups, *site_groups]
    risk = risk[risk["clusters"] > 0]
    if trim_groups:
        table = risk.merge(spread, on=list(trim_groups), how="left")
    else:
        table = risk.assign(**{column: spread[column].iloc[0] for column in ("n_farms", "n_visits")})
    if len(kinds.columns):
        table = table.merge(kinds, how="cross")
    keys = [*where, *kinds.columns]
    if keys:
        table = table.merge(cases, on=keys, how="left")
    else:
        table = table.assign(**{c: cases[c].iloc[0] if len(cases) else 0 for c in ("sum_m", "sum_mm", "sum_mn")})
    for column in (*SUMS, "n_farms", "n_visits"):
        table[column] = table[column].fillna(0).astype("int64")
    table = table.assign(cases=table["sum_m"], at_risk=table["sum_n"])
    return table[[*keys, "cases", "at_risk", "n_farms", "n_visits", *SUMS]]


_ORDER = {
    "season": ["winter", "spring", "summer", "autumn"],
    "foot": list(FEET),
    "claw": ["lateral", "medial"],
    "limb": ["front", "hind"],
    "parity": ["1", "2", "3+"],
}


def _sorted(table: pd.DataFrame, by: tuple[str, ...]) -> pd.DataFrame:
    if not by:
        return table.reset_index(drop=True)

    def natural(column: pd.Series) -> pd.Series:
        order = _ORDER.get(str(column.name))
        if order is None:
            return column
        return column.map({value: place for place, value in enumerate(order)}).fillna(len(order))

    return table.sort_values(list(by), key=natural, kind="stable").reset_index(drop=True)
