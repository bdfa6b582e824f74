"""The rows of a sheet as it was, and beside each the records that came of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.readers.raw_rows import RawRow
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.stored_sentences import said_again
from evenfoot.dashboard.i18n.translation import _, _n

SHOWN_ROWS = 50
NAMED_BY_THEMSELVES = frozenset(
    (
        "visit_date",
        "date",
        "farm",
        "foot",
        "claw",
        "zone",
        "lesion",
        "lesion_detail",
        "visit_kind",
        "housing",
        "note",
        "what",
    )
)
"""Fields whose values say what they are; others stand after their name."""


def rows_beside(sheets: Sequence[CheckedSheet], rows: Mapping[str, Sequence[RawRow]]) -> list[Any]:
    """For each sheet of a file a table: row number, the row as it was, what goes in.

    Parameters
    ----------
    sheets : sequence of CheckedSheet
        Those of one source stand in one table.
    rows : mapping of str to sequence of RawRow
        Of :func:`~evenfoot.analytics.intake.readers.raw_rows.raw_rows`.
    """
    out: list[Any] = []
    for source in dict.fromkeys(sheet.source for sheet in sheets):
        of_source = [sheet for sheet in sheets if sheet.source == source]
        out += _table(source, of_source, rows.get(source, ()))
    return out


def _table(source: str, sheets: Sequence[CheckedSheet], rows: Sequence[RawRow]) -> list[Any]:
    came: dict[int, list[Any]] = {}
    alike: list[str] = []
    for sheet in sheets:
        same = _same_everywhere(sheet.records)
        alike += [_named(name, sheet.records[name].iloc[0]) for name in same]
        numbers = [row.number for row in rows]
        shown = sheet.records[sheet.records["row"].isin(numbers)]
        for record in records(shown.drop(columns=same)):
            came.setdefault(int(record.pop("row")), []).append(html.Li(record_words(record)))
        held = sheet.set_aside[sheet.set_aside["row"].isin(numbers)].drop_duplicates(["row", "reason"])
        for line in records(held):
            came.setdefault(int(line["row"]), []).append(html.Li(said_again(line["reason"]), className="held"))
    if not rows:
        return []
    heads = (_("Row"), _("The sheet"), _("What goes in"))
    body = [
        html.Tr(
            [
                html.Th(str(row.number), scope="row"),
                html.Td([html.Span(cell, className="cell") for cell in row.cells if cell], className="words"),
                html.Td(
                    html.Ul(came[row.number]) if row.number in came else html.Span("–", className="empty"),
                    className="words",
                ),
            ]
        )
        for row in rows
    ]
    total = sum(sheet.rows_read if sheet.sheet_rows is None else sheet.sheet_rows for sheet in sheets[:1])
    return [
        html.H4(source) if source else None,
        html.P(_("In every record: {values}.", values=", ".join(dict.fromkeys(alike))), className="basis")
        if alike
        else None,
        html.Div(
            html.Table(
                [html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])), html.Tbody(body)],
                className="beside",
            ),
            className="scroll",
            tabIndex=0,
            role="region",
            **{"aria-label": _("Rows of {source} and what goes in", source=source)},
        ),
        html.P(_n("The first {n} row.", "The first {n} rows.", len(rows)), className="basis")
        if total > len(rows)
        else None,
    ]


def _same_everywhere(records: pd.DataFrame) -> list[str]:
    """Columns that say the same in every record of several, but for the cow and what was found."""
    if len(records) < 2:
        return []
    possible = [name for name in records.columns if name not in ("row", "cow", "lesion", "foot", "claw", "note")]
    return [name for name in possible if records[name].notna().all() and records[name].nunique() == 1]


def record_words(record: Mapping[str, Any]) -> str:
    """A record as a person reads it."""
    said = [_named(name, value) for name, value in record.items() if _is_there(value)]
    if "lesion" in record and not _is_there(record["lesion"]):
        said.append(_("no lesion"))
    return ", ".join(part for part in said if part)


def _is_there(value: Any) -> bool:
    return bool(pd.notna(value)) and value != ""


def _named(name: str, value: Any) -> str:
    text = value_label(name, value)
    return text if name in NAMED_BY_THEMSELVES else f"{column_label(name)} {text}"
