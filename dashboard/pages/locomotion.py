"""Locomotion: is lameness rising, where, and who is lame now."""

from __future__ import annotations

from typing import Any

from dash import html

from analytics.ledger import Ledger
from analytics.measures.locomotion import locomotion
from analytics.tally.scoring import lame_cows
from dashboard.charts import describe
from dashboard.charts import locomotion as drawn_locomotion
from dashboard.language import _, _n
from dashboard.page import Page
from dashboard.pages.dated_changes import form, with_changes
from dashboard.pages.over_time import rolling_panel, window_choice, years_panel
from dashboard.panel import TABLE_ROWS, Drawn, Panel, mark, number_table, rests_on
from dashboard.span import choosing_by
from dashboard.view import View


def _trend(ledger: Ledger, view: View) -> Drawn:
    answer, to = locomotion(ledger, view.selection, by=("month",)), choosing_by(view, "period", "month")
    marked = with_changes(ledger, view, answer)
    figure = drawn_locomotion.locomotion(marked, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe.describe("locomotion", answer), to)


def _lame_now(ledger: Ledger, view: View) -> Any:
    answer = locomotion(ledger, view.selection, by=("month",))
    lame = lame_cows(ledger, view.selection, TABLE_ROWS)
    if answer.empty:
        return rests_on(answer)

    to = view.to_cows()
    if not lame.n:
        return [rests_on(answer), html.P(_("No cow was lame at her newest scoring."), className="empty")]
    return [
        rests_on(answer),
        html.P(
            _n(
                "{n} cow was lame when last scored, severely so: {severe}. A severely lame cow needs someone today: "
                "ask "
                "your veterinarian.",
                "{n} cows were lame when last scored, {severe} of them severely. A severely lame cow needs someone "
                "today: "
                "ask your veterinarian.",
                lame.n,
                severe=lame.severe,
            )
        ),
        number_table(lame.table.drop(columns="severe"), to, _("Cows lame when last scored")),
        # A registry has more cows than a page can list, and than need to leave the engine.
        html.P(_("These are the first {n}. Choose a farm or a period to see others.", n=len(lame.table)))
        if lame.n > len(lame.table)
        else None,
    ]


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(window_choice(view), className="choices")


PAGE = Page(
    path="/locomotion",
    title="Locomotion",
    question="What share of the cows is lame, is it rising, and which cows are lame now.",
    choices=_choices,
    panels=(
        Panel(
            "locomotion-trend",
            "Cows lame and severely lame, month by month",
            _trend,
            "Scorings of 3 or more (0-3 scale: 2 or more) out of all scorings in the month; severely lame is 4 or "
            "more (0-3 scale: 3). Choose a month to see who was lame then.",
            wide=True,
            over_time=True,
            form=form,
        ),
        rolling_panel("locomotion-rolling", "lameness"),
        years_panel("locomotion-years", "lameness"),
        Panel("locomotion-lame", "Cows lame when last scored", _lame_now, wide=True),
    ),
)
