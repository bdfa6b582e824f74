"""What the pages of lesions and of locomotion have in common: months taken together, and year over year."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.rolling_window import MONTHS, rolling
from evenfoot.analytics.measures.lameness.years import years
from evenfoot.dashboard.charts import findings_in_time
from evenfoot.dashboard.charts import rolling as drawn_rolling
from evenfoot.dashboard.charts import years as drawn_years
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages.dated_changes import with_changes
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View

WINDOWS = ("3", "6", "12")


def window(view: View) -> int:
    """Months taken together."""
    chosen = view.option("window", str(MONTHS))
    return int(chosen) if chosen in WINDOWS else MONTHS


def window_choice(view: View) -> Any:
    """How many months are taken together."""
    return dmc.Select(
        label=_("Months taken together"),
        id={"type": "choice", "field": "window"},
        data=[{"value": each, "label": _("{n} months", n=int(each))} for each in WINDOWS],
        value=str(window(view)),
        allowDeselect=False,
        checkIconPosition="right",
    )


def rolling_panel(name: str, outcome: str) -> Panel:
    """Months taken together, of lameness or of lesions."""

    def draw(ledger: Ledger, view: View) -> Drawn:
        answer = rolling(ledger, view.selection, months=window(view), outcome=outcome)

        def to(row: dict[str, Any]) -> str:
            last = pd.Timestamp(row["month"]) + pd.offsets.MonthEnd(0)
            return view.changed(since=pd.Timestamp(row["from_month"]).date(), until=last.date(), span=None).href

        figure = drawn_rolling.rolling(with_changes(ledger, view, answer), **view.look, drill=lambda row: mark(to(row)))
        return Drawn(
            figure, answer, drawn_rolling.describe(answer), to, finding=findings_in_time.newest_stretch(answer)
        )

    return Panel(
        name,
        "Several months together, month after month",
        draw,
        "Share of scorings that were lame, or of trims with the lesion, in the months up to and with each month, so "
        "that small months count for little and, with twelve months, the season is held alike. Choose a point to see "
        "the records of its months.",
        wide=True,
        over_time=True,
    )


def years_panel(name: str, outcome: str) -> Panel:
    """This year over the years before, of lameness or of lesions."""

    def draw(ledger: Ledger, view: View) -> Drawn:
        answer, to = years(ledger, view.selection, outcome=outcome), choosing_by(view, "month")
        figure = drawn_years.years(answer, **view.look, drill=lambda row: mark(to(row)))
        lead = [html.P(line, className="lead") for line in drawn_years.sentences(answer)]
        finding = findings_in_time.this_year(answer)
        return Drawn(figure, answer, drawn_years.describe(answer), _to_year(view), lead=lead, finding=finding)

    return Panel(
        name,
        "This year over the years before",
        draw,
        "Share of scorings that were lame, or of trims with the lesion, month by month. The sentences compare this "
        "year up to its newest month with the same months of each year before; cows that are in both years are "
        "compared with themselves.",
        wide=True,
        over_time=True,
    )


def _to_year(view: View) -> Callable[[dict[str, Any]], str]:
    return choosing_by(view, "year")
