"""What was looked at: cows, trims, feet or claws, of every cow or farm and at every place."""

from __future__ import annotations

import functools
import itertools
import operator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfoot.analytics.domain.feet import CLAWS, FEET, limb_of
from evenfoot.analytics.queries.engine import most_of
from evenfoot.analytics.queries.filters import BETWEEN, NOT_RECORDED, grouped, trims
from evenfoot.analytics.queries.large.cow_periods import IN_A_YEAR, cows_by_period, period_of
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


def with_keys(base: ir.Table, names: tuple[str, ...], selection: Selection) -> ir.Table:
    """The table with its groupings as columns ``by_NAME``, and farm_key and cow_key."""
    return base.mutate(
        **{f"by_{name}": grouped(base, name, selection) for name in names},
        farm_key=base.farm,
        cow_key=base.cow,
    )


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
    use_bitmask: bool = False,
    sites: list[Site] | None = None,
) -> ir.Table:
    """How many units were looked at.

    Parameters
    ----------
    selection : Selection
    trim_groups, site_groups : tuple of str
        Groupings of the trims, and by place.
    per : {"cow", "trim", "foot", "claw"}
    of_farms : bool
        Add the cows of each farm up; cow_key is then empty.
    use_bitmask : bool
        Whether the engine lays out bits (:data:`evenfoot.analytics.queries.large.bitmask.LAYS_OUT_BITS`).
    sites : list of Site, optional
        The places, where they are not each foot, limb or claw.

    Returns
    -------
    ibis.Table
        The groupings, farm_key, cow_key and n; groups in which nothing was looked at are left out.
    """
    base = with_keys(trims(selection), trim_groups, selection)
    keys = [*(f"by_{name}" for name in trim_groups), "farm_key", "cow_key"]
    sites = _sites(selection, site_groups) if sites is None else sites
    narrowed = bool(site_groups or selection.feet or selection.claws)
    # Whether a cow was looked at there at all is known from her feet.
    counted = narrowed and per != "cow"

    def seen_in(site: Site) -> ir.Value:
        return most_of([base[f"seen_{foot.lower()}"] for foot in site.feet])

    if per == "cow" and not narrowed:
        if of_farms:
            # The months of one farm are few: to lay them out as bits takes longer to plan than to count them.
            as_bits = use_bitmask and len(selection.farms) != 1
            farms = cows_of_farms(base, list(trim_groups), use_bitmask=as_bits).mutate(cow_key=ibis.literal(""))
            return farms.rename({name: f"by_{name}" for name in trim_groups})
        seen = base.select(*keys).distinct()
        return seen.mutate(n=ibis.literal(1, "int64")).rename({name: f"by_{name}" for name in trim_groups})
    each = base.group_by(keys).agg(
        trims=base.count(),
        **{f"seen_{foot}": base[f"seen_{foot.lower()}"].max() for foot in FEET},
        **({f"times_{place}": seen_in(site).sum() for place, site in enumerate(sites)} if counted else {}),
    )
    units: dict[tuple[tuple[str, ...], int], ir.Value] = {}
    for place, site in enumerate(sites):
        if (site.feet, site.claws) in units:
            continue
        feet_seen = functools.reduce(operator.add, (each[f"seen_{foot}"] for foot in site.feet))
        times = each[f"times_{place}"] if counted else each.trims
        n = {
            "cow": most_of([each[f"seen_{foot}"] for foot in site.feet]).cast("int64"),
            "trim": times,
            "foot": feet_seen,
            "claw": feet_seen * site.claws,
        }[per]
        units[site.feet, site.claws] = n.cast("int64")
    if of_farms:
        # Before the places are set one under the other, which would be many rows a cow.
        sums = {f"n_{at}": n.sum().cast("int64") for at, n in enumerate(units.values())}
        each = each.group_by(keys[:-1]).agg(**sums)
        each = each.mutate(cow_key=ibis.literal(""))
        units = {key: each[f"n_{at}"] for at, key in enumerate(units)}
    each = each.select(
        **{name: each[f"by_{name}"] for name in trim_groups},
        farm_key=each.farm_key,
        cow_key=each.cow_key,
        **{f"units_{at}": n for at, n in enumerate(units.values())},
    )
    return _by_site(
        each, sites, [list(units).index((site.feet, site.claws)) for site in sites], use_bitmask=use_bitmask
    )


def cows_of_farms(base: ir.Table, groupings: list[str], *, use_bitmask: bool) -> ir.Table:
    """Cows of each group and farm, each once: ``by_NAME`` of the groupings, farm_key and n.

    The table has been given its keys (:func:`with_keys`).
    """
    keys = [*(f"by_{name}" for name in groupings), "farm_key"]
    periods = [name for name in groupings if name in IN_A_YEAR]
    if not use_bitmask or len(periods) != 1:
        once = base.select(*keys, "cow_key").distinct()
        return once.group_by(keys).agg(n=once.count())
    period = periods[0]
    met = cows_by_period(base, [key for key in keys if key != f"by_{period}"], period)
    return met.mutate(**{f"by_{period}": period_of(met["at"], period)}).select(*keys, "n")


def _by_site(each: ir.Table, sites: list[Site], units: list[int], *, use_bitmask: bool) -> ir.Table:
    """The rows once for every place where something was looked at, its values and ``n`` beside them.

    *units* says which column ``units_N`` holds what was looked at in each place.
    """
    if len(sites) == 1:
        told = {name: ibis.literal(value) for name, value in sites[0].values}
        out = each.mutate(n=each.units_0, **told)
    else:
        # One number a place, and not the rows once for each: engines plan many branches longer than they run them.
        both = each.cross_join(_numbers(len(sites), use_bitmask=use_bitmask))
        told = {
            name: both.site.cases(*((place, dict(site.values)[name]) for place, site in enumerate(sites)))
            for name, _value in sites[0].values
        }
        n = both.site.cases(*((place, both[f"units_{at}"]) for place, at in enumerate(units)))
        out = both.mutate(n=n, **told).drop("site")
    out = out.drop(*(f"units_{at}" for at in set(units)))
    return out.filter(out.n > 0)


def _numbers(places: int, *, use_bitmask: bool) -> ir.Table:
    """``site``: the numbers of the places."""
    if use_bitmask:
        numbers = ibis.range(0, places).unnest().name("site").as_table()
        return numbers.select(site=numbers.site.cast("int64"))
    return ibis.union(*(ibis.literal(place, "int64").name("site").as_table() for place in range(places)))
