"""The list: which cows are due, for whom and why."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.worklist import as_of, day_of, worklist
from evenfoot.analytics.queries.selection import read_date
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, telling
from evenfoot.dashboard.ui.view import View

ABOUT = ("foot", "claw", "lesion", "action", "recheck_on", "also")
"""Where, what, what was done, when to look again."""

SHOWN = ("cow", "farm", "who", "due_on", "reason", *ABOUT)
"""What is seen at once; what is empty, or the same farm in every row, is left out."""

COLUMNS = (
    *SHOWN, "score", "scored_on", "group", "days_in_milk", "looked_on",
    "expected_mm", "expected_low", "expected_high", "toe_from",
)  # fmt: skip


def day_asked(view: View) -> dt.date | None:
    """The day in the address that a list is asked for; without one it is of today."""
    asked = view.options.get("on")
    return read_date(asked, "on") if asked else None


def day_line(answer: Answer) -> html.P:
    """The day of a list and how old its newest record is."""
    return html.P(told(as_of(day_of(answer))), className="basis")


def day_choice(view: View) -> Any:
    """Where the day of a list is chosen."""
    return dmc.DatePickerInput(
        label=_("As of"),
        id={"type": "choice", "field": "on"},
        value=view.options.get("on"),
        placeholder=_("Today"),
        valueFormat="D MMM YYYY",
        clearable=True,
        clearButtonProps={"aria-label": _("Today")},
    )


def _choices(ledger: Ledger, view: View) -> Any:
    parts = [day_choice(view)]
    if current_viewer().may("import sheets"):
        # A page of its own, which is not part of this one.
        parts.append(html.A(_("Write down at the chute"), href="/chute", target="_self", className="take"))
    return html.Div(parts, className="choices")


def _list(ledger: Ledger, view: View) -> Drawn:
    answer = worklist(ledger, view.selection, on=day_asked(view))
    lead: list[Any] = [day_line(answer)]
    if not answer.empty:
        count = answer.table["who"].value_counts()
        lead.append(
            html.P(
                _(
                    "Cows for the veterinarian: {veterinarian}; for the trimmer: {trimmer}; to be left alone and "
                    "watched: "
                    "{watch}; the most pressing first.",
                    veterinarian=count.get("veterinarian", 0),
                    trimmer=count.get("trimmer", 0),
                    watch=count.get("watch", 0),
                )
            )
        )
    table = answer.table.reindex(columns=list(COLUMNS))
    if len(table):
        table = table.round({name: 1 for name in COLUMNS if name.startswith("expected")})
    narrowed = dataclasses.replace(answer, table=table)
    return Drawn(
        None,
        narrowed,
        "",
        view.to_cows(),
        lead,
        finding=findings.cows_due(narrowed),
        columns=tuple(telling(table, SHOWN)),
    )


PAGE = Page(
    path="/worklist",
    title="Who is due",
    group="visits",
    question="Which cows should someone see, who, and why? Choose a cow to see all that is recorded of her.",
    choices=_choices,
    panels=(
        Panel(
            "worklist-cows",
            "Cows that are due",
            _list,
            "Cows in the herd on the day, with everything that is open or falls due within four weeks. First those for "
            "the veterinarian, then what is open today, then by how severe the reason is, by locomotion score and by "
            "how long it has waited.",
            wide=True,
            cards=True,
        ),
    ),
)
