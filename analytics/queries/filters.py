"""A :class:`Selection` turned into a filter on the ledger's derived tables, and the grouping columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfoot.analytics.domain.feet import BETWEEN_CLAWS
from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.engine import table
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

NOT_RECORDED = say("not recorded")
"""The group of rows whose sheet does not say."""

OF_TRIM = (
    "farm",
    "month",
    "quarter",
    "season",
    "year",
    "housing",
    "floor",
    "bedding",
    "wetness",
    "group",
    "parity",
    "breed",
    "sire",
    "trimmer",
    "visit_kind",
)
"""Groupings that are a property of the trim: they split the cows looked at."""

OF_SITE = ("foot", "limb", "claw")
"""Groupings by place: each place has its own denominator of what was looked at."""

OF_PLACE = (*OF_SITE, "side")
"""The same where cases are counted: the side is the claw, or between the claws whichever claw the sheet names."""

BETWEEN = "between"
"""The side of the zones that belong to neither claw."""

OF_FINDING = ("lesion", "lesion_detail", "family", "severity", "zone", "dd_stage")
"""Groupings of findings: they split the cases and leave the denominator whole."""

_COLUMN_OF_FIELD = {
    "groups": "group",
    "housing": "housing",
    "floor": "floor",
    "breeds": "breed",
    "sires": "sire",
    "trimmers": "trimmer",
    "cows": "cow",
}


def grouped(base: ir.Table, name: str, selection: Selection) -> ir.Value:
    """The value of grouping *name* on a derived table, never missing.

    ``parity`` is 1, 2 or 3+; ``month`` and ``quarter`` are their first day; ``season`` is the
    meteorological one of the selection's hemisphere.
    """
    if name in ("month", "quarter"):
        return base.visit_date.truncate("M" if name == "month" else "Q")
    if name == "year":
        return base.visit_date.year()
    if name == "season":
        seasons = SEASON_OF_MONTH[selection.hemisphere]
        return base.visit_date.month().cases(*((month, str(season)) for month, season in seasons.items()))
    if name == "parity":
        return ibis.cases(
            (base.parity.isnull(), NOT_RECORDED),
            (base.parity >= 3, "3+"),
            else_=base.parity.cast("string"),
        )
    if name == "side":
        return base.zone.isin(BETWEEN_CLAWS).ifelse(BETWEEN, base.claw)
    if name in ("zone", "severity"):
        return base[name]
    if name in ("farm", "foot", "limb", "claw", "lesion", "family"):
        return base[name]
    return base[name].fill_null(NOT_RECORDED)


def of_animals(rows: ir.Table) -> ir.Table:
    """Rows of trim sheets under the cow that had the number on the day, as the derived tables name her."""
    cows = table("cows")
    earlier = cows.filter(cows.until.notnull()).select("number", "since", "until", of_farm="farm", named="cow")
    on = [
        rows.farm == earlier.of_farm,
        rows.cow == earlier.number,
        rows.visit_date > earlier.since,
        rows.visit_date <= earlier.until,
    ]
    both = rows.left_join(earlier, on)
    return both.select(*(name for name in rows.columns if name != "cow"), cow=both.named.fill_null(both.cow))


def of_farm_and_period(name: str, selection: Selection) -> ir.Table:
    """A derived table narrowed by farm (including what the viewer may see), period and attributes."""
    base = of_animals(table(name)) if name == "trim_rows" else table(name)
    keep: list[ir.BooleanValue] = []
    if selection.allowed is not None:
        keep.append(base.farm.isin(selection.allowed) if selection.allowed else ibis.literal(False))
    if selection.farms:
        keep.append(base.farm.isin(selection.farms))
    if selection.since:
        keep.append(base.visit_date >= selection.since)
    if selection.until:
        keep.append(base.visit_date <= selection.until)
    for field, column in _COLUMN_OF_FIELD.items():
        wanted = getattr(selection, field)
        if wanted:
            value = base[column] if column == "cow" else base[column].fill_null(NOT_RECORDED)
            keep.append(value.isin(wanted))
    if selection.parity:
        keep.append(grouped(base, "parity", selection).isin(selection.parity))
    if selection.seasons:
        keep.append(grouped(base, "season", selection).isin(selection.seasons))
    return base.filter(*keep) if keep else base


def of_visits(base: ir.Table, selection: Selection) -> ir.Table:
    """Only the kinds of visit asked for. Scorings of the whole herd count with whole-herd visits."""
    if selection.all_visits:
        return base
    kinds = list(selection.visits) + (["scoring"] if "whole-herd" in selection.visits else [])
    known = base.visit_kind.isin(kinds)
    # Asked for plainly: what the engine knows of a column's values then spares it the looking.
    return base.filter(known | base.visit_kind.isnull() if "unknown" in kinds else known)


def trims(selection: Selection) -> ir.Table:
    """The trims of a selection, one row a cow and day."""
    return of_visits(of_farm_and_period("trims", selection), selection)


def findings(selection: Selection) -> ir.Table:
    """The findings of a selection that make a case."""
    base = of_visits(of_farm_and_period("findings", selection), selection)
    keep: list[ir.BooleanValue] = []
    if selection.lesions:
        keep.append(base.lesion.isin(selection.lesions) | base.lesion_detail.isin(selection.lesions))
    if selection.families:
        keep.append(base.family.isin(selection.families))
    if selection.feet:
        keep.append(base.foot.isin(selection.feet))
    if selection.claws:
        keep.append(base.claw.isin(selection.claws))
    if selection.zones:
        keep.append(base.zone.isin(selection.zones))
    if selection.severity:
        keep.append(base.severity.isin(selection.severity))
    return base.filter(*keep) if keep else base


def scores(selection: Selection) -> ir.Table:
    """The locomotion scores of a selection, one row a cow, day, scorer and scale."""
    return of_visits(of_farm_and_period("scores", selection), selection)
