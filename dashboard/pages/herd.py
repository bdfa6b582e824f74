"""The herd now: what is up, what is down, what to look at next, on which records it rests."""

from __future__ import annotations

import dataclasses
from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.dashboard.charts import describe, findings, findings_in_time
from evenfoot.dashboard.charts import locomotion as drawn_locomotion
from evenfoot.dashboard.charts import prevalence as bars
from evenfoot.dashboard.charts.columns import OF_SUMMARY, shown
from evenfoot.dashboard.charts.verdicts import called_first, verdict_sentences, verdicts_of_farms
from evenfoot.dashboard.i18n.translation import words
from evenfoot.dashboard.pages.herd_signals import driven_by, fired
from evenfoot.dashboard.pages.herd_table import changes_table
from evenfoot.dashboard.pages.lesions import CLEARED
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View


def _review(ledger: Ledger, view: View) -> Any:
    answer = summary(ledger, view.selection)
    if answer.empty:
        return Drawn(None, answer, "")

    one = tuple(answer.table["farm"].unique()[:1])

    def to(row: dict[str, Any]) -> str:
        farms = (row["farm"],) if "farm" in row else one
        if row["what"] in ("lame", "severe"):
            return view.open("/locomotion", farms=farms)
        lesions = () if row["what"] == "any" else (row["what"],)
        return view.open("/lesions", **{**CLEARED, "farms": farms, "lesions": lesions})

    table = answer.table
    if table["farm"].nunique() > 1:
        called = dataclasses.replace(answer, table=called_first(table).reset_index(drop=True))
        lead = _lead(verdicts_of_farms(table, words()))
        worse = findings.herds_called(answer)
        return Drawn(None, shown(called, OF_SUMMARY, leave=("first",)), "", to, lead=lead, finding=worse)
    return Drawn(
        None,
        shown(answer, OF_SUMMARY, leave=("farm", "first")),
        "",
        to,
        lead=_lead(verdict_sentences(table, words())),
        finding=findings.called(answer),
        table=changes_table(ledger, view, answer, to),
    )


def _lead(sentences: list[str]) -> list[Any]:
    return [html.P(sentence, className="lead") for sentence in sentences]


def _lameness(ledger: Ledger, view: View) -> Drawn:
    answer, to = locomotion(ledger, view.selection, by=("month",)), choosing_by(view, "period", "month")
    figure = drawn_locomotion.locomotion(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.newest_month(answer, "lame_prevalence", "period")
    return Drawn(figure, answer, describe.describe("locomotion", answer), to, finding=finding)


def _common(ledger: Ledger, view: View) -> Drawn:
    selection = view.selection.with_(**CLEARED)
    answer = prevalence(ledger, selection, by=("lesion",))

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", **{**CLEARED, "lesions": (row["lesion"],)})

    figure = bars.prevalence(answer, **view.look, drill=lambda row: mark(to(row)))
    said = describe.describe("prevalence", answer)
    return Drawn(figure, answer, said, to, finding=findings.commonest_lesion(answer))


PAGE = Page(
    path="/herd",
    title="Better or worse",
    group="herd",
    question="Better or worse than this herd's own past, and in which cows.",
    panels=(
        Panel(
            "herd-review",
            "Better, worse, or no clear change",
            _review,
            "The newest visit, with those of the 75 days before it, against what the herd's own visits of the three "
            "years before lead one to expect in these months. Worse or better is said only where a herd in which "
            "nothing changes would show as much in at most one of twenty.",
            wide=True,
            cards=True,
        ),
        Panel(
            "herd-drivers",
            "What drives it: in which cows lameness has changed",
            driven_by,
            "The same difference within each group, lactation and housing; each cow is compared with herself.",
            wide=True,
        ),
        Panel(
            "herd-signals",
            "Signals of late",
            fired,
            "A month outside the limits of the control chart in the newest half year.",
            wide=True,
        ),
        Panel(
            "herd-lameness",
            "Lameness month by month",
            _lameness,
            "Lame scorings out of all scorings in the month. Choose a month to see the other figures for it alone.",
            over_time=True,
        ),
        Panel(
            "herd-lesions",
            "Most common lesions",
            _common,
            "A cow counts once for a lesion if any of her trims in the period shows it.",
        ),
    ),
)
