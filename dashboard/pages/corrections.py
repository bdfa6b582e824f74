"""Single records, put right: a field that is wrong, a record that should not be there, and taking that back."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.corrections import Corrected, correct_records, remove_records
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.photos import remove_photo
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.corrections_list import list_to_correct
from evenfoot.dashboard.pages.imports_photos import seen_photo
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View


def correct(
    ledger: Ledger, store: Store, ids: Collection[str] | None, field: str | None, value: str | None, why: str | None
) -> Corrected:
    """Correct the records marked, as the form has it.

    Raises
    ------
    UserError
        The viewer may not, nothing is marked, or the ledger refuses; see :func:`correct_records`.
    """
    own = _refuse_unless_marked(ledger, store, ids)
    if not field:
        raise UserError(say("Choose what is wrong first, such as the foot."))
    allowed = current_viewer().allowed
    done = correct_records(ledger, list(ids or ()), {field: value or ""}, why or "", allowed=allowed, own=own)
    imports_rights.remember(store, current_viewer(), done.number, done.digest)
    return done


def remove(ledger: Ledger, store: Store, ids: Collection[str] | None, why: str | None) -> Corrected:
    """Remove the records marked. Raises : as :func:`correct`."""
    own = _refuse_unless_marked(ledger, store, ids)
    done = remove_records(ledger, list(ids or ()), why or "", allowed=current_viewer().allowed, own=own)
    imports_rights.remember(store, current_viewer(), done.number, done.digest)
    return done


def _refuse_unless_marked(ledger: Ledger, store: Store, ids: Collection[str] | None) -> set[int] | None:
    """Refuse who may not and what names no record; the imports whose records may be changed."""
    viewer = current_viewer()
    viewer.refuse_unless("correct records")
    if not ids:
        raise UserError(say("Mark the records first."))
    return imports_rights.own_imports(ledger, store, viewer)


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the list and its form."""
    store = app.server.config["EVENFOOT_ACCOUNTS"]

    @app.callback(
        Output("correct-ids", "value"),
        Input("correct-all", "n_clicks"),
        State("correct-shown", "data"),
        prevent_initial_call=True,
    )
    def mark_all(clicks: int | None, shown: list[str]) -> Any:
        return shown if clicks else no_update

    @app.callback(
        Output("correct-said", "children"),
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Output("written", "data", allow_duplicate=True),
        Input("correct-change", "n_clicks"),
        Input("correct-remove", "n_clicks"),
        State("correct-ids", "value"),
        State("correct-field", "value"),
        State("correct-value", "value"),
        State("correct-why", "value"),
        prevent_initial_call=True,
    )
    def press(
        change: int | None, take_out: int | None, ids: list[str], field: str | None, value: str | None, why: str | None
    ) -> Any:
        if not (change or take_out):
            return (no_update,) * 4
        try:
            if ctx.triggered_id == "correct-remove":
                done = remove(ledger, store, ids, why)
                said = _n("{n} record was removed.", "{n} records were removed.", done.records)
            else:
                done = correct(ledger, store, ids, field, value, why)
                said = _n("{n} record was corrected.", "{n} records were corrected.", done.records)
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update, no_update, no_update
        back = html.Button(_("Take it back"), id={"type": "uncorrect", "number": done.number}, className="take thumb")
        line = html.P([said, " ", back], className="caution")
        return None, line, str(ledger.version), f"correction {done.number}: {ledger.version}"

    @app.callback(
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Output("written", "data", allow_duplicate=True),
        Input({"type": "uncorrect", "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def take_back(clicks: list[int | None]) -> Any:
        asked = ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            return (no_update,) * 3
        number, viewer = int(asked["number"]), current_viewer()
        try:
            viewer.refuse_unless("take imports back")
            imports_rights.refuse_import(ledger, store, viewer, number)
            undo_import(ledger, number)
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update, no_update
        said = html.P(_("The records are as they were."), className="caution")
        return said, str(ledger.version), f"correction {number} back: {ledger.version}"

    @app.callback(
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Output("written", "data", allow_duplicate=True),
        Input({"type": "photo-out", "import": ALL, "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def take_photo_out(clicks: list[int | None]) -> Any:
        asked = ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            return (no_update,) * 3
        try:
            current_viewer().refuse_unless("correct records")
            remove_photo(ledger, seen_photo(ledger, store, int(asked["import"]), int(asked["number"])))
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update, no_update
        said = html.P(_("The photo was removed."), className="caution")
        return said, str(ledger.version), f"photo removed: {ledger.version}"


def corrections_link(view: View, **where: Any) -> html.A | None:
    """The way to these records from another page; nothing for who may not correct any."""
    if not current_viewer().may("correct records"):
        return None
    return html.A(_("Correct a record"), href=view.changed(path="/corrections", **where).href, className="take")


PAGE = Page(
    path="/corrections",
    title="Corrections",
    group="more",
    question="Put single records right. What they were is kept.",
    panels=(
        Panel(
            "corrections-list", "Records", list_to_correct, "Mark what is wrong, then say what it should be.", wide=True
        ),
    ),
    register=register,
    act="correct records",
)
