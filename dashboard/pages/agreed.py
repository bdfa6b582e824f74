"""What was agreed: those that are open, what became of those done, and writing one down."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from evenfoot.analytics.clock import today
from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger import agreements as kept
from evenfoot.analytics.measures.planning.agreements import DONE, OVERDUE, agreements
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import Selection, read_date
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.charts.agreed import agreed_said, since_said, state_said
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

SHOWN_DAYS = 365
"""What was done longer ago is not listed here; the command lists it. [common practice, no source]"""

ACTS = ("done", "reopen", "remove", "restore")


def agreed_list(ledger: Ledger, view: View) -> list[Any]:
    """What was agreed on the farm, overdue and open ones first, and where one is written down.

    Nothing where no farm is chosen.
    """
    if view.farm is None:
        return []
    day = day_asked(view) or today()
    asked = Selection(farms=(view.farm,), allowed=view.selection.allowed, hemisphere=view.selection.hemisphere)
    rows = records(agreements(ledger, asked, on=day).table)
    lately = pd.Timestamp(day) - pd.Timedelta(days=SHOWN_DAYS)
    shown = [row for row in rows if row["state"] != DONE or row["done_on"] > lately]
    may = current_viewer().may("record changes")
    listed = html.Ul([_line(row, may) for row in shown], className="remembered")
    none = html.P(_("Nothing is agreed that is still open."), className="empty")
    return [html.H3(_("What was agreed")), listed if shown else none, *form(view, day)]


def form(view: View, day: dt.date) -> list[Any]:
    """Where something is written down; nothing for who may not, or where it is not known on which farm."""
    if view.farm is None or not current_viewer().may("record changes"):
        return []
    return [
        html.Details(
            [
                html.Summary(_("Write down what was agreed")),
                html.Div(
                    [
                        dmc.TextInput(
                            label=_("What is to be done"), id="agreed-text", placeholder=_("such as a foot bath")
                        ),
                        dmc.TextInput(label=_("Who does it"), id="agreed-who"),
                        dmc.DateInput(
                            label=_("By when"), id="agreed-due", valueFormat="D MMM YYYY", clearable=True,
                            placeholder=_("Choose a day"),
                        ),
                        dmc.Select(
                            label=_("Lesion it is for, if any"),
                            id="agreed-lesion",
                            data=[{"value": code, "label": value_label("lesion", code)} for code in PARENTS],
                            clearable=True,
                            searchable=True,
                        ),
                        dmc.TextInput(label=_("Where on the foot, if it matters"), id="agreed-place"),
                        dmc.DateInput(
                            label=_("Day it was agreed"), id="agreed-day", value=str(day), valueFormat="D MMM YYYY",
                            clearable=False,
                        ),
                        html.Button(_("Write down"), id="agreed-add", className="act"),
                    ],
                    className="choices",
                ),
                html.Div(id="agreed-said", **{"aria-live": "polite"}),
            ],
            className="fold",
        )
    ]  # fmt: skip


def write_down(
    ledger: Ledger,
    farm: str | None,
    text: str | None,
    *,
    day: str | None = None,
    who: str | None = None,
    due: str | None = None,
    lesion: str | None = None,
    place: str | None = None,
) -> int:
    """Write down what was agreed, as the form has it; its number.

    Raises
    ------
    UserError
        The viewer may not, something is missing, or a day cannot be.
    """
    viewer = current_viewer()
    viewer.refuse_unless("record changes")
    if not farm:
        raise UserError(say("Choose the farm first, so that it is known where it was agreed."))
    return kept.add(
        ledger,
        farm,
        text or "",
        agreed_on=_day(day),
        who=who,
        due_on=_day(due),
        lesion=lesion or None,
        place=place,
        allowed=viewer.allowed,
    )


def act_on(ledger: Ledger, act: str, number: int) -> str:
    """Do what a button beside an agreement says; a sentence on what was done.

    Parameters
    ----------
    ledger : Ledger
    act : {"done", "reopen", "remove", "restore"}
    number : int

    Raises
    ------
    UserError
        The viewer may not, or there is no such agreement on a farm of hers.
    """
    viewer = current_viewer()
    viewer.refuse_unless("record changes")
    if act == "done":
        kept.mark_done(ledger, number, allowed=viewer.allowed)
        return _("It is done.")
    if act == "reopen":
        kept.change(ledger, number, {"done_on": None, "outcome": None}, allowed=viewer.allowed)
        return _("It is open again.")
    if act == "remove":
        kept.remove(ledger, number, allowed=viewer.allowed)
        return _("It was removed.")
    if act == "restore":
        kept.restore(ledger, number, allowed=viewer.allowed)
        return _("It is back.")
    raise UserError(say("There is no such button here."))


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the form and of the buttons beside what was agreed."""
    fields = ("day", "who", "due", "lesion", "place")

    @app.callback(
        Output("agreed-said", "children"),
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Output("written", "data", allow_duplicate=True),
        Input("agreed-add", "n_clicks"),
        State("agreed-text", "value"),
        *(State(f"agreed-{name}", "value") for name in fields),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def write(clicks: int | None, text: str | None, *given: Any) -> Any:
        if not clicks:
            return (no_update,) * 4
        *filled, path, search = given
        try:
            view = View.read(path, search or "", current_viewer().allowed)
            number = write_down(ledger, view.farm, text, **dict(zip(fields, filled, strict=True)))
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update, no_update, no_update
        said = html.P(_("Written down."), className="caution")
        return None, said, str(ledger.version), f"agreement {number}: {ledger.version}"

    @app.callback(
        Output("written", "data", allow_duplicate=True),
        Output("done", "children", allow_duplicate=True),
        Output("seen-version", "data", allow_duplicate=True),
        Input({"type": "agreed", "act": ALL, "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def press(clicks: list[int | None]) -> Any:
        asked = ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict) or not ctx.triggered[0]["value"]:
            return (no_update,) * 3
        act, number = str(asked["act"]), int(asked["number"])
        try:
            said: list[Any] = [act_on(ledger, act, number)]
        except UserError as known:
            return no_update, mistake_line(told(known.sentence)), no_update
        if act == "remove":
            said += [" ", _button("restore", number, _("Put it back"))]
        return f"agreement {number}: {ledger.version}", html.P(said, className="caution"), str(ledger.version)


def _line(row: dict[str, Any], may: bool) -> html.Li:
    """One agreement: whether it is overdue or done, what it is, what became of its lesion, and its buttons."""
    said, state, since = (say_it(row, words()) for say_it in (agreed_said, state_said, since_said))
    told_of: list[Any] = [html.Strong(state) if row["state"] == OVERDUE else state, " ", said]
    if since:
        told_of += [html.Br(), html.Small(since)]
    acts = (
        [("reopen", _("Not done after all"))]
        if row["state"] == DONE
        else [("done", _("Done")), ("remove", _("Remove"))]
    )
    buttons: list[Any] = []
    for act, label in acts if may else []:
        buttons += [_button(act, row["number"], label, said), " "]
    return html.Li([html.Span(told_of), html.Div(buttons)])


def _button(act: str, number: int, label: str, of: str = "") -> html.Button:
    named = {"aria-label": f"{label}: {of}"} if of else {}
    return html.Button(label, id={"type": "agreed", "act": act, "number": int(number)}, className="take thumb", **named)


def _day(text: str | None) -> dt.date | None:
    """A day of a form; none where nothing was chosen."""
    said = (text or "").strip()
    return read_date(said[:10], "agreed") if said else None
