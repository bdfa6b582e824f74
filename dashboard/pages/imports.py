"""Import: drop a sheet, see how it was understood, add it, fix what was set aside, take it back."""

from __future__ import annotations

import base64
import binascii
import hashlib
from typing import Any

import dash_ag_grid as dag
import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from analytics.intake import CheckedSheet, check_file, write_set_aside
from analytics.ledger import Ledger
from analytics.ledger.adding import ImportResult, add_sheets, undo_import
from analytics.mistake import Mistake
from dashboard.charts.labels import column_label
from dashboard.frame import mistake as mistake_line
from dashboard.page import Page
from dashboard.panel import number_table

GRID_ROWS = 2000
KINDS = {
    "trims": "trim records",
    "locomotion": "locomotion scores",
    "register": "herd register",
    "housing": "housing periods",
    "changes": "changes on the farm",
}


def _extra() -> list[Any]:
    return [
        html.Section(
            [
                html.H2("Add a sheet", id="title-upload"),
                html.P(
                    "A trim sheet, locomotion scores, herd register, housing periods or changes, as CSV, XLSX, XLS, "
                    "ODS or JSON. Nothing is kept until you say so."
                ),
                dcc.Upload(
                    html.Span([html.B("Drop a file here"), " or choose one"]),
                    id="upload",
                    className="drop",
                    multiple=False,
                ),
                html.Div(
                    [
                        dmc.TextInput(label="Farm, if the sheet does not say", id="upload-farm", debounce=400),
                        dmc.Select(
                            label="Dates such as 03/04/2026",
                            id="upload-order",
                            data=[
                                {"value": "", "label": "Decide from the sheet"},
                                {"value": "day", "label": "Day first: 3 April"},
                                {"value": "month", "label": "Month first: March 4"},
                            ],
                            value="",
                            allowDeselect=False,
                        ),
                    ],
                    className="choices",
                ),
                dcc.Loading(html.Div(id="upload-preview", **{"aria-live": "polite"}), color="var(--accent)"),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-upload"},
        ),
        html.Section(
            [html.H2("Imports so far", id="title-imports"), html.Div(id="imports-list")],
            className="panel wide",
            **{"aria-labelledby": "title-imports"},
        ),
        dcc.Store(id="imports-changed", data=0),
        dcc.Download(id="set-aside-download"),
    ]


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the import page."""

    @app.callback(
        Output("upload-preview", "children"),
        Input("upload", "contents"),
        Input("upload-farm", "value"),
        Input("upload-order", "value"),
        State("upload", "filename"),
        prevent_initial_call=True,
    )
    def preview(contents: str | None, farm: str | None, order: str, name: str | None) -> Any:
        if not contents:
            return no_update
        try:
            sheets, digest = _checked(ledger, contents, name, farm, order)
            result = add_sheets(ledger, sheets, name or "sheet", digest, dry_run=True)
        except Mistake as known:
            return mistake_line(str(known))
        return _preview(sheets, result)

    @app.callback(
        Output("upload-preview", "children", allow_duplicate=True),
        Output("imports-changed", "data"),
        Output("upload", "contents"),
        Input({"type": "add", "of": ALL}, "n_clicks"),
        State("upload", "contents"),
        State("upload", "filename"),
        State("upload-farm", "value"),
        State("upload-order", "value"),
        State("imports-changed", "data"),
        prevent_initial_call=True,
    )
    def add(
        clicks: list[int | None],
        contents: str | None,
        name: str | None,
        farm: str | None,
        order: str,
        seen: int,
    ) -> Any:
        if not any(clicks) or not contents:
            return no_update, no_update, no_update
        try:
            sheets, digest = _checked(ledger, contents, name, farm, order)
            result = add_sheets(ledger, sheets, name or "sheet", digest)
        except Mistake as known:
            return mistake_line(str(known)), no_update, no_update
        return _added(result, sheets), seen + 1, None

    @app.callback(Output("imports-list", "children"), Input("imports-changed", "data"), Input("address", "pathname"))
    def listed(_seen: int, _path: str) -> Any:
        return _imports(ledger)

    @app.callback(
        Output("imports-changed", "data", allow_duplicate=True),
        Output("upload-preview", "children", allow_duplicate=True),
        Input({"type": "undo", "number": ALL}, "n_clicks"),
        State("imports-changed", "data"),
        prevent_initial_call=True,
    )
    def undo(clicks: list[int | None], seen: int) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        number = int(ctx.triggered_id["number"])
        try:
            removed = undo_import(ledger, number)
        except Mistake as known:
            return no_update, mistake_line(str(known))
        return seen + 1, html.P(f"Import {number} was taken back: {removed} rows.", role="status")

    @app.callback(
        Output("set-aside-download", "data"),
        Input({"type": "set-aside", "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def download(clicks: list[int | None]) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update
        number = int(ctx.triggered_id["number"])
        text = write_set_aside(ledger.set_aside(number))
        return {"content": text, "filename": f"set-aside-{number}.csv", "type": "text/csv"}


def _checked(
    ledger: Ledger, contents: str, name: str | None, farm: str | None, order: str | None
) -> tuple[list[CheckedSheet], str]:
    try:
        data = base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise Mistake("The file did not arrive whole; drop it again.") from None
    sheets = check_file(
        data,
        name or "sheet",
        farm=(farm or "").strip() or None,
        day_first={"day": True, "month": False}.get(order or ""),
        known_farms=ledger.farms(),
    )
    return sheets, hashlib.sha256(data).hexdigest()


def _preview(sheets: list[CheckedSheet], result: ImportResult) -> list[Any]:
    parts: list[Any] = [
        html.H3(f"{result.file}: {result.read} rows read"),
        html.P(
            f"{result.added} new, {result.already_known} already known, {result.set_aside} to be set aside. Nothing "
            "has been kept yet.",
            className="lead",
        ),
    ]
    if result.added or result.set_aside:
        parts.append(html.Button(f"Add {result.added} rows", id={"type": "add", "of": "upload"}, className="act"))
    for sheet in sheets:
        parts += _understood(sheet)
    parts += _held(sheets)
    return parts


def _understood(sheet: CheckedSheet) -> list[Any]:
    parts: list[Any] = [html.H3(f"{sheet.source}: {KINDS.get(sheet.kind, sheet.kind)}")]
    parts += [html.P(str(note)) for note in sheet.notes]
    if not sheet.understood.empty:
        table = sheet.understood.assign(field=[column_label(str(f)) for f in sheet.understood["field"]])
        parts.append(
            html.Details(
                [
                    html.Summary("What was understood how"),
                    number_table(table, None, "What was understood how"),
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
                    html.Summary("The first rows as they will be kept"),
                    number_table(sheet.records[fields].head(10), None, "The first rows as they will be kept"),
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
    return [html.H3(f"Set aside: {frame['row'].nunique()} rows, with the reason"), set_aside_grid(frame)]


def set_aside_grid(frame: pd.DataFrame) -> Any:
    """The held-back cells in a grid that can be sorted and filtered."""
    columns = ("row", "column", "value", "reason", "remedy")
    heads = {"row": "Row", "column": "Column", "value": "Found", "reason": "Reason", "remedy": "What to do"}
    rows = frame[list(columns)].astype(object).where(frame[list(columns)].notna(), None)
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
        dashGridOptions={"domLayout": "autoHeight", "pagination": True, "paginationPageSize": 20},
        style={"height": None},
    )


def _added(result: ImportResult, sheets: list[CheckedSheet]) -> list[Any]:
    parts: list[Any] = [
        html.P(
            f"{result.added} rows were added as import {result.import_no}; {result.already_known} were already known "
            f"and {result.set_aside} set aside.",
            className="lead",
            role="status",
        ),
        html.P(html.A("See the herd", href="/")),
    ]
    if result.set_aside:
        parts.append(_download_button(result.import_no))
        parts += _held(sheets)
    return parts


def _download_button(number: int) -> html.Button:
    return html.Button(
        "Set-aside rows as CSV",
        id={"type": "set-aside", "number": number},
        className="take",
        **{"aria-label": f"Set-aside rows of import {number} as CSV, to be fixed and imported again"},
    )


def _imports(ledger: Ledger) -> Any:
    if not ledger.exists:
        return html.P("No sheet has been imported yet.", className="empty")
    frame = ledger.imports()
    if frame.empty:
        return html.P("No sheet has been imported yet.", className="empty")
    rows = []
    for record in frame.sort_values("import_no", ascending=False).to_dict("records"):
        number, undone = int(record["import_no"]), pd.notna(record["undone_at"])
        acts: list[Any] = []
        if undone:
            acts.append(html.Span(f"taken back {record['undone_at']:%d %b %Y}"))
        else:
            acts.append(
                html.Button(
                    "Take back",
                    id={"type": "undo", "number": number},
                    className="take",
                    **{"aria-label": f"Take import {number} back"},
                )
            )
            if record["set_aside"]:
                acts.append(_download_button(number))
        kinds = ", ".join(KINDS.get(kind, kind) for kind in str(record["kinds"]).split(", "))
        cells = [
            str(number),
            f"{record['imported_at']:%d %b %Y %H:%M} UTC",
            record["file"],
            kinds,
            *(f"{int(record[name]):,}" for name in ("rows_read", "added", "already_known", "set_aside")),
        ]
        rows.append(html.Tr([*(html.Td(cell) for cell in cells), html.Td(acts, className="acts")]))
    heads = ["Import", "When", "File", "What", "Read", "Added", "Already known", "Set aside", ""]
    return html.Div(
        html.Table([html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])), html.Tbody(rows)]),
        className="scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": "Table of imports"},
    )


PAGE = Page(
    path="/import",
    title="Import",
    question=(
        "Bring a sheet in. Rows that cannot be understood are set aside with the reason, never guessed, never lost."
    ),
    extra=_extra,
    register=register,
)
