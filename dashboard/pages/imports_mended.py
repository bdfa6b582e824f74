"""Rows that were set aside: opened in a table, mended, and tried again."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_mending import (
    MENDING,
    MOST_ROWS,
    mending_body,
    rows_to_mend,
    try_again,
    with_cells,
)
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.shell import mistake as mistake_line


def register_mending(app: Dash, ledger: Ledger, store: Store) -> None:
    """The callbacks of the table of rows that were set aside."""

    @app.callback(
        Output("mending", "children"),
        Output("mend-of", "data"),
        Input({"type": "mend", "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def open_rows(clicks: list[int | None]) -> Any:
        """The rows of the import whose button was pressed."""
        pressed = isinstance(ctx.triggered_id, dict) and any(clicks) and ctx.triggered[0]["value"]
        return rows_of(int(ctx.triggered_id["number"])) if pressed else (no_update, no_update)

    # Apart from the buttons: those of a new list report themselves, which would end what this one has begun.
    @app.callback(
        Output("mending", "children", allow_duplicate=True),
        Output("mend-of", "data", allow_duplicate=True),
        Input({"type": "done", "of": ALL}, "data"),
        prevent_initial_call=True,
    )
    def open_rows_just_added(_done: list[Any]) -> Any:
        """The rows of the import just added, where it has set some aside."""
        said = ctx.triggered[0]["value"] if ctx.triggered else None
        return rows_of(said["number"]) if said and said["held"] else (no_update, no_update)

    def rows_of(number: int) -> tuple[Any, Any]:
        try:
            return _mending(ledger, store, number)
        except UserError as known:
            return mistake_line(told(known.sentence)), None

    @app.callback(
        Output("mending", "children", allow_duplicate=True),
        Output("mend-of", "data", allow_duplicate=True),
        Output("imports-changed", "data", allow_duplicate=True),
        Input("mend-again", "n_clicks"),
        State({"type": "mend-cell", "line": ALL, "place": ALL}, "value"),
        State("mend-of", "data"),
        State({"type": "answer", "of": MENDING, "question": ALL, "part": ALL}, "value"),
        State("imports-changed", "data"),
        running=progress.while_running("import"),
        prevent_initial_call=True,
    )
    def again(clicks: int | None, _cells: list[Any], of: dict[str, Any] | None, _values: list[Any], seen: int) -> Any:
        if not clicks or not of:
            return (no_update,) * 3
        given = {
            one["id"]["question"]: one["value"].strip()
            for one in ctx.states_list[2]
            if isinstance(one.get("value"), str) and one["value"].strip()
        }
        number, headings, rows = of["number"], of["headings"], with_cells(of["lines"], ctx.states_list[0])
        try:
            with progress.watched("import"):
                imports_rights.refuse_import(ledger, store, current_viewer(), number)
                tried = try_again(ledger, number, headings, rows, {**of["given"], **given})
        except UserError as known:
            return (
                [mistake_line(told(known.sentence)), *mending_body(number, headings, rows)],
                {**of, "lines": rows},
                no_update,
            )
        if tried.questions:
            body = mending_body(number, headings, rows, tried.questions)
            return body, {**of, "lines": rows, "given": {**of["given"], **given}}, no_update
        said: list[Any] = []
        if tried.result is not None:
            imports_rights.remember(store, current_viewer(), tried.result.import_no, tried.digest)
            said = [
                html.P(
                    _(
                        "Rows added as import {number}: {added}; already known: {known}. Their note says that they "
                        "were mended.",
                        number=str(tried.result.import_no),
                        added=tried.result.added,
                        known=tried.result.already_known,
                    ),
                    className="lead",
                    role="status",
                )
            ]
        if tried.left.empty:
            return said, None, seen + 1
        headings, rows = rows_to_mend(tried.left)
        kept = {**of, "headings": headings, "lines": rows[:MOST_ROWS]}
        return [*said, *mending_body(number, headings, rows)], kept, seen + 1


def _mending(ledger: Ledger, store: Store, number: int) -> tuple[Any, Any]:
    """The table of what an import set aside, and what has to be known of it to try again."""
    imports_rights.refuse_import(ledger, store, current_viewer(), number)
    headings, rows = rows_to_mend(ledger.set_aside(number))
    if not rows:
        return None, None
    of = {"number": number, "headings": headings, "lines": rows[:MOST_ROWS], "given": {}}
    return mending_body(number, headings, rows), of
