"""Farms: which lie outside the usual spread of farms, and in what order, without punishing luck."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.signals import signals
from evenfoot.analytics.measures.lesions.benchmark import benchmark
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import findings, findings_in_time
from evenfoot.dashboard.charts.describe import describe as describe_plain
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.funnel import outside_words
from evenfoot.dashboard.charts.shrunken import shrunken
from evenfoot.dashboard.charts.small_multiples import small_multiples
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.warning import WATCHED, farm_by_farm, lameness_only, lesion_choice
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import FITTING, Drawn, Panel, mark, number_table, rests_on
from evenfoot.dashboard.ui.period_filter import span_of
from evenfoot.dashboard.ui.view import View

COLUMNS = (
    "farm", "outside", "cases", "at_risk", "prevalence", "shrunken", "shrunken_low", "shrunken_high", "rank",
)  # fmt: skip
COUNTED = {"trim": say("Trims"), "cow": say("Cows in the period")}


def compared(ledger: Ledger, view: View) -> Answer:
    """The benchmark of all farms the viewer may see: one farm alone cannot be compared."""
    return benchmark(ledger, view.selection.with_(farms=()), per=per(view))


def per(view: View) -> str:
    """Whether cows or trims are counted; a farm that trims more often finds more per cow."""
    chosen = view.option("per", "trim")
    return chosen if chosen in COUNTED else "trim"


def _to_herd(view: View) -> Any:
    def to(row: dict[str, Any]) -> str:
        return view.open("/today", farms=(row["farm"],), lesions=())

    return to


def _ranks(ledger: Ledger, view: View) -> Drawn:
    answer, to = compared(ledger, view), _to_herd(view)
    figure = shrunken(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe("shrunken", answer), to, finding=findings.order_of_farms(answer))


def _table(ledger: Ledger, view: View) -> Any:
    """Every farm, in the order of the column chosen."""
    answer = compared(ledger, view)
    if answer.empty:
        return [rests_on(answer)]
    table = answer.table.assign(outside=[outside_words(row) for row in records(answer.table)])[list(COLUMNS)]
    return [
        rests_on(answer),
        html.P(_("Choose a heading to sort by it."), className="basis"),
        number_table(table, _to_herd(view), _("Every farm"), view=view, sortable=True),
    ]


def _signals(outcome: str) -> Callable[[Ledger, View], Drawn]:
    """Signals of lameness, or of the lesion watched, on every farm."""

    def draw(ledger: Ledger, view: View) -> Drawn:
        selection = view.selection.with_(farms=())
        if outcome == "lesion":
            selection = selection.with_(lesions=selection.lesions or (WATCHED,))
        else:
            selection = lameness_only(selection)
        answer = signals(ledger, selection, outcome=outcome)

        return farm_by_farm(answer, view)

    return draw


def _each(ledger: Ledger, view: View) -> Drawn:
    """Every farm over time, side by side on one scale."""
    answer = prevalence(ledger, view.selection.with_(farms=()), by=("quarter", "farm"), per="trim")

    def to(row: dict[str, Any]) -> str:
        span = {"span": span_of("quarter", row["quarter"])}
        return view.open("/lesions", farms=(row["farm"],), lesions=view.selection.lesions, **span)

    figure = small_multiples(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.farms_in_newest_quarter(answer)
    return Drawn(figure, answer, describe_plain("trend", answer), to, finding=finding)


def _published(ledger: Ledger, view: View) -> Any:
    published = compared(ledger, view).extra.get("published")
    if published is None or published.empty:
        return html.P(_("No published figure is known for this choice."), className="empty")
    return [
        html.P(_("Other people's herds, for context. They are no mark to pass or fail."), className="basis"),
        number_table(
            published[["what", "value", "source", "sample"]].rename(columns={"value": "prevalence"}),
            None,
            _("Published figures"),
        ),
    ]


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(
        [
            lesion_choice(view, _("Lesions that count"), _("Any lesion")),
            dmc.Select(
                label=_("Count"),
                id={"type": "choice", "field": "per"},
                data=[{"value": value, "label": told(label)} for value, label in COUNTED.items()],
                value=per(view),
                allowDeselect=False,
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/farms",
    title="Farms compared",
    group="compare",
    question="Which farms lie outside the usual spread of farms? Choose a farm to open it.",
    choices=_choices,
    panels=(
        Panel(
            "farms-ranks",
            "In order, drawn towards the mean",
            _ranks,
            "A farm with few cows is drawn further towards the mean of all. The place is given with its doubt: farms "
            "whose places overlap are not told apart.",
            wide=True,
            busy=FITTING,
        ),
        Panel(
            "farms-watched",
            "Signals of the lesion watched",
            _signals("lesion"),
            "The same for trims that show the lesions that count, digital dermatitis where none is chosen.",
            wide=True,
        ),
        Panel(
            "farms-each",
            "Every farm, quarter by quarter",
            _each,
            "Trims with a lesion out of all trims of the quarter; all on one scale, farms with the most first.",
            wide=True,
        ),
        Panel("farms-table", "Table to sort", _table, wide=True),
        Panel("farms-published", "Published figures", _published, wide=True),
    ),
)
