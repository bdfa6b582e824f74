"""What was looked at: cows, trims, feet or claws, of every cow or farm and at every place."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

from evenfoot.analytics.domain.feet import CLAWS, FEET, limb_of
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.filters import BETWEEN, NOT_RECORDED, grouped, trims
from evenfoot.analytics.queries.large.cow_periods import IN_A_YEAR, cows_by_period, period_of
from evenfoot.analytics.queries.selection import Selection


def with_keys(rows: str, groupings: tuple[str, ...], selection: Selection) -> str:
    """The rows with their groupings as columns ``by_NAME``, and farm_key and cow_key."""
    by = sql.listed({f"by_{name}": grouped(name, selection) for name in groupings})
    return f"SELECT {sql.commas('*', by, 'farm AS farm_key', 'cow AS cow_key')} FROM ({rows}) AS rows_with_keys"


def without_by(groupings: Iterable[str]) -> str:
    """The columns ``by_NAME`` of the groupings under their plain names."""
    return sql.listed({name: sql.name(f"by_{name}") for name in groupings})


@dataclass(frozen=True)
class Site:
    """A place that is counted: its grouping values, the feet it covers and how many claws of each."""

    values: tuple[tuple[str, str], ...]
    feet: tuple[str, ...]
    claws: int


def _sites(selection: Selection, site_groups: tuple[str, ...]) -> list[Site]:
    feet = [foot for foot in FEET if not selection.feet or foot in selection.feet]
    claws = [claw for claw in CLAWS if not selection.claws or claw in selection.claws]
    covered: dict[tuple[tuple[str, str], ...], set[tuple[str, str]]] = {}
    for foot in feet:
        for claw in claws:
            for side in (claw, BETWEEN) if "side" in site_groups else ("",):
                place = {"foot": foot, "limb": limb_of(foot), "claw": claw, "side": side}
                covered.setdefault(tuple((name, place[name]) for name in site_groups), set()).add((foot, claw))
    return _covering(covered)


def _covering(covered: dict[tuple[tuple[str, str], ...], set[tuple[str, str]]]) -> list[Site]:
    return [
        Site(
            values,
            tuple(f for f in FEET if any(f == foot for foot, _ in places)),
            len({c for _, c in places}),
        )
        for values, places in covered.items()
    ]


def sites_unsaid(selection: Selection, site_groups: tuple[str, ...]) -> list[Site]:
    """The places of :func:`looked_at` with each part said or not; what is not said may be any foot, or either claw."""
    feet = [foot for foot in FEET if not selection.feet or foot in selection.feet]
    claws = [claw for claw in CLAWS if not selection.claws or claw in selection.claws]
    covered: dict[tuple[tuple[str, str], ...], set[tuple[str, str]]] = {}
    for foot in feet:
        for claw in claws:
            said = {"foot": (foot,), "limb": (limb_of(foot),), "claw": (claw,), "side": (claw, BETWEEN)}
            for values in itertools.product(*((*said[name], str(NOT_RECORDED)) for name in site_groups)):
                covered.setdefault(tuple(zip(site_groups, values, strict=True)), set()).add((foot, claw))
    return _covering(covered)


def looked_at(
    selection: Selection,
    trim_groups: tuple[str, ...],
    site_groups: tuple[str, ...],
    per: str,
    *,
    of_farms: bool = False,
    large: bool = False,
    sites: list[Site] | None = None,
) -> str:
    """How many units were looked at.

    Parameters
    ----------
    selection : Selection
    trim_groups, site_groups : tuple of str
        Groupings of the trims, and by place.
    per : {"cow", "trim", "foot", "claw"}
    of_farms : bool
        Add the cows of each farm up; cow_key is then empty.
    large : bool
        Whether the ledger is large (:func:`evenfoot.analytics.queries.large.size.is_large`).
    sites : list of Site, optional
        The places, where they are not each foot, limb or claw.

    Returns
    -------
    str
        A question: the groupings, farm_key, cow_key and n; groups in which nothing was looked at are left out.
    """
    rows = with_keys(trims(selection), trim_groups, selection)
    by = [f"by_{name}" for name in trim_groups]
    keys = [*by, "farm_key", "cow_key"]
    sites = _sites(selection, site_groups) if sites is None else sites
    narrowed = bool(site_groups or selection.feet or selection.claws)
    # Whether a cow was looked at there at all is known from her feet.
    counted = narrowed and per != "cow"
    named = without_by(trim_groups)

    if per == "cow" and not narrowed:
        if of_farms:
            # The months of one farm are few: to lay them out as bits takes longer to plan than to count them.
            as_bits = large and len(selection.farms) != 1
            farms = cows_of_farms(rows, list(trim_groups), large=as_bits)
            return f"SELECT {sql.commas(named, 'farm_key', 'n')}, '' AS cow_key FROM ({farms}) AS of_farms"
        seen = f"SELECT DISTINCT {sql.names(keys)} FROM ({rows}) AS seen"
        chosen = sql.commas(named, "farm_key", "cow_key", "CAST(1 AS BIGINT) AS n")
        return f"SELECT {chosen} FROM ({seen}) AS once"
    each = {"trims": "COUNT(*)", **{_seen(foot): f"MAX({_seen(foot)})" for foot in FEET}}
    if counted:
        each |= {f"times_{place}": f"SUM({_any_of(site.feet)})" for place, site in enumerate(sites)}
    cows = f"SELECT {sql.names(keys)}, {sql.listed(each)} FROM ({rows}) AS each_trim{sql.group_by(keys)}"
    units: dict[tuple[tuple[str, ...], int], str] = {}
    for place, site in enumerate(sites):
        feet_seen = " + ".join(_seen(foot) for foot in site.feet)
        n = {
            "cow": _any_of(site.feet),
            "trim": f"times_{place}" if counted else "trims",
            "foot": f"({feet_seen})",
            "claw": f"({feet_seen}) * {site.claws}",
        }[per]
        units.setdefault((site.feet, site.claws), f"CAST({n} AS BIGINT)")
    columns = {f"units_{at}": n for at, n in enumerate(units.values())}
    if of_farms:
        # Before the places are set one under the other, which would be many rows a cow.
        columns = {name: sql.total(n) for name, n in columns.items()}
        chosen = sql.commas(named, "farm_key", "'' AS cow_key", sql.listed(columns))
        counts = f"SELECT {chosen} FROM ({cows}) AS of_cows{sql.group_by([*by, 'farm_key'])}"
    else:
        chosen = sql.commas(named, "farm_key", "cow_key", sql.listed(columns))
        counts = f"SELECT {chosen} FROM ({cows}) AS of_cows"
    at = [list(units).index((site.feet, site.claws)) for site in sites]
    return _by_site(counts, [*trim_groups, "farm_key", "cow_key"], sites, at)


def _seen(foot: str) -> str:
    """The column that says whether a foot was looked at: 1 or 0."""
    return f"seen_{foot.lower()}"


def _any_of(feet: tuple[str, ...]) -> str:
    """1 where any of the feet was looked at, else 0."""
    columns = [_seen(foot) for foot in feet]
    return f"GREATEST({', '.join(columns)})" if len(columns) > 1 else columns[0]


def cows_of_farms(rows: str, groupings: list[str], *, large: bool) -> str:
    """Cows of each group and farm, each once: ``by_NAME`` of the groupings, farm_key and n.

    *rows* is a question that has been given its keys (:func:`with_keys`).
    """
    keys = [*(f"by_{name}" for name in groupings), "farm_key"]
    periods = [name for name in groupings if name in IN_A_YEAR]
    if not large or len(periods) != 1:
        once = f"SELECT DISTINCT {sql.names([*keys, 'cow_key'])} FROM ({rows}) AS seen"
        return f"SELECT {sql.names(keys)}, COUNT(*) AS n FROM ({once}) AS once{sql.group_by(keys)}"
    period = periods[0]
    met = cows_by_period(rows, [key for key in keys if key != f"by_{period}"], period)
    at = sql.listed({f"by_{period}": period_of("number", period)})
    others = sql.names(key for key in keys if key != f"by_{period}")
    return f"SELECT {others}, {at}, n FROM ({met}) AS met_in_periods"


def _by_site(rows: str, keys: list[str], sites: list[Site], units: list[int]) -> str:
    """The rows once for every place where something was looked at, its values and ``n`` beside them.

    *units* says which column ``units_N`` holds what was looked at in each place.
    """
    if len(sites) == 1:
        values = sql.listed({name: sql.literal(value) for name, value in sites[0].values})
        return (
            f"SELECT {sql.commas(sql.names(keys), values, 'units_0 AS n')} FROM ({rows}) AS of_site WHERE units_0 > 0"
        )
    # One number a place, and not the rows once for each: engines plan many branches longer than they run them.
    values = sql.listed(
        {
            name: sql.cases("place", {place: dict(site.values)[name] for place, site in enumerate(sites)})
            for name, _value in sites[0].values
        }
    )
    n = " ".join(f"WHEN {place} THEN units_{at}" for place, at in enumerate(units))
    chosen = sql.commas(sql.names(keys), values, f"CASE place {n} END AS n")
    return (
        f"SELECT * FROM (SELECT {chosen} FROM ({rows}) AS of_sites"
        f" CROSS JOIN ({sql.whole_numbers(len(sites))}) AS places) AS by_site WHERE n > 0"
    )
