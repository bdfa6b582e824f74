"""How a dropped sheet was understood, what of it was held back, and what was added."""

from __future__ import annotations

from typing import Any

import dash_ag_grid as dag
import pandas as pd
from dash import html

from analytics.intake import CheckedSheet
from analytics.ledger.adding import ImportResult
from dashboard.charts.labels import column_label
from dashboard.language import _, _n, told
from dashboard.pages.imports_list import KINDS, download_button
from dashboard.panel import number_table
from dashboard.reader import for_grids

GRID_ROWS = 2000


def preview(sheets: list[CheckedSheet], result: ImportResult) -> list[Any]:
    """What an import would do, before anything is kept."""
    parts: list[Any] = [
        html.H3(_n("{file}: {n} row read", "{file}: {n} rows read", result.read, file=result.file)),
        html.P(
            _(
                "{added} new, {known} already known, {aside} to be set aside. Nothing has been kept yet.",
                added=result.added,
                known=result.already_known,
                aside=result.set_aside,
            ),
            className="lead",
        ),
    ]
    parts += _questioned(result)
    if result.added or result.set_aside:
        parts.append(
            html.Button(
                _n("Add {n} row", "Add {n} rows", result.added), id={"type": "add", "of": "upload"}, className="act"
            )
        )
    for sheet in sheets:
        parts += _understood(sheet)
    parts += _held(sheets)
    return parts


def _questioned(result: ImportResult) -> list[Any]:
    """Visits that are not what their sheet calls them."""
    return [html.P(told(question), className="caution") for question in result.questioned]


def _understood(sheet: CheckedSheet) -> list[Any]:
    parts: list[Any] = [html.H3(f"{sheet.source}: {told(KINDS.get(sheet.kind, sheet.kind))}")]
    parts += [html.P(told(note)) for note in sheet.notes]
    if not sheet.understood.empty:
        table = sheet.understood.assign(field=[column_label(str(f)) for f in sheet.understood["field"]])
        parts.append(
            html.Details(
                [
                    html.Summary(_("What was understood how")),
                    number_table(table, None, _("What was understood how")),
                ],
                className="fold",
                open=True,
            )
        )
    if len(sheet.records):
        fields = [c for c in sheet.records.columns if sheet.records[c].notna().any()]
        parts.append(
            html.Details(
                [
                    html.Summary(_("The first rows as they will be kept")),
                    number_table(sheet.records[fields].head(10), None, _("The first rows as they will be kept")),
                ],
                className="fold",
            )
        )
    return parts


def _held(sheets: list[CheckedSheet]) -> list[Any]:
    frames = [sheet.set_aside.assign(source=sheet.source) for sheet in sheets if not sheet.set_aside.empty]
    if not frames:
        return []
    frame = pd.concat(frames, ignore_index=True)
    return [
        html.H3(
            _n("Set aside: {n} row, with the reason", "Set aside: {n} rows, with the reason", frame["row"].nunique())
        ),
        set_aside_grid(frame),
    ]


def set_aside_grid(frame: pd.DataFrame) -> Any:
    """The held-back cells in a grid that can be sorted and filtered."""
    columns = ("row", "column", "value", "reason", "remedy")
    heads = {
        "row": _("Row"),
        "column": _("Column"),
        "value": _("Found"),
        "reason": _("Reason"),
        "remedy": _("What to do"),
    }
    rows = frame[list(columns)].astype(object).where(frame[list(columns)].notna(), None)
    for name in ("reason", "remedy"):
        rows[name] = [None if text is None else told(text) for text in rows[name]]
    return dag.AgGrid(
        id="set-aside-grid",
        rowData=rows.head(GRID_ROWS).to_dict("records"),
        columnDefs=[
            {
                "field": name,
                "headerName": heads[name],
                "flex": 3 if name in ("reason", "remedy") else 1,
                "minWidth": 220 if name in ("reason", "remedy") else 90,
                "wrapText": True,
                "autoHeight": True,
            }
            for name in columns
        ],
        defaultColDef={"sortable": True, "filter": True, "resizable": True},
        dashGridOptions={
            "localeText": for_grids(),
            "domLayout": "autoHeight",
            "pagination": True,
            "paginationPageSize": 20,
        },
        style={"height": None},
    )


def added(result: ImportResult, sheets: list[CheckedSheet]) -> list[Any]:
    """What an import did."""
    parts: list[Any] = [
        html.P(
            _(
                "Rows added as import {number}: {added}; already known: {known}; set aside: {aside}.",
                number=str(result.import_no),
                added=result.added,
                known=result.already_known,
                aside=result.set_aside,
            ),
            className="lead",
            role="status",
        ),
        *_questioned(result),
        html.P(html.A(_("See the herd"), href="/")),
    ]
    if result.set_aside:
        parts.append(download_button(result.import_no))
        parts += _held(sheets)
    return parts
