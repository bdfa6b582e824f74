"""The records that can be corrected, of a cow, a day or an import, and what is filled in to correct them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import dcc, html
from flask import current_app

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.corrections import farms_of_import, list_records
from evenfoot.analytics.ledger.schema import TRIM_FIELDS
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import read_date
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_photos import photos_beside
from evenfoot.dashboard.pages.today_answers import choose_farm
from evenfoot.dashboard.ui.view import View

MOST_SHOWN = 300
"""Records listed at once; a day of trimming is rarely more. [common practice, no source]"""

MOST_DIGITS = 9

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


def list_to_correct(ledger: Ledger, view: View) -> Any:
    """The records of a cow, a day or an import, each with a box to mark, and what is to be done with those marked."""
    brought = _number(view.options.get("brought"))
    farm = view.farm
    if farm is None and brought is not None:
        farms = farms_of_import(ledger, brought, view.selection.allowed)
        if len(farms) > 1:
            return [html.P(_("Choose the farm.")), _links([(each, view.changed(farms=(each,))) for each in farms])]
        farm = farms[0] if farms else None
    if farm is None:
        return choose_farm()
    table = list_records(ledger, farm=farm, cow=view.options.get("cow") or None, allowed=view.selection.allowed)
    if brought is not None:
        table = table[table["import_no"] == brought]
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
    work = [
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
    # Of an import that is not the viewer's own, no record is left here.
    photos = [] if brought is None else photos_beside(ledger, brought)
    return [
        *told_first,
        html.Div([*photos, html.Div(work)], className="photo-work has-photo") if photos else html.Div(work),
    ]


def _days(view: View, days: Sequence[dt.date]) -> list[Any]:
    """Links to the other days with records."""
    links = [
        (value_label("visit_date", pd.Timestamp(day)), view.changed(day=f"{day:%Y-%m-%d}"))
        for day in days[:DAYS_OFFERED]
    ]
    return [html.Details([html.Summary(_("Another day")), _links(links)], className="fold")]


def _links(to: Sequence[tuple[str, View]]) -> html.Div:
    links: list[Any] = []
    for said, view in to:
        links += [html.A(said, href=view.href, className="take"), " "]
    return html.Div(links, className="takeaway")


def _number(said: str | None) -> int | None:
    """The number of an import in the address. Raises UserError for what is none."""
    if said is None:
        return None
    if not said.isdecimal() or len(said) > MOST_DIGITS:
        raise UserError(say("'{said}' is no number of an import; open this page from the list of imports.", said=said))
    return int(said)


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
