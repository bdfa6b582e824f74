"""Changes made on a farm: those recorded, and writing one down beside a chart."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import Dash, Input, Output, State, html, no_update

from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets
from evenfoot.analytics.ledger.imports.file_import import farms_by_kind
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.change_windows import changes
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.ui.period_filter import days_of
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

FILE = "change-{farm}-{day}.csv"
"""What the import of a change written here is called."""

LONGEST = 200
"""Letters of what changed; more is a report, not a mark on a chart."""

COLUMNS = ("farm", "date", "what", "note", "lesions")


def recorded(ledger: Ledger, view: View) -> pd.DataFrame:
    """The changes recorded (farm, date, what, note, lesions, aimed), newest first.

    Of the farm chosen, or of all that may be seen.
    """
    if not ledger.exists:
        return pd.DataFrame(columns=[*COLUMNS, "aimed"])
    return changes(ledger, view.selection)


def with_changes(ledger: Ledger, view: View, answer: Answer) -> Answer:
    """The answer with the changes to be marked on its chart; of one farm only, since others did not make them."""
    if view.farm is None:
        return answer
    return dataclasses.replace(answer, extra={**answer.extra, "changes": recorded(ledger, view)})


def form(view: View) -> list[Any]:
    """Where a change is written down; nothing for who may not, or where it is not known on which farm."""
    if view.farm is None or not current_viewer().may("record changes"):
        return []
    day = days_of(view.options["span"])[0] if "span" in view.options else view.options.get("change")
    return [
        html.Details(
            [
                html.Summary(_("Write down a change on the farm")),
                html.Div(
                    [
                        dmc.DateInput(
                            label=_("Day of the change"),
                            id="note-day",
                            value=str(day) if day else None,
                            valueFormat="D MMM YYYY",
                            placeholder=_("Choose a day"),
                            clearable=False,
                        ),
                        dmc.TextInput(
                            label=_("What changed"), id="note-what", placeholder=_("such as rubber in the alleys")
                        ),
                        dmc.MultiSelect(
                            label=_("Lesions it aims at"),
                            id="note-lesions",
                            data=[{"value": code, "label": value_label("lesion", code)} for code in PARENTS],
                            value=[],
                            placeholder=_("those such a change usually aims at"),
                            clearable=True,
                            searchable=True,
                        ),
                        dmc.TextInput(label=_("Note, if any"), id="note-more"),
                        html.Button(_("Write down"), id="note-add", className="act"),
                    ],
                    className="choices",
                ),
                html.Div(id="note-said", **{"aria-live": "polite"}),
            ],
            className="fold",
        )
    ]


def write_down(
    ledger: Ledger,
    store: Store,
    farm: str | None,
    day: str | None,
    what: str | None,
    note: str | None,
    lesions: Sequence[str] | None = None,
) -> ImportResult:
    """Bring one change in as a sheet of one row, checked and added as any other.

    ``lesions`` are the codes of what it aims at; without any, those that such a change usually aims at are looked at.

    Raises
    ------
    UserError
        The viewer may not, something is missing or not possible, or the change is recorded already.
    """
    viewer = current_viewer()
    viewer.refuse_unless("record changes")
    if not farm:
        raise UserError(say("Choose the farm first, so that it is known where the change was made."))
    if not (day or "").strip():
        raise UserError(say("Choose the day of the change."))
    if not (what or "").strip():
        raise UserError(say("Say in a few words what changed."))
    if max(len(what or ""), len(note or "")) > LONGEST:
        raise UserError(say("Say it in {n} letters or fewer; a mark on a chart is no report.", n=LONGEST))
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(
        [COLUMNS, (farm, day, _plain(what), _plain(note), " ".join(lesions or ()))]
    )
    data = text.getvalue().encode()
    name = FILE.format(farm="-".join(farm.lower().split()), day=day)
    sheets = check_file(data, name, known_farms=imports_rights.known_to(ledger, viewer))
    imports_rights.refuse_sheets(viewer, farms_by_kind(sheets))
    held = [row for sheet in sheets for row in sheet.set_aside.to_dict("records")]
    if held:
        raise UserError(say("{reason} {remedy}", reason=held[0]["reason"], remedy=held[0]["remedy"]))
    digest = hashlib.sha256(data).hexdigest()
    if not add_sheets(ledger, sheets, name, digest, dry_run=True).added:
        raise UserError(say("This change is written down already."))
    result = add_sheets(ledger, sheets, name, digest)
    imports_rights.remember(store, viewer, result.import_no, digest)
    return result


def _plain(text: str | None) -> str:
    """One line of text."""
    return " ".join((text or "").split())


def register(app: Dash, ledger: Ledger) -> None:
    """The callback of the form, whichever page it stands on."""
    store = app.server.config["EVENFOOT_ACCOUNTS"]

    @app.callback(
        Output("note-said", "children"),
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Output("written", "data"),
        Input("note-add", "n_clicks"),
        State("note-day", "value"),
        State("note-what", "value"),
        State("note-more", "value"),
        State("note-lesions", "value"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def write(
        clicks: int | None,
        day: str | None,
        what: str | None,
        note: str | None,
        lesions: list[str] | None,
        path: str,
        search: str,
    ) -> Any:
        if not clicks:
            return (no_update,) * 4
        try:
            view = View.read(path, search or "", current_viewer().allowed)
            result = write_down(ledger, store, view.farm, day, what, note, lesions)
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update, no_update, no_update
        said = html.P(
            [
                _("Written down as import {number}.", number=result.import_no),
                " ",
                html.A(_("It can be taken back on the import page."), href=view.to("/import")),
            ],
            className="caution",
        )
        return None, said, str(ledger.version), result.import_no
