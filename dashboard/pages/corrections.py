"""Single records, put right: a field that is wrong, a record that should not be there, and taking that back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from flask import current_app

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.corrections import Corrected, correct_records, list_records, remove_records
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.schema import TRIM_FIELDS
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import read_date
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.today_answers import choose_farm
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

MOST_SHOWN = 300
"""Records listed at once; a day of trimming is rarely more. [common practice, no source]"""

DAYS_OFFERED = 24
"""Days of visits that are one link away; others are reached from a cow. [common practice, no source]"""

SAID_FIRST = ("cow", "foot", "claw", "zone", "lesion", "dd_stage", "action")
"""What is said of a record first, in the order in which a trimmer says it."""

NOT_SAID = (
    "farm", "visit_date", "visit_kind", "herd_size", "group", "housing", "floor", "bedding", "parity", "calving_date",
    "breed", "sire",
)  # fmt: skip
"""Fields of the visit and of the cow, which are not said of each record; they can be corrected all the same."""

ONLY_OWN = say("You may correct the records that you brought in yourself. The others are not listed.")


def record_said(row: dict[str, Any]) -> str:
    """A record in one line: the day, the cow, what was found and done, then the rest that was seen."""
    others = [name for name in TRIM_FIELDS if name not in (*SAID_FIRST, *NOT_SAID)]
    told_of = {name: value_label(name, row[name]) for name in (*SAID_FIRST, *others)}
    parts = [value_label("visit_date", row["visit_date"]), _("cow {cow}", cow=row["cow"])]
    parts += [told_of[name] for name in SAID_FIRST[1:]]
    parts += [f"{column_label(name)}: {told_of[name]}" for name in others if told_of[name]]
    return ", ".join(part for part in parts if part)


def _list(ledger: Ledger, view: View) -> Any:
    """The records of a cow, or of a day, each with a box to mark, and what is to be done with those marked."""
    if view.farm is None:
        return choose_farm()
    table = list_records(ledger, farm=view.farm, cow=view.options.get("cow") or None, allowed=view.selection.allowed)
    viewer = current_viewer()
    sees_all = viewer.may("see every import")
    own = None if sees_all else imports_rights.own_imports(ledger, current_app.config["EVENFOOT_ACCOUNTS"], viewer)
    told_first = [] if own is None else [html.P(told(ONLY_OWN), className="basis")]
    if own is not None:
        table = table[table["import_no"].isin(own)]
    if table.empty:
        return [*told_first, html.P(_("There is no record here that you could correct."), className="empty")]
    days = list(dict.fromkeys(table["visit_date"].dt.date))
    asked = view.options.get("day")
    day = read_date(asked, "day") if asked else None if view.options.get("cow") else days[0]
    if day is not None:
        table = table[table["visit_date"].dt.date == day]
    shown = table.head(MOST_SHOWN)
    cut = len(table) - len(shown)
    return [
        *told_first,
        *_days(view, days),
        dmc.CheckboxGroup(
            [dmc.Checkbox(label=record_said(row), value=row["id"], size="lg") for row in records(shown)],
            id="correct-ids",
            label=_("Records"),
            value=[],
            className="marked",
        ),
        dcc.Store(id="correct-shown", data=list(shown["id"])),
        html.P(_n("{n} more record is not shown; choose a cow.", "{n} more records are not shown; choose a cow.", cut))
        if cut
        else None,
        html.Button(_("Mark all"), id="correct-all", className="take"),
        *_form(),
    ]


def _days(view: View, days: Sequence[dt.date]) -> list[Any]:
    """Links to the other days with records."""
    links: list[Any] = []
    for day in days[:DAYS_OFFERED]:
        said = value_label("visit_date", pd.Timestamp(day))
        links += [html.A(said, href=view.changed(day=f"{day:%Y-%m-%d}").href, className="take"), " "]
    return [html.Details([html.Summary(_("Another day")), html.Div(links, className="takeaway")], className="fold")]


def _form() -> list[Any]:
    fields = [{"value": name, "label": column_label(name)} for name in TRIM_FIELDS]
    return [
        html.Div(
            [
                dmc.TextInput(label=_("Why"), id="correct-why", placeholder=_("such as a wrong foot typed")),
                dmc.Select(label=_("What is wrong"), id="correct-field", data=fields, searchable=True, clearable=True),
                dmc.TextInput(label=_("What it should be; nothing takes it out"), id="correct-value"),
                html.Button(_("Correct those marked"), id="correct-change", className="act"),
            ],
            className="choices",
        ),
        html.Details(
            [
                html.Summary(_("Remove those marked"), className="take thumb"),
                html.P(_("They leave every figure. They are kept, and can be brought back. Sure?")),
                html.Button(_("Yes, remove them"), id="correct-remove", className="take thumb"),
            ],
            className="asks-first",
        ),
        html.Div(id="correct-said", **{"aria-live": "polite"}),
    ]


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
    panels=(Panel("corrections-list", "Records", _list, "Mark what is wrong, then say what it should be.", wide=True),),
    register=register,
    act="correct records",
)
