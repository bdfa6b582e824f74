"""Locomotion: is lameness rising, where, and who is lame now."""

from __future__ import annotations

from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lameness.resolution import resolution
from evenfoot.analytics.measures.planning.worklist import day_of, needing_someone
from evenfoot.analytics.queries.cow_status import SCORE_DAYS
from evenfoot.dashboard.charts import describe, findings, findings_in_time
from evenfoot.dashboard.charts import locomotion as drawn_locomotion
from evenfoot.dashboard.charts import prevalence as bars
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.dated_changes import form, with_changes
from evenfoot.dashboard.pages.over_time import rolling_panel, window_choice, years_panel
from evenfoot.dashboard.pages.worklist import ABOUT, day_asked, day_line
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark, number_table, telling
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View

LAME = {"severe", "lame"}
"""Reasons to see a cow that come from her score."""


def _trend(ledger: Ledger, view: View) -> Drawn:
    answer, to = locomotion(ledger, view.selection, by=("month",)), choosing_by(view, "period", "month")
    marked = with_changes(ledger, view, answer)
    figure = drawn_locomotion.locomotion(marked, **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.newest_month(answer, "lame_prevalence", "period")
    return Drawn(figure, answer, describe.describe("locomotion", answer), to, finding=finding)


def _sound_again(ledger: Ledger, view: View) -> Drawn:
    answer = resolution(ledger, view.selection)
    finding = findings.sound_again(answer)
    return Drawn(bars.prevalence(answer, **view.look), answer, describe.describe("prevalence", answer), finding=finding)


def _lame_now(ledger: Ledger, view: View) -> Any:
    """The cows of the list of who is due that are on it because they were lame when last scored."""
    answer = needing_someone(ledger, view.selection, on=day_asked(view))
    if day_of(answer).newest is None:
        return html.P(told(answer.cautions[0]), className="empty")
    of_score = answer.table["kinds"].map(lambda kinds: bool(LAME & set(kinds.split(",")))).astype(bool)
    lame = answer.table[of_score]
    severe = sum("severe" in kinds.split(",") for kinds in lame["kinds"])
    day = day_line(answer)
    if lame.empty:
        none = _("No cow was severely lame when last scored, and none was lame that nobody has looked at since.")
        return [day, html.P(none, className="empty"), html.P(_age_limit(), className="basis")]
    columns = telling(lame, ("cow", "farm", "score", "scored_on", "reason", *ABOUT, "group"))
    return [
        html.P(
            _(
                "Severely lame when last scored: {severe}; lame and not looked at since: {lame}",
                severe=severe,
                lame=len(lame) - severe,
            ),
            className="lead",
        ),
        html.P(_("A severely lame cow needs someone today: ask your veterinarian.")) if severe else None,
        day,
        html.P(_age_limit(), className="basis"),
        number_table(lame, view.to_cows(), _("Cows lame when last scored"), view=view, cards=True, columns=columns),
    ]


def _age_limit() -> str:
    return _(
        "These are the cows on the list of who is due that were severely lame, or lame and not looked at since. A "
        "score older than {days} days is left out, and so is a cow that has left the herd.",
        days=SCORE_DAYS,
    )


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(window_choice(view), className="choices")


PAGE = Page(
    path="/locomotion",
    title="Locomotion",
    group="herd",
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
        Panel(
            "locomotion-sound-again",
            "Sound again at the next scoring, by the days between",
            _sound_again,
            "Lame cows that were sound at their next scoring, out of the lame cows scored again so long after.",
            wide=True,
        ),
        Panel("locomotion-lame", "Cows lame when last scored", _lame_now, wide=True),
    ),
)
