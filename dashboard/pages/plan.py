"""The plan: visits proposed for the coming months, to take along as a calendar, a table and lists for the chute."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.plan import COWS_A_DAY, plan
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import read_date
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts.labels import small
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.worklist import ABOUT, day_asked, day_choice, day_line
from evenfoot.dashboard.report.calendar import KINDS, icalendar
from evenfoot.dashboard.report.chute_list import chute_list
from evenfoot.dashboard.report.printing import save_pdf
from evenfoot.dashboard.report.request import PAPERS, checked_paper
from evenfoot.dashboard.report.waiting import REPORTS
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, number_table, telling
from evenfoot.dashboard.ui.request_view import addressed
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

CHOICES = (10, 20, 30, 40, 50, 60, 80, 100)
ONE_LINE = {"whiteSpace": "nowrap"}
NO_PDF = say("There is no browser here to make a PDF with: this is the list as a page to print.")
LISTS = 8
"""Visits whose list for the chute is offered: the next ones; later ones are worked out anew by then."""


def _cows_a_day(view: View) -> int:
    asked = view.option("cows_a_day", str(COWS_A_DAY))
    return int(asked) if asked.isdigit() and 0 < int(asked) <= 1000 else COWS_A_DAY


def _days_off(view: View) -> tuple[dt.date, ...]:
    return tuple(read_date(day, "day_off") for day in view.several("day_off"))


def _answer(ledger: Ledger, view: View) -> Answer:
    return plan(
        ledger,
        view.selection,
        on=day_asked(view),
        cows_a_day=_cows_a_day(view),
        weekends=view.option("weekends", "") == "worked",
        day_off=_days_off(view),
    )


def _visits(ledger: Ledger, view: View) -> Drawn:
    answer = _answer(ledger, view)

    def to(row: dict[str, Any]) -> str:
        """The cows of that day, from the same plan."""
        return view.changed(day=f"{row['date']:%Y-%m-%d}").href

    shown = dataclasses.replace(answer, table=answer.table.drop(columns="number"))
    lead = [day_line(answer), *([] if answer.empty else _take_along(answer))]
    return Drawn(None, shown, "", to, lead, finding=findings.next_visit(answer))


def _day(ledger: Ledger, view: View) -> Any:
    """The cows of the planned day that was opened, else of the first one, in the order of the list."""
    answer = _answer(ledger, view)
    if answer.empty:
        return [day_line(answer), *(html.P(told(caution), className="caution") for caution in answer.cautions)]
    asked = view.options.get("day")
    day = read_date(asked, "day") if asked else answer.table["date"].iloc[0].date()
    cows = answer.extra["cows"]
    here = cows[cows["date"] == pd.Timestamp(day)]
    if here.empty:
        none = _("The plan has no visit on {day}; choose a day above.", day=words().date(day))
        return [day_line(answer), html.P(none, className="empty")]
    kinds = here.assign(kind=[told(KINDS.get(kind, kind)) for kind in here["kind"]])
    columns = telling(kinds, ("cow", "farm", "kind", "group", "reason", *ABOUT))
    heading = _("Cows of {day}", day=words().date(day))
    return [
        html.P(heading, className="lead"),
        day_line(answer),
        number_table(kinds, view.to_cows(), heading, view=view, cards=True, columns=columns),
    ]


def _take_along(answer: Answer) -> list[Any]:
    """Buttons that give the calendar, and the lists for the chute of the next visits."""
    buttons = [
        html.Button(
            _("Calendar"),
            id={"type": "take-plan", "day": "", "farm": ""},
            className="take",
            **{"aria-label": _("The visits as a calendar file")},
        )
    ]
    for row in answer.table.head(LISTS).to_dict("records"):
        day, farm = row["date"].date(), str(row["farm"])
        name = f"{farm}, {words().date(day)}"
        kind = small(told(KINDS.get(row["kind"], row["kind"])))
        buttons.append(
            html.Button(
                _("List: {name}", name=name),
                id={"type": "take-plan", "day": day.isoformat(), "farm": farm},
                className="take",
                style=ONE_LINE,
                **{"aria-label": _("List for the chute, {name}, {kind}", name=name, kind=kind)},
            )
        )
    return [html.Div(buttons, className="takeaway", style={"flexWrap": "wrap"})]


def file_of(answer: Answer, day: str, farm: str, paper: str = PAPERS[0]) -> tuple[dict[str, Any], list[Message]]:
    """The calendar of a plan, or the list for the chute of one visit, as ``dcc.Download`` takes it, and what is told.

    The list is a PDF; where there is no browser to print it, it is the page itself, and that is told.

    Raises
    ------
    UserError
        The plan has no visit to that farm on that day, or too many files are being printed.
    """
    if not day:
        return {"content": icalendar(answer), "filename": "evenfoot-plan.ics", "type": "text/calendar"}, []
    page = chute_list(answer, read_date(day, "day"), farm, paper)
    name, missing = f"evenfoot-list-{day}-{file_name(farm)}", list[Message]()
    with REPORTS.turn(), scratch_folder() as folder:
        try:
            save_pdf(page, folder / "list.pdf", missing.append)
        except UserError:
            return {"content": page, "filename": f"{name}.html", "type": "text/html"}, [NO_PDF]
        return dict(dcc.send_bytes((folder / "list.pdf").read_bytes(), f"{name}.pdf")), missing


def register(app: Dash, ledger: Ledger) -> None:
    """The callback that gives the files of a plan."""

    @app.callback(
        Output("plan-download", "data"),
        Output("done", "children", allow_duplicate=True),
        Input({"type": "take-plan", "day": ALL, "farm": ALL}, "n_clicks"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def take(clicks: list[int | None], search: str) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        view, mistake = addressed("/plan", search)
        if mistake:
            return no_update, mistake_line(mistake)
        try:
            asked = ctx.triggered_id
            paper = checked_paper(view.option("paper", PAPERS[0]))
            data, said = file_of(_answer(ledger, view), str(asked["day"]), str(asked["farm"]), paper)
            return data, [html.P(told(line), role="status", className="caution") for line in said] or no_update
        except UserError as known:
            return no_update, mistake_line(told(known.sentence))


def _choices(ledger: Ledger, view: View) -> Any:
    chosen = _cows_a_day(view)
    return html.Div(
        [
            dmc.Select(
                label=_("Cows a day"),
                id={"type": "choice", "field": "cows_a_day"},
                data=[{"value": str(n), "label": str(n)} for n in sorted({*CHOICES, chosen})],
                value=str(chosen),
                allowDeselect=False,
            ),
            day_choice(view),
            dmc.Select(
                label=_("Paper of the lists"),
                id={"type": "choice", "field": "paper"},
                data=[{"value": paper, "label": paper} for paper in PAPERS],
                value=view.option("paper", PAPERS[0]),
                allowDeselect=False,
            ),
            dmc.Select(
                label=_("Working days"),
                id={"type": "choice", "field": "weekends"},
                data=[
                    {"value": "", "label": _("Monday to Friday")},
                    {"value": "worked", "label": _("Weekends too")},
                ],
                value=view.option("weekends", ""),
                allowDeselect=False,
            ),
            dmc.DatePickerInput(
                label=_("Days off"),
                id={"type": "choice", "field": "day_off"},
                type="multiple",
                value=list(view.several("day_off")),
                placeholder=_("None"),
                valueFormat="D MMM YYYY",
                clearable=True,
                clearButtonProps={"aria-label": _("No days off")},
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/plan",
    title="Visit plan",
    group="visits",
    question="On which days should which herd be seen over the coming months?",
    choices=_choices,
    extra=lambda: [dcc.Download(id="plan-download")],
    register=register,
    panels=(
        Panel(
            "plan-visits",
            "Proposed visits",
            _visits,
            "Cows that come due within six months, spread over working days: whole herds where four in five come due, "
            "else days of their own; rechecks, blocks and lame cows in time.",
            wide=True,
            cards=True,
        ),
        Panel("plan-day", "Cows of the day chosen, or of the first one", _day, wide=True),
    ),
)
