"""Records: how complete they are, and whether two people write down the same."""

from __future__ import annotations

import dataclasses
from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.herd_counts import herd_counts
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.quality.agreement import agreement
from evenfoot.analytics.measures.quality.record_quality import record_quality
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts.agreement import agreement as drawn_agreement
from evenfoot.dashboard.charts.columns import OF_KAPPA, shown
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label
from evenfoot.dashboard.charts.quality import COMPLETE, SCORES, completeness, score_shares, sentence_words
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, counted, mark, number_table, rests_on
from evenfoot.dashboard.ui.view import View


def of_check(ledger: Ledger, view: View, check: str) -> Answer:
    """One of the checks of the records."""
    answer = record_quality(ledger, view.selection)
    if answer.empty:
        return answer
    table = answer.table[answer.table["check"] == check]
    return dataclasses.replace(answer, table=table)


def in_words(answer: Answer) -> Answer:
    """The numbers of a check as a person reads them: fields by name, without what is the same in every row."""
    if answer.empty:
        return answer
    table = answer.table.drop(columns=["check", "sentence", "p_value", "p_adjusted"])
    if answer.table["check"].iloc[0] == COMPLETE:
        table = table.assign(field=[column_label(str(field)) for field in table["field"]])
    return dataclasses.replace(answer, table=table.dropna(axis="columns", how="all"))


def _complete(ledger: Ledger, view: View) -> Drawn:
    answer = of_check(ledger, view, COMPLETE)

    def to(row: dict[str, Any]) -> str | None:
        return view.changed(trimmers=(row["trimmer"],)).href if row.get("trimmer") in known else None

    known = {str(name) for name in answer.table.get("trimmer", ()) if isinstance(name, str) and name}
    figure = completeness(answer, **view.look, drill=lambda row: mark(to(row) or view.href))
    finding = findings.least_complete(answer)
    return Drawn(figure, in_words(answer), describe("completeness", answer), to, finding=finding)


def _scores(ledger: Ledger, view: View) -> Drawn:
    answer = of_check(ledger, view, SCORES)
    table = in_words(answer)
    if not answer.empty:
        table = dataclasses.replace(table, table=table.table.assign(p_adjusted=answer.table["p_adjusted"]))
    return Drawn(score_shares(answer, **view.look), table, describe("scores", answer))


def _checks(ledger: Ledger, view: View) -> Any:
    """The other checks as sentences, the most striking first."""
    answer = record_quality(ledger, view.selection)
    if answer.empty:
        return rests_on(answer)
    table = answer.table[~answer.table["check"].isin([COMPLETE, SCORES])]
    table = table.sort_values("p_adjusted", kind="stable")
    if table.empty:
        return [rests_on(answer), html.P(_("Nothing else could be checked in these records."), className="empty")]
    table = table.assign(sentence=[sentence_words(row) for row in records(table)])
    striking = int((table["p_adjusted"] < 1 - answer.basis.level).sum())
    return [
        html.P(
            _("{striking} of {n} checks show more than luck would do", n=len(table), striking=striking),
            className="lead",
        ),
        rests_on(answer),
        html.P(
            _(
                "The most striking first, allowing for how many were made. A difference is a question to ask, not a "
                "fault."
            )
        ),
        number_table(table[["sentence", "check", "month", "n", "p_adjusted"]], None, _("Checks of the records")),
    ]


def _counted(ledger: Ledger, view: View) -> Any:
    """Counts of visits whose cows were not told apart, each with its share; they are in no other figure."""
    answer = herd_counts(ledger, view.selection)
    said = [html.P(told(caution)) for caution in answer.cautions]
    if answer.table.empty:
        return said
    return [
        *said,
        number_table(answer.table.dropna(axis="columns", how="all"), None, _("Counts without cows")),
    ]


def _agreement(ledger: Ledger, view: View) -> Drawn:
    """Both parts of one answer in one panel: its models take seconds over several farms."""
    answer = agreement(ledger, view.selection)
    figure = drawn_agreement(answer, **view.look)
    shares = answer.extra["trimmers"].rename(columns={"lesion": "what"})
    heading = _("How much the trimmer shows in the records")
    below = [
        html.H3(heading),
        html.P(
            _(
                "Of what differs from cow to cow, the part that goes with who trimmed her, on farms that two or more "
                "people trim."
            )
        ),
        number_table(shares, None, heading),
    ]
    described = describe("agreement", answer)
    parts = None if shares.empty else below
    return Drawn(figure, shown(answer, OF_KAPPA), described, below=parts, finding=findings.agreement_of_two(answer))


def _kinds(ledger: Ledger, view: View) -> Drawn:
    """Cows trimmed, by farm and kind of visit."""
    answer = prevalence(ledger, view.selection, by=("farm", "visit_kind"))

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", farms=(row["farm"],), visits=(row["visit_kind"],))

    return Drawn(None, answer, "", to, finding=counted(answer) if answer.basis.cows else "")


AGREEMENT = Panel(
    "records-agreement",
    "Do two people write down the same",
    _agreement,
    "Two people's scores of one cow, or records of one foot, no more than three days apart. Kappa is how far they "
    "agree beyond chance.",
    wide=True,
)

PAGE = Page(
    path="/records",
    title="Records",
    group="more",
    question="What do the figures rest on, and is it complete?",
    panels=(
        Panel(
            "herd-records",
            "What these figures rest on",
            _kinds,
            "Cows trimmed and cows with any lesion, by farm and kind of visit.",
            wide=True,
        ),
        Panel(
            "records-complete",
            "How much is filled in",
            _complete,
            "Records that have the field filled in, out of all records of the person.",
            wide=True,
        ),
        Panel(
            "records-counts",
            "Counts without cows",
            _counted,
            "Sheets that say how many cows had a lesion and name none. The share is the cases of those looked at.",
            wide=True,
        ),
    ),
)

RECORDERS = Page(
    path="/recorders",
    title="Who records",
    group="more",
    question="Do two people write down the same, and does anyone record unlike the others?",
    panels=(
        Panel(
            "records-scores",
            "How each scorer uses the scores",
            _scores,
            "Share of a person's scorings that gave the score. Where two score the same farms, the farm is held alike.",
            wide=True,
        ),
        Panel("records-checks", "What else stands out", _checks, wide=True),
        AGREEMENT,
    ),
)
