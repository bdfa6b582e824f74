"""Records: how complete they are, and whether two people write down the same."""

from __future__ import annotations

from typing import Any

from dash import html

from analytics.ledger import Ledger
from analytics.measures.agreement import agreement
from analytics.measures.record_quality import record_quality
from dashboard.charts.agreement import agreement as drawn_agreement
from dashboard.charts.columns import OF_KAPPA, shown
from dashboard.charts.describe_more import describe
from dashboard.charts.quality import COMPLETE, completeness
from dashboard.page import Page
from dashboard.panel import Drawn, Panel, filled, number_table, rests_on
from dashboard.view import View


def _complete(ledger: Ledger, view: View) -> Drawn:
    answer = record_quality(ledger, view.selection)
    figure = completeness(answer, **view.look)
    return Drawn(figure, answer, describe("completeness", answer))


def _checks(ledger: Ledger, view: View) -> Any:
    answer = record_quality(ledger, view.selection)
    table = answer.table
    if not answer.empty:
        table = table[~table["check"].astype(str).str.startswith(COMPLETE)]
    if table.empty:
        return [rests_on(answer), html.P("Nothing stands out in these records.", className="empty")]
    return [rests_on(answer), number_table(table, None, "What stands out in the records")]


def _agreement(ledger: Ledger, view: View) -> Any:
    """Both parts of one answer in one panel: its models take seconds over several farms."""
    answer = agreement(ledger, view.selection)
    figure = drawn_agreement(answer, **view.look)
    drawn = Drawn(figure, shown(answer, OF_KAPPA), describe("agreement", answer))
    trimmers = answer.extra["trimmers"]
    if trimmers.empty:
        return filled(AGREEMENT, drawn)
    return [
        *filled(AGREEMENT, drawn),
        html.H3("How much the trimmer shows in the records"),
        html.P(
            "Of what differs from cow to cow, the part that goes with who trimmed her, on farms that two or more "
            "people trim."
        ),
        number_table(trimmers, None, "How much the trimmer shows in the records"),
    ]


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
    question="Can the records bear the figures: are they complete, and do two people write down the same?",
    panels=(
        Panel(
            "records-complete",
            "How much is filled in",
            _complete,
            "Records that have the field filled in, out of all records of the person.",
            wide=True,
        ),
        Panel("records-checks", "What stands out", _checks, wide=True),
        AGREEMENT,
    ),
)
