"""Import: drop a sheet, see how it was understood, add it, fix what was set aside, take it back."""

from __future__ import annotations

import base64
import binascii
import hashlib
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from analytics.intake import CheckedSheet, check_file, write_set_aside
from analytics.ledger import Ledger
from analytics.ledger.adding import add_sheets, undo_import
from analytics.mistake import Mistake
from analytics.words import say
from dashboard import progress
from dashboard.accounts import current_viewer
from dashboard.frame import mistake as mistake_line
from dashboard.language import _, _n, told
from dashboard.page import Page
from dashboard.pages import imports_preview, imports_rights
from dashboard.pages.imports_list import imports_so_far


def _extra() -> list[Any]:
    return [
        html.Section(
            [
                html.H2(_("Add a sheet"), id="title-upload"),
                html.P(
                    _(
                        "A trim sheet, locomotion scores, herd register, housing periods or changes, as CSV, XLSX, "
                        "XLS, "
                        "ODS or JSON. Nothing is kept until you say so."
                    )
                ),
                dcc.Upload(
                    html.Span([html.B(_("Drop a file here")), " ", _("or choose one")]),
                    id="upload",
                    className="drop",
                    multiple=False,
                ),
                html.Div(
                    [
                        dmc.TextInput(label=_("Farm, if the sheet does not say"), id="upload-farm", debounce=400),
                        dmc.Select(
                            label=_("Dates such as 03/04/2026"),
                            id="upload-order",
                            data=[
                                {"value": "", "label": _("Decide from the sheet")},
                                {"value": "day", "label": _("Day first: 3 April")},
                                {"value": "month", "label": _("Month first: March 4")},
                            ],
                            value="",
                            allowDeselect=False,
                        ),
                    ],
                    className="choices",
                ),
                progress.place("import"),
                html.Div(id="upload-preview", **{"aria-live": "polite"}),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-upload"},
        ),
        html.Section(
            [html.H2(_("Imports so far"), id="title-imports"), html.Div(id="imports-list")],
            className="panel wide",
            **{"aria-labelledby": "title-imports"},
        ),
        dcc.Store(id="imports-changed", data=0),
        dcc.Download(id="set-aside-download"),
    ]


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the import page."""
    store = app.server.config["EVENFOOT_ACCOUNTS"]
    progress.register(app, "import")

    @app.callback(
        Output("upload-preview", "children"),
        Input("upload", "contents"),
        Input("upload-farm", "value"),
        Input("upload-order", "value"),
        State("upload", "filename"),
        running=progress.while_running("import"),
        prevent_initial_call=True,
    )
    def preview(contents: str | None, farm: str | None, order: str, name: str | None) -> Any:
        if not contents:
            return no_update
        try:
            with progress.watched("import"):
                sheets, digest = _checked(ledger, contents, name, farm, order)
                result = add_sheets(ledger, sheets, name or "sheet", digest, dry_run=True)
        except Mistake as known:
            return mistake_line(told(known.sentence))
        return imports_preview.preview(sheets, result)

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
        running=progress.while_running("import"),
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
            with progress.watched("import"):
                sheets, digest = _checked(ledger, contents, name, farm, order)
                result = add_sheets(ledger, sheets, name or "sheet", digest)
            imports_rights.remember(store, current_viewer(), result, digest)
        except Mistake as known:
            return mistake_line(told(known.sentence)), no_update, no_update
        return imports_preview.added(result, sheets), seen + 1, None

    @app.callback(Output("imports-list", "children"), Input("imports-changed", "data"), Input("address", "pathname"))
    def listed(_seen: int, _path: str) -> Any:
        try:
            return imports_so_far(ledger, imports_rights.own_imports(ledger, store, current_viewer()))
        except Mistake as known:
            return mistake_line(told(known.sentence))

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
            current_viewer().refuse_unless("take imports back")
            imports_rights.refuse_import(ledger, store, current_viewer(), number)
            removed = undo_import(ledger, number)
        except Mistake as known:
            return no_update, mistake_line(told(known.sentence))
        return seen + 1, html.P(
            _n(
                "Import {number} was taken back: {n} row.",
                "Import {number} was taken back: {n} rows.",
                removed,
                number=number,
            ),
            role="status",
        )

    @app.callback(
        Output("set-aside-download", "data"),
        Input({"type": "set-aside", "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def download(clicks: list[int | None]) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update
        number = int(ctx.triggered_id["number"])
        try:
            imports_rights.refuse_import(ledger, store, current_viewer(), number)
            text = write_set_aside(ledger.set_aside(number))
        except Mistake as known:
            text = f"{known}\n"
        return {"content": text, "filename": f"set-aside-{number}.csv", "type": "text/csv"}


def _checked(
    ledger: Ledger, contents: str, name: str | None, farm: str | None, order: str | None
) -> tuple[list[CheckedSheet], str]:
    viewer = current_viewer()
    viewer.refuse_unless("record changes")
    try:
        data = base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise Mistake(say("The file did not arrive whole; drop it again.")) from None
    sheets = check_file(
        data,
        name or "sheet",
        farm=(farm or "").strip() or None,
        day_first={"day": True, "month": False}.get(order or ""),
        known_farms=imports_rights.known_to(ledger, viewer),
    )
    imports_rights.refuse_sheets(viewer, sheets)
    return sheets, hashlib.sha256(data).hexdigest()


PAGE = Page(
    path="/import",
    title="Import",
    question=(
        "Bring a sheet in. Rows that cannot be understood are set aside with the reason, never guessed, never lost."
    ),
    extra=_extra,
    act="record changes",
    register=register,
)
