"""Farms: which lie outside what luck explains, and in what order, without punishing luck."""

from __future__ import annotations

from typing import Any

import dash_ag_grid as dag
import dash_mantine_components as dmc
from dash import html

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.benchmark import benchmark
from analytics.words import say
from dashboard.charts.describe_more import describe
from dashboard.charts.frame import records
from dashboard.charts.funnel import funnel, outside_words
from dashboard.charts.labels import column_label
from dashboard.charts.shrunken import shrunken
from dashboard.language import _, told
from dashboard.page import Page
from dashboard.pages.warning import lesion_choice
from dashboard.panel import Drawn, Panel, mark, number_table, rests_on
from dashboard.view import View

GRID_PAGE = 25
COUNTED = {"cow": say("Cows in the period"), "trim": say("Trims")}
SHARES = ("prevalence", "shrunken", "shrunken_low", "shrunken_high")


def compared(ledger: Ledger, view: View) -> Answer:
    """The benchmark of all farms the viewer may see: one farm alone cannot be compared."""
    return benchmark(ledger, view.selection.with_(farms=()), per=per(view))


def per(view: View) -> str:
    """Whether cows or trims are counted; a farm that trims more often finds more per cow."""
    chosen = view.option("per", "cow")
    return chosen if chosen in COUNTED else "cow"


def _to_herd(view: View) -> Any:
    def to(row: dict[str, Any]) -> str:
        return view.open("/", farms=(row["farm"],), lesions=())

    return to


def _funnel(ledger: Ledger, view: View) -> Drawn:
    answer, to = compared(ledger, view), _to_herd(view)
    figure = funnel(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe("funnel", answer), to)


def _ranks(ledger: Ledger, view: View) -> Drawn:
    answer, to = compared(ledger, view), _to_herd(view)
    figure = shrunken(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe("shrunken", answer), to)


def _table(ledger: Ledger, view: View) -> Any:
    answer = compared(ledger, view)
    if answer.empty:
        return rests_on(answer)
    rows = [
        {
            "farm": row["farm"],
            "cases": int(row["cases"]),
            "at_risk": int(row["at_risk"]),
            **{name: None if row[name] != row[name] else round(100 * row[name], 1) for name in SHARES},
            "rank": None if row["rank"] != row["rank"] else int(row["rank"]),
            "outside": outside_words(row),
        }
        for row in records(answer.table)
    ]
    heads = {name: column_label(name) for name in ("farm", "cases", "at_risk", *SHARES, "rank", "outside")}
    heads |= {name: f"{column_label(name)}, %" for name in SHARES}
    grid = dag.AgGrid(
        id="farms-grid",
        rowData=rows,
        columnDefs=[
            {
                "field": name,
                "headerName": head,
                "minWidth": 190 if name in ("farm", "outside") else 110,
                "flex": 2 if name in ("farm", "outside") else 1,
                "type": None if name in ("farm", "outside") else "numericColumn",
                "wrapHeaderText": True,
                "autoHeaderHeight": True,
            }
            for name, head in heads.items()
        ],
        defaultColDef={"sortable": True, "filter": True, "resizable": True},
        dashGridOptions={
            "domLayout": "autoHeight",
            "pagination": len(rows) > GRID_PAGE,
            "paginationPageSize": GRID_PAGE,
        },
        style={"height": None},
    )
    return [rests_on(answer), grid]


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
    title="Farms",
    question="Which farms lie outside what luck explains? Choose a farm to open its herd.",
    choices=_choices,
    panels=(
        Panel(
            "farms-funnel",
            "Farms against what luck explains",
            _funnel,
            "Each farm's share with a lesion against the number looked at. The band is where a farm with the "
            "share of all together may lie by luck; it is widened when farms differ more than luck explains.",
            wide=True,
        ),
        Panel(
            "farms-ranks",
            "In order, drawn towards the mean",
            _ranks,
            "A farm with few cows is drawn further towards the mean of all. The place is given with its doubt: farms "
            "whose places overlap are not told apart.",
            wide=True,
        ),
        Panel("farms-table", "Table to sort", _table, wide=True),
        Panel("farms-published", "Published figures", _published, wide=True),
    ),
)
