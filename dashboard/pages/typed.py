"""Type a visit from paper: one row a cow, read as it is typed, brought in as a sheet is."""

from __future__ import annotations

import base64
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from evenfoot.analytics.clock import today
from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.login import CSRF_COOKIE
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.imports_dropping import dropped_sheet
from evenfoot.dashboard.pages.typed_photos import photo_fold
from evenfoot.dashboard.pages.typed_print import print_fold, register_print
from evenfoot.dashboard.pages.typed_reading import row_words
from evenfoot.dashboard.pages.typed_sheet import typed_csv
from evenfoot.dashboard.pages.typed_words import browser_words, how_to_type
from evenfoot.dashboard.report.blank_sheet import CELLS
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.request_view import addressed
from evenfoot.dashboard.ui.shell import VISITS
from evenfoot.dashboard.ui.shell import mistake as mistake_line

SCALES = ("1-5", "0-3")
MOST_ASKED = 100
"""Rows whose reading is asked for at once."""


def _extra() -> list[Any]:
    return [
        html.Section(
            [
                html.H2(_("The visit"), id="title-typing"),
                _head(),
                how_to_type(),
                print_fold(),
                html.Div([photo_fold(), _grid()], id="typing-work", className="photo-work"),
                html.P(id="typing-photo-said", className="basis", **{"aria-live": "polite"}),
                html.P(id="typing-told", className="basis", **{"aria-live": "polite"}),
                html.P(id="typing-kept", className="basis"),
                html.Div(
                    [
                        html.Button(_("Check and add"), id="typing-check", className="act thumb"),
                        html.Button(_("New sheet"), id="typing-new", className="take thumb"),
                        html.Details(
                            [
                                html.Summary(_("Throw away"), className="take thumb"),
                                html.P(_("All rows of this sheet are lost. Sure?")),
                                html.Button(_("Yes, throw it away"), id="typing-away", className="take thumb"),
                            ],
                            className="asks-first",
                        ),
                    ],
                    className="acts",
                ),
                html.Div(id="typing-others", className="takeaway"),
                progress.place("import"),
                html.Div(id="typing-refused", **{"aria-live": "polite"}),
                html.Div(id="sheets", **{"aria-live": "polite"}),
                html.Div(id="mending", **{"aria-live": "polite"}),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-typing"},
        ),
        *(dcc.Store(id=f"typing-{name}") for name in ("begin", "ask", "answer", "sheet")),
        dcc.Store(id="imports-changed", data=0),
        dcc.Store(id="mend-of"),
    ]


def _head() -> html.Div:
    """What is said once for all cows."""
    return html.Div(
        [
            dmc.Autocomplete(id="typing-farm", label=_("Farm"), value="", data=[]),
            dmc.DateInput(
                id="typing-day",
                label=_("Day"),
                value=None,
                valueFormat="D MMM YYYY",
                # Gone at once, or it lies on the table while one types on.
                popoverProps={"transitionProps": {"duration": 0}},
            ),
            dmc.TextInput(id="typing-trimmer", label=_("Trimmer"), value=""),
            dmc.Select(
                id="typing-kind",
                label=_("Kind of visit"),
                data=[
                    {"value": "", "label": _("Not said")},
                    *({"value": value, "label": told(said)} for value, said in VISITS if value != "all"),
                ],
                value="",
                allowDeselect=False,
            ),
            dmc.Select(
                id="typing-scale",
                label=_("Scale of the scores"),
                data=[
                    {"value": "", "label": _("As on this farm so far")},
                    *({"value": scale, "label": scale} for scale in SCALES),
                ],
                value="",
                allowDeselect=False,
            ),
        ],
        className="choices",
    )


def _grid() -> html.Div:
    """The table; the browser's part fills it with a line a cow. Its fields are plain ones, which lose no letter."""
    titles = {
        "cow": _("Cow"),
        **{foot: words().foot_code(foot) for foot in FEET},
        "score": _("Score"),
        "note": _("Remarks"),
    }
    heads = [html.Th(_("Row"), scope="col", className="cell-row")]
    for name in CELLS:
        tip = words().foot(name) if name in FEET else None
        heads.append(html.Th(titles[name], scope="col", className=f"cell-{name}", title=tip))
    heads.append(html.Th(_("How it reads"), scope="col", className="reads"))
    return html.Div(
        html.Table([html.Thead(html.Tr(heads)), html.Tbody(id="typing-rows")], className="typed"), id="typing-grid"
    )


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the page."""

    @app.callback(
        Output("typing-begin", "data"),
        Input("address", "pathname"),
        State("address", "search"),
    )
    def begin(path: str, search: str) -> Any:
        """What the browser's part has to know of who types."""
        viewer = current_viewer()
        if path != PAGE.path or not viewer.may(PAGE.act):
            return no_update
        view, _mistake = addressed(path, search)
        return {
            "account": str(viewer.account or ""),
            "farms": ledger.farms(viewer.allowed) if viewer.allowed is None else list(viewer.allowed),
            "farm": view.farm or "",
            "day": today().isoformat(),
            "trimmer": viewer.name if viewer.role == "trimmer" else "",
            "word": app.server.config["EVENFOOT_ACCOUNTS"].cookie(CSRF_COOKIE),
            "words": browser_words(),
        }

    @app.callback(Output("typing-answer", "data"), Input("typing-ask", "data"), prevent_initial_call=True)
    def read(asked: dict[str, Any] | None) -> Any:
        """How the rows read that were typed."""
        if not asked or not current_viewer().may(PAGE.act):
            return no_update
        herd = _herd(ledger, str(asked["farm"]).strip())
        rows = []
        for row in asked["rows"][:MOST_ASKED]:
            said, asks = row_words(row["cells"], herd, row["twin"])
            rows.append({"id": row["id"], "cells": row["cells"], "said": said, "asks": asks})
        return {"n": asked["n"], "rows": rows}

    @app.callback(
        Output("sheets", "children", allow_duplicate=True),
        Output("typing-refused", "children"),
        Input("typing-sheet", "data"),
        State({"type": "answers", "of": ALL}, "data"),
        prevent_initial_call=True,
    )
    def hand_over(typed: dict[str, Any] | None, answers: list[dict[str, Any]]) -> Any:
        """The sheet, to be checked and added as a dropped one is; answers given to it before still count."""
        if not typed:
            return no_update, no_update
        try:
            current_viewer().refuse_unless(PAGE.act)
            name, data = typed_csv(typed)
        except UserError as known:
            return [], mistake_line(told(known.sentence))
        contents = f"data:text/csv;base64,{base64.b64encode(data).decode()}"
        return [dropped_sheet(name, contents, answers[-1] if answers else None)], None

    register_print(app, ledger)
    _register_clientside(app)


def _register_clientside(app: Dash) -> None:
    """The browser's part: it keeps what is typed, and shows how it reads."""
    head = [f"typing-{name}" for name in ("farm", "day", "trimmer", "kind", "scale")]
    app.clientside_callback(
        "window.dash_clientside.typing.open",
        Output("typing-farm", "data"),
        *(Output(name, "value") for name in head),
        Output("typing-others", "children"),
        Output("typing-kept", "children"),
        Output("typing-ask", "data"),
        Output("typing-told", "children", allow_duplicate=True),
        Input("typing-begin", "data"),
        Input({"type": "typing-open", "sheet": ALL}, "n_clicks"),
        Input("typing-new", "n_clicks"),
        Input("typing-away", "n_clicks"),
        Input({"type": "done", "of": ALL}, "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.typing.change",
        Output("typing-kept", "title"),
        *(Input(name, "value") for name in head),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.typing.show", Output("typing-told", "children"), Input("typing-answer", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    app.clientside_callback(
        "window.dash_clientside.typing.check", Output("typing-sheet", "data"), Input("typing-check", "n_clicks"),
        prevent_initial_call=True,
    )  # fmt: skip


def _herd(ledger: Ledger, farm: str) -> set[str]:
    """Numbers of the cows of a farm that the viewer may see."""
    if not farm or not ledger.exists or not current_viewer().sees(farm):
        return set()
    return set(ledger.frame("SELECT DISTINCT cow FROM cows WHERE farm = ?", [farm])["cow"].astype(str))


PAGE = Page(
    path="/typing",
    title="Type a visit",
    group="more",
    question="Type a visit from paper. It is checked and added as a sheet is.",
    extra=_extra,
    act="import sheets",
    register=register,
)
