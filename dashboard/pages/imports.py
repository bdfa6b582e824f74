"""Import: drop sheets, answer what they leave open, add them, mend what was set aside, take an import back."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import write_set_aside
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.aliases import take_back_alias
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.layout_answers import remove_layout
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_demo import demo_imports
from evenfoot.dashboard.pages.imports_dropping import register_sheets
from evenfoot.dashboard.pages.imports_list import imports_so_far
from evenfoot.dashboard.pages.imports_memory import remembered
from evenfoot.dashboard.pages.imports_mended import register_mending
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.request_view import addressed
from evenfoot.dashboard.ui.shell import mistake as mistake_line


def _extra() -> list[Any]:
    return [
        html.Section(
            [
                html.H2(_("Add sheets"), id="title-upload"),
                html.P(
                    _(
                        "Trim sheets, locomotion scores, herd registers, housing periods or changes, as CSV, XLSX, "
                        "XLS, ODS or JSON. Nothing is kept until you say so."
                    )
                ),
                dcc.Upload(
                    html.Span([html.B(_("Drop files here")), " ", _("or choose them")]),
                    id="upload",
                    className="drop",
                    multiple=True,
                ),
                html.P(html.A(_("Or type a visit from paper"), href="/typing"))
                if current_viewer().may("import sheets")
                else None,
                progress.place("import"),
                html.Div(id="sheets", **{"aria-live": "polite"}),
                html.Div(id="mending", **{"aria-live": "polite"}),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-upload"},
        ),
        html.Section(
            [
                html.H2(_("Imports so far"), id="title-imports"),
                html.Div(id="imports-said", **{"aria-live": "polite"}),
                # It comes with the list, so that nothing above has to make room for it.
                html.Div(id="demo-said"),
                html.Div(id="imports-list"),
                html.Div(id="imports-memory"),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-imports"},
        ),
        dcc.Store(id="imports-changed", data=0),
        dcc.Store(id="mend-of"),
        dcc.Download(id="set-aside-download"),
    ]


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the import page."""
    store = app.server.config["EVENFOOT_ACCOUNTS"]
    progress.register(app, "import")
    register_sheets(app, ledger, store)
    register_mending(app, ledger, store)
    _register_list(app, ledger, store)


def _register_list(app: Dash, ledger: Ledger, store: Store) -> None:
    @app.callback(
        Output("imports-list", "children"),
        Output("imports-memory", "children"),
        Output("demo-said", "children"),
        Input("imports-changed", "data"),
        Input({"type": "done", "of": ALL}, "data"),
        Input("address", "pathname"),
        State("address", "search"),
    )
    def listed(_seen: int, _done: list[Any], path: str, search: str) -> Any:
        if isinstance(ctx.triggered_id, dict) and not any(each["value"] for each in ctx.triggered):
            return (no_update,) * 3  # a sheet was dropped, and is not added yet
        viewer = current_viewer()
        try:
            view = addressed(path, search)[0]
            imports = imports_so_far(ledger, view, imports_rights.own_imports(ledger, store, viewer))
            memory = remembered(ledger) if viewer.may("see every import") else None
            demo = viewer.may("see every import") and demo_imports(ledger)
        except UserError as known:
            return mistake_line(told(known.sentence)), None, None
        said = _(
            "This ledger holds the demo herds, which are invented. They are taken out, once you agree, before a sheet "
            "of your own goes in."
        )
        return imports, memory, html.P(said, className="caution") if demo else None

    @app.callback(
        Output("imports-changed", "data"),
        Output("imports-said", "children"),
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
        except UserError as known:
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
        Output("imports-changed", "data", allow_duplicate=True),
        Output("imports-said", "children", allow_duplicate=True),
        Input({"type": "forget", "what": ALL, "name": ALL, "farm": ALL}, "n_clicks"),
        State("imports-changed", "data"),
        prevent_initial_call=True,
    )
    def forget(clicks: list[int | None], seen: int) -> Any:
        asked = ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            return no_update, no_update
        try:
            current_viewer().refuse_unless("see every import")
            if asked["what"] == "layout":
                remove_layout(ledger, int(asked["name"]))
            else:
                take_back_alias(ledger, asked["what"], asked["name"], asked["farm"] or None)
        except UserError as known:
            return no_update, mistake_line(told(known.sentence))
        return seen + 1, html.P(_("Forgotten."), role="status")

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
        except UserError as known:
            text = f"{known}\n"
        return {"content": text, "filename": f"set-aside-{number}.csv", "type": "text/csv"}


PAGE = Page(
    path="/import",
    title="Import",
    group="more",
    question=(
        "Bring sheets in as they are kept. What is not certain is asked; rows that cannot be understood are set aside "
        "with the reason, never guessed, never lost."
    ),
    extra=_extra,
    act="record changes",
    register=register,
)
