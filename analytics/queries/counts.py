"""Cases and what was looked at, per cow, trim, foot or claw, with the sums that clustering needs.

A unit (a cow, one of her trims, feet or claws) is at risk in a group when it was looked at at least once
in it, and a case when any trim in the group shows the lesion on it. Cows are the clusters of one farm;
farms are the clusters when several are pooled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.domain.feet import BETWEEN_CLAWS, CLAWS, FEET
from evenfoot.analytics.domain.lesions import parent_of
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.cluster_sums import SUMS
from evenfoot.analytics.queries.denominators import cows_of_farms, looked_at, sites_unsaid, with_keys, without_by
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import (
    BETWEEN,
    OF_FINDING,
    OF_PLACE,
    OF_TRIM,
    findings,
    grouped,
    or_unsaid,
    trims,
)
from evenfoot.analytics.queries.large.bitmask import cases_of_farms, layout_of
from evenfoot.analytics.queries.large.size import is_large
from evenfoot.analytics.queries.selection import LEVELS, Selection


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
    questions = _questions(selection, trim_groups, site_groups, of_finding, per, cluster, is_large(ledger))
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


def _spread_question(selection: Selection, trim_groups: tuple[str, ...]) -> str:
    """A question: the groupings, n_farms and n_visits (days of a farm)."""
    days = sql.commas(_groups(trim_groups, selection), "farm AS farm_key", "visit_date")
    chosen = sql.commas(sql.names(trim_groups), "COUNT(DISTINCT farm_key) AS n_farms", "COUNT(*) AS n_visits")
    return f"""
        SELECT {chosen}
        FROM (SELECT DISTINCT {days} FROM ({trims(selection)}) AS t) AS visits
        {sql.group_by(trim_groups)}"""


def _unplaced_cases(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    cluster: str,
) -> str:
    """A question: the groupings, then ``SUMS``."""
    where = (*trim_groups, *site_groups)
    groups = (*where, *of_finding)
    of_farms = cluster == "farm"
    found = _without_place(selection, site_groups, per, zone="zone" in of_finding)
    values = {name: grouped(name, selection) for name in groups}
    values |= {name: or_unsaid(values[name]) for name in site_groups}
    unit = "visit_date" if per == "trim" else ""
    each = sql.commas(sql.listed(values), "farm AS farm_key", "cow AS cow_key", unit)
    once = f"SELECT DISTINCT {each} FROM ({found}) AS f"
    of_cluster = [*groups, "farm_key", *(() if of_farms else ("cow_key",))]
    empty = "'' AS cow_key" if of_farms else ""
    cases = f"""
        SELECT {sql.commas(sql.names(of_cluster), empty, "COUNT(*) AS m")}
        FROM ({once}) AS once
        {sql.group_by(of_cluster)}"""
    sites = sites_unsaid(selection, site_groups) if site_groups else None
    seen = looked_at(selection, trim_groups, site_groups, per, of_farms=of_farms, large=False, sites=sites)
    return f"""
        WITH seen AS ({seen}),
            risk AS ({_sums_at_risk("seen", where)}),
            cases AS ({_sums_of_cases(cases, "seen", where, of_finding)})
        SELECT {sql.commas(sql.names(groups, of="c"), sql.names(SUMS))}
        FROM cases AS c INNER JOIN risk AS r ON {sql.matched(where, "c", "r")}"""


def _placeless_question(selection: Selection) -> str:
    """A question: ``rows``, the findings that may lie at the places selected and do not say."""
    place = {"feet": "foot", "claws": "claw", "zones": "zone"}
    found = findings(selection.with_(**{name: () for name in place}))
    asked = {column: getattr(selection, name) for name, column in place.items() if getattr(selection, name)}
    may_be = (f"{sql.among(column, wanted)} OR {column} IS NULL" for column, wanted in asked.items())
    unsaid = " OR ".join(f"{column} IS NULL" for column in asked) or "FALSE"
    return f'SELECT COUNT(*) AS "rows" FROM ({found}) AS f{sql.where(*may_be, unsaid)}'


def placeless(ledger: Ledger, selection: Selection) -> int:
    """How many findings may lie at the feet, claws and zones selected, and do not say."""
    if not (selection.feet or selection.claws or selection.zones):
        return 0
    return int(fetch(ledger, _placeless_question(selection))["rows"].iloc[0])


def _questions(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    cluster: str,
    large: bool = True,
) -> dict[str, str]:
    """The questions of a count.

    Returns
    -------
    dict of str to str
        ``groups``: the groupings, those of findings, and ``SUMS``; a group without a case stands once, with nothing
        found. ``spread``: see :func:`_spread_question`. ``unplaced``, where a place is asked for: ``rows``.
    """
    rest = {"spread": _spread_question(selection, trim_groups)}
    if site_groups or per in ("foot", "claw") or "zone" in of_finding:
        rest["unplaced"] = _unplaced(selection, site_groups, per, zone="zone" in of_finding)
    if cluster == "cow" and per == "cow":
        return {"groups": _sums_of_cows(selection, trim_groups, site_groups, of_finding, large), **rest}
    narrowed = site_groups or of_finding or selection.feet or selection.claws
    if cluster == "cow" and per == "trim" and not narrowed:
        return {"groups": _sums_of_trims(selection, trim_groups), **rest}
    of_farms = cluster == "farm"
    seen = looked_at(selection, trim_groups, site_groups, per, of_farms=of_farms, large=large)
    if of_farms:
        cases = _cases_of_farms(selection, trim_groups, site_groups, of_finding, per, large)
    else:
        cases = _cases(selection, trim_groups, site_groups, of_finding, per)
    where = (*trim_groups, *site_groups)
    chosen = sql.commas(
        sql.names([*where, "sum_n", "sum_nn", "clusters"], of="r"),
        sql.names([*of_finding, "sum_m", "sum_mm", "sum_mn"], of="c"),
    )
    # One question, so that what was looked at is gone through once.
    groups = f"""
        WITH seen AS ({seen}),
            risk AS ({_sums_at_risk("seen", where)}),
            cases AS ({_sums_of_cases(cases, "seen", where, of_finding)})
        SELECT {chosen}
        FROM risk AS r LEFT JOIN cases AS c ON {sql.matched(where, "r", "c")}"""
    return {"groups": groups, **rest}


def _farms_question(selection: Selection) -> str:
    """A question: farms, how many there are."""
    return f"SELECT COUNT(DISTINCT farm) AS farms FROM ({trims(selection)}) AS t"


def _farms_in(ledger: Ledger, selection: Selection) -> int:
    if len(selection.farms) == 1:
        return 1
    return int(fetch(ledger, _farms_question(selection))["farms"].iloc[0])


def _groups(groupings: tuple[str, ...], selection: Selection) -> str:
    """The groupings of a derived table, each under its name."""
    return sql.listed({name: grouped(name, selection) for name in groupings})


def _cases(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
) -> str:
    """A question: groupings, farm_key, cow_key, m (units of that cow that are a case in the group)."""
    needed = set(site_groups) | ({"foot"} if per == "foot" else {"foot", "claw"} if per == "claw" else set())
    needed |= {name for name in of_finding if name == "zone"}
    said = sql.where(*(f"{grouped(column, selection)} IS NOT NULL" for column in sorted(needed)))
    groups = (*trim_groups, *site_groups, *of_finding)
    unit = {"cow": (), "trim": ("visit_date",), "foot": ("foot",), "claw": ("foot", "claw")}[per]
    of_unit = sql.listed({f"unit_{column}": column for column in unit})
    each = sql.commas(_groups(groups, selection), "farm AS farm_key", "cow AS cow_key", of_unit)
    # Each unit once, then counted: many times quicker than counting the distinct units of every group.
    once = f"SELECT DISTINCT {each} FROM ({findings(selection)}) AS f{said}"
    if not unit:
        return f"SELECT *, CAST(1 AS BIGINT) AS m FROM ({once}) AS once"
    keys = [*groups, "farm_key", "cow_key"]
    return f"SELECT {sql.names(keys)}, COUNT(*) AS m FROM ({once}) AS once{sql.group_by(keys)}"


def _cases_of_farms(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    per: str,
    large: bool,
) -> str:
    """A question with the same columns as :func:`_cases`, with the units of whole farms; cow_key is empty."""
    places = (*site_groups, *of_finding)
    # A zone between the claws has no outer and inner side, so that it needs no bits of its own.
    spared = {"side", "zone"} <= set(places)
    held = tuple("claw" if spared and name == "side" else name for name in places)
    layout = layout_of(held) if large and per == "cow" else None
    if per == "cow" and not places:
        found = with_keys(findings(selection), trim_groups, selection)
        cows = cows_of_farms(found, list(trim_groups), large=large)
        chosen = sql.commas(without_by(trim_groups), "farm_key", "'' AS cow_key", "n AS m")
        return f"SELECT {chosen} FROM ({cows}) AS cows"
    if layout is None:
        cases = _cases(selection, trim_groups, site_groups, of_finding, per)
        keys = [*trim_groups, *places, "farm_key"]
        return f"""
            SELECT {sql.names(keys)}, '' AS cow_key, {sql.total("m")} AS m
            FROM ({cases}) AS cases
            {sql.group_by(keys)}"""
    between = sql.among("zone", BETWEEN_CLAWS)
    values = {name: sql.name(name) for name in held}
    told = {name: sql.name(name) for name in places}
    if spared:
        values["claw"] = f"CASE WHEN {between} THEN {sql.literal(CLAWS[0])} ELSE claw END"
        told["side"] = f"CASE WHEN {between} THEN {sql.literal(BETWEEN)} ELSE claw END"
    elif "side" in held:
        values["side"] = grouped("side", selection)
    each = sql.commas(_groups(trim_groups, selection), "farm AS farm_key", "cow AS cow_key", sql.listed(values))
    found = f"SELECT {each} FROM ({findings(selection)}) AS f"
    chosen = sql.commas(sql.names(trim_groups), sql.listed(told), "farm_key", "'' AS cow_key", "m")
    return f"SELECT {chosen} FROM ({cases_of_farms(found, list(trim_groups), layout)}) AS cases"


def _sums_of_cows(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    of_finding: tuple[str, ...],
    large: bool,
) -> str:
    """All ``SUMS`` where cows are counted and are the clusters.

    A cow is looked at in a group once and is a case of it once or never, so that her squares and products are what she
    is counted as; and where something was found on a foot it was looked at, so that the two need not be matched.
    """
    where = [*trim_groups, *site_groups]
    groups = [*where, *of_finding]
    seen = looked_at(selection, trim_groups, site_groups, "cow", of_farms=True, large=large)
    cases = _cases(selection, trim_groups, site_groups, of_finding, "cow")
    of_risk = sql.commas(sql.names(where), f"{sql.total('n')} AS n")
    of_cases = sql.commas(sql.names(groups), "COUNT(*) AS m")
    chosen = sql.commas(sql.names(where, of="r"), sql.names(of_finding, of="c"))
    sums = "n AS sum_n, m AS sum_m, n AS sum_nn, n AS clusters, m AS sum_mm, m AS sum_mn"
    return f"""
        WITH risk AS (SELECT {of_risk} FROM ({seen}) AS seen{sql.group_by(where)}),
            cases AS (SELECT {of_cases} FROM ({cases}) AS found{sql.group_by(groups)})
        SELECT {sql.commas(chosen, sums)}
        FROM risk AS r LEFT JOIN cases AS c ON {sql.matched(where, "r", "c")}"""


def _sums_of_trims(selection: Selection, trim_groups: tuple[str, ...]) -> str:
    """All ``SUMS`` of the trims of whole cows, which are the clusters.

    Trims and those with a case are set one under the other and added up cow by cow once, which spares looking each cow
    with a case up among all that were looked at.
    """
    farm_key = () if "farm" in trim_groups else ("farm_key",)
    keys = sql.names([*trim_groups, *farm_key, "cow_key"])
    each = sql.commas(_groups(trim_groups, selection), *(f"farm AS {key}" for key in farm_key), "cow AS cow_key")
    sums = sql.listed(
        {
            "clusters": "COUNT(*)",
            "sum_n": sql.total("n"),
            "sum_nn": sql.total("n * n"),
            "sum_m": sql.total("m"),
            "sum_mm": sql.total("m * m"),
            "sum_mn": sql.total("m * n"),
        }
    )
    return f"""
        WITH both_kinds AS (
            SELECT {each}, CAST(1 AS BIGINT) AS n, CAST(0 AS BIGINT) AS m
            FROM ({trims(selection)}) AS t
            UNION ALL
            SELECT {keys}, CAST(0 AS BIGINT) AS n, CAST(1 AS BIGINT) AS m
            FROM (SELECT DISTINCT {each}, visit_date FROM ({findings(selection)}) AS f) AS once
        ), cows AS (
            SELECT {keys}, {sql.total("n")} AS n, {sql.total("m")} AS m
            FROM both_kinds
            GROUP BY {keys}
        )
        SELECT {sql.commas(sql.names(trim_groups), sums)}
        FROM cows
        WHERE n > 0
        {sql.group_by(trim_groups)}"""


def _sums_at_risk(seen: str, where: tuple[str, ...]) -> str:
    """The sums of what was looked at; *seen* is the name of a table as :func:`looked_at` gives it."""
    sums = sql.listed({"sum_n": sql.total("n"), "sum_nn": sql.total("n * n"), "clusters": "COUNT(*)"})
    return f"SELECT {sql.commas(sql.names(where), sums)} FROM {seen}{sql.group_by(where)}"


def _sums_of_cases(cases: str, seen: str, where: tuple[str, ...], of_finding: tuple[str, ...]) -> str:
    """The sums of the cases (a question), each beside what was looked at (the name of a table)."""
    groups = [*where, *of_finding]
    sums = sql.listed({"sum_m": sql.total("m"), "sum_mm": sql.total("m * m"), "sum_mn": sql.total("m * n")})
    return f"""
        SELECT {sql.commas(sql.names(groups), sums)}
        FROM ({cases}) AS found INNER JOIN {seen} USING ({sql.names([*where, "farm_key", "cow_key"])})
        {sql.group_by(groups)}"""


def _without_place(selection: Selection, site_groups: tuple[str, ...], per: str, *, zone: bool = False) -> str:
    """The findings that do not say all of the place that the question needs."""
    needed = set(site_groups) | ({"foot"} if per == "foot" else {"foot", "claw"} if per == "claw" else set())
    needed.discard("limb")
    needed |= ({"foot"} if "limb" in site_groups else set()) | ({"zone"} if zone else set())
    missing = " OR ".join(f"{grouped(column, selection)} IS NULL" for column in sorted(needed)) or "FALSE"
    return f"SELECT * FROM ({findings(selection)}) AS f WHERE {missing}"


def _unplaced(selection: Selection, site_groups: tuple[str, ...], per: str, *, zone: bool) -> str:
    """How many findings carry no foot, claw or zone although the question needs one."""
    found = _without_place(selection, site_groups, per, zone=zone)
    return f'SELECT COUNT(*) AS "rows" FROM ({found}) AS unplaced'


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
