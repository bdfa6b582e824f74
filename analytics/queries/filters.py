"""A :class:`Selection` turned into questions on the ledger's derived tables, and the grouping columns.

Functions that give rows give one ``SELECT`` as text; see :mod:`evenfoot.analytics.queries.sql`.
"""

from __future__ import annotations

from evenfoot.analytics.domain.feet import BETWEEN_CLAWS
from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, STAMP
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.selection import Selection

NOT_RECORDED = say("not recorded")
"""The group of rows whose sheet does not say."""

UNSAID = sql.literal(str(NOT_RECORDED))
"""The same as SQL."""

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

_COLUMN_OF_FINDING = {
    "families": "family",
    "feet": "foot",
    "claws": "claw",
    "zones": "zone",
    "severity": "severity",
}


def grouped(name: str, selection: Selection, of: str = "") -> str:
    """The value of grouping *name* on a derived table, never missing.

    ``parity`` is 1, 2 or 3+; ``month`` and ``quarter`` are their first day; ``season`` is the
    meteorological one of the selection's hemisphere. *of* is the name of the table, where several are joined.
    """
    table = f"{of}." if of else ""
    day = f"{table}visit_date"
    if name in ("month", "quarter"):
        return sql.first_of(name, day)
    if name == "year":
        return sql.part_of("year", day)
    if name == "season":
        seasons = SEASON_OF_MONTH[selection.hemisphere]
        return sql.cases(sql.part_of("month", day), {month: str(season) for month, season in seasons.items()})
    if name == "parity":
        return (
            f"CASE WHEN {table}parity IS NULL THEN {UNSAID} WHEN {table}parity >= 3 THEN '3+'"
            f" ELSE CAST({table}parity AS VARCHAR) END"
        )
    if name == "side":
        between = sql.among(f"{table}zone", BETWEEN_CLAWS)
        return f"CASE WHEN {between} THEN {sql.literal(BETWEEN)} ELSE {table}claw END"
    column = table + sql.name(name)
    if name in ("zone", "severity", "farm", "foot", "limb", "claw", "lesion", "family"):
        return column
    return or_unsaid(column)


def or_unsaid(column: str) -> str:
    """A text, or that it is not recorded."""
    return f"COALESCE({column}, {UNSAID})"


def columns_of(table: str) -> list[str]:
    """The columns of a ledger table."""
    rows = {table: {**STAMP, **fields} for table, fields in ROW_TABLES.values()}
    return list((DERIVED_TABLES | rows)[table])


def of_animals(rows: str) -> str:
    """Rows of the trim sheets under the cow that had the number on the day, as the derived tables name her.

    *rows* is a question that gives the columns of ``trim_rows``.
    """
    kept = [column for column in columns_of("trim_rows") if column != "cow"]
    return (
        f"SELECT {sql.names(kept, of='r')}, COALESCE(c.cow, r.cow) AS cow FROM ({rows}) AS r"
        " LEFT JOIN cows AS c ON c.until IS NOT NULL AND r.farm = c.farm AND r.cow = c.number"
        " AND r.visit_date > c.since AND r.visit_date <= c.until"
    )


def of_farm_and_period(name: str, selection: Selection) -> str:
    """The rows of a table narrowed by farm (including what the viewer may see), period and attributes."""
    return _kept(name, _of_farm_and_period(selection))


def of_selection(name: str, selection: Selection) -> str:
    """The same, of the kinds of visit asked for alone."""
    return _kept(name, [*_of_farm_and_period(selection), *_of_visits(selection)])


def _kept(name: str, conditions: list[str]) -> str:
    """The rows of a table for which all conditions hold; those of the trim sheets under the cow's name of the day."""
    rows = f"({of_animals('SELECT * FROM trim_rows')})" if name == "trim_rows" else name
    return f"SELECT * FROM {rows} AS {name}{sql.where(*conditions)}"


def _of_farm_and_period(selection: Selection) -> list[str]:
    keep: list[str] = []
    if selection.allowed is not None:
        keep.append(sql.among("farm", selection.allowed))
    if selection.farms:
        keep.append(sql.among("farm", selection.farms))
    if selection.since:
        keep.append(f"visit_date >= {sql.literal(selection.since)}")
    if selection.until:
        keep.append(f"visit_date <= {sql.literal(selection.until)}")
    for field, column in _COLUMN_OF_FIELD.items():
        wanted = getattr(selection, field)
        if wanted:
            value = column if column == "cow" else or_unsaid(sql.name(column))
            keep.append(sql.among(value, wanted))
    if selection.parity:
        keep.append(sql.among(grouped("parity", selection), selection.parity))
    if selection.seasons:
        keep.append(sql.among(grouped("season", selection), selection.seasons))
    return keep


def _of_visits(selection: Selection) -> list[str]:
    """The kinds of visit asked for. Scorings of the whole herd count with whole-herd visits."""
    if selection.all_visits:
        return []
    kinds = list(selection.visits) + (["scoring"] if "whole-herd" in selection.visits else [])
    known = sql.among("visit_kind", kinds)
    # Asked for plainly: what the engine knows of a column's values then spares it the looking.
    return [f"{known} OR visit_kind IS NULL" if "unknown" in kinds else known]


def trims(selection: Selection) -> str:
    """The trims of a selection, one row a cow and day."""
    return of_selection("trims", selection)


def findings(selection: Selection) -> str:
    """The findings of a selection that make a case."""
    keep = [*_of_farm_and_period(selection), *_of_visits(selection)]
    if selection.lesions:
        either = (sql.among("lesion", selection.lesions), sql.among("lesion_detail", selection.lesions))
        keep.append(" OR ".join(either))
    for field, column in _COLUMN_OF_FINDING.items():
        if wanted := getattr(selection, field):
            keep.append(sql.among(column, wanted))
    return _kept("findings", keep)


def scores(selection: Selection) -> str:
    """The locomotion scores of a selection, one row a cow, day, scorer and scale."""
    return of_selection("scores", selection)
