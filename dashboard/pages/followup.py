"""Recurrence: how often new cases come up, and whether they come back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.incidence import incidence
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.lesions.recurrence import recurrence
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts import incidence as rates
from evenfoot.dashboard.charts.columns import OF_RATE, shown
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.survival import back_within, survival
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages.warning import lesion_choice
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark, number_table, rests_on, telling
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View

LEVELS = {"cow": say("Same cow"), "claw": say("Same claw")}


def level_of(view: View) -> str:
    """Whether the same cow or the same claw is followed."""
    level = view.option("level_of", "cow")
    return level if level in LEVELS else "cow"


def _rates(ledger: Ledger, view: View) -> Drawn:
    answer = incidence(ledger, view.selection, by=("lesion",), per=level_of(view))
    to = _to_lesion(view)
    figure = rates.incidence(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, shown(answer, OF_RATE), describe("incidence", answer), to, finding=findings.new_cases(answer))


def _years(ledger: Ledger, view: View) -> Drawn:
    """By year: a case is dated on the day it was found, so months only show when the trimmer came.

    Two visits within half a year find twice as many in the same time: years that the visits cover in part are left out.
    """
    answer = incidence(ledger, view.selection, by=("year",), per=level_of(view))
    seen = prevalence(ledger, view.selection, by=()).basis
    whole = answer.table["year"].map(lambda year: is_whole(int(year), seen.first, seen.last)).astype(bool)
    left = [str(int(year)) for year in answer.table.loc[~whole, "year"]]
    lead = []
    if left and whole.any():
        answer = replace(answer, table=answer.table[whole])
        said = _("Left out, because the visits cover them in part: {years}.", years=", ".join(left))
        lead = [html.P(said, className="basis")]
    to = choosing_by(view, "year")
    figure = rates.incidence(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings.new_cases(answer, "year") if whole.any() else ""
    return Drawn(figure, shown(answer, OF_RATE), describe("incidence", answer), to, lead=lead, finding=finding)


def is_whole(year: int, first: dt.date | None, last: dt.date | None) -> bool:
    """Whether visits from *first* to *last* cover a year, but for a month at either end.

    Examples
    --------
    >>> is_whole(2024, dt.date(2023, 11, 21), dt.date(2025, 6, 23)), is_whole(2025, None, dt.date(2025, 6, 23))
    (True, False)
    """
    return first is not None and last is not None and first <= dt.date(year, 1, 31) and last >= dt.date(year, 12, 1)


def _to_lesion(view: View) -> Callable[[dict[str, Any]], str]:
    return lambda row: view.changed(lesions=(row["lesion"],)).href


def _back(ledger: Ledger, view: View) -> Drawn:
    """Half a year later, lesion by lesion, or the curve over the whole time where the reader asks for it."""
    level, curve = level_of(view), view.option("curve", "") == "shown"
    answer, to = recurrence(ledger, view.selection, per=level), _to_lesion(view)
    draw = survival if curve else back_within
    figure = draw(answer, per=level, **view.look, drill=lambda row: mark(to(row)))
    link = html.A(
        _("Half a year later, lesion by lesion") if curve else _("How long until it comes back: the curve"),
        href=view.changed(curve=None if curve else "shown").href,
        className="take",
    )
    below = [html.P(link)]
    return Drawn(figure, answer, describe("survival", answer), to, below=below, finding=findings.come_back(answer))


def _repeat(ledger: Ledger, view: View) -> Any:
    answer = recurrence(ledger, view.selection, per=level_of(view))
    frame = answer.extra["repeat_cows"]
    if frame.empty:
        return [rests_on(answer), html.P(_("No cow had the same lesion again in these records."), className="empty")]

    to = view.to_cows()
    cows = frame[["farm", "cow"]].drop_duplicates()
    columns = telling(frame, ("cow", "farm", "lesion", "foot", "claw", "times", "last"))
    return [
        html.P(
            _n(
                "{n} cow had the same lesion in the same place twice or more",
                "{n} cows had the same lesion in the same place twice or more",
                len(cows),
            ),
            className="lead",
        ),
        rests_on(answer),
        html.P(_("Most often first. Ask your veterinarian about a case that keeps coming back.")),
        number_table(frame, to, _("Cows with the same lesion again"), view=view, cards=True, columns=columns),
    ]


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(
        [
            lesion_choice(view, _("Lesions"), _("All lesions")),
            dmc.Select(
                label=_("The same lesion on the"),
                id={"type": "choice", "field": "level_of"},
                data=[{"value": value, "label": told(label)} for value, label in LEVELS.items()],
                value=level_of(view),
                allowDeselect=False,
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/followup",
    title="Recurrence",
    group="herd",
    question="How often do new cases come up, do they come back, and on which cows?",
    choices=_choices,
    panels=(
        Panel(
            "followup-rates",
            "New cases of each lesion",
            _rates,
            "A case is new when the lesion was not recorded there in the ninety days before. The rate is new cases "
            "per 100 cows and month in the herd.",
            wide=True,
        ),
        Panel(
            "followup-years",
            "New cases year by year",
            _years,
            "New cases found in the year, out of the time cows spent in the herd in it. A case is dated on the day it "
            "was found, so shorter periods would only show when the trimmer came.",
            wide=True,
            over_time=True,
        ),
        Panel(
            "followup-back",
            "Half a year later",
            _back,
            "Share of cases of the lesion that were back within 180 days of being last seen. The curve begins "
            "on the day a case was last seen and falls with the same lesion again, ninety days later or more (Kaplan "
            "and Meier); a cow that is not seen again counts up to her last trim.",
            wide=True,
        ),
        Panel("followup-repeat", "Cows with the same lesion again", _repeat, wide=True),
    ),
)
