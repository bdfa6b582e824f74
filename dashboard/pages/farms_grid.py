"""The farms in a grid to sort and filter; choosing a row, by mouse or with the space bar, opens its herd."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import dash_ag_grid as dag
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.signals import signals
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.funnel import outside_words
from evenfoot.dashboard.charts.labels import column_label
from evenfoot.dashboard.i18n.reader_settings import for_grids
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.ui.panel import rests_on
from evenfoot.dashboard.ui.view import View

GRID_PAGE = 25
HEAD = 76
"""Pixels of the headings, three lines and their room."""

SHARES = ("prevalence", "shrunken", "shrunken_low", "shrunken_high")
WORDS = ("farm", "outside")
COLUMNS = ("farm", "cases", "at_risk", *SHARES, "rank", "outside", "lame_prevalence", "signals_a_year")


def grid(ledger: Ledger, view: View, answer: Answer, to: Callable[[dict[str, Any]], str]) -> list[Any]:
    """The grid of a benchmark, with how lame each herd was in its newest month and how many signals it gave."""
    if answer.empty:
        return [rests_on(answer)]
    herds = signals(ledger, view.selection.with_(farms=()), outcome="lameness").table.set_index("farm")
    lame = herds.to_dict("index")
    rows = [_row(row, lame.get(row["farm"], {}), to) for row in records(answer.table)]
    return [
        rests_on(answer),
        html.P(
            _(
                "Choose a heading to sort by it, a row to open its herd; from the keyboard, Enter sorts and the space "
                "bar opens."
            ),
            className="basis",
        ),
        dag.AgGrid(
            id="farms-grid",
            rowData=rows,
            columnDefs=[_column(name) for name in COLUMNS],
            defaultColDef={"sortable": True, "filter": True, "resizable": True},
            dashGridOptions={
                "localeText": for_grids(),
                "domLayout": "autoHeight",
                "headerHeight": HEAD,
                "pagination": len(rows) > GRID_PAGE,
                "paginationPageSize": GRID_PAGE,
                "paginationPageSizeSelector": False,
                "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
            },
            style={"height": None},
        ),
    ]


def _row(row: dict[str, Any], lame: dict[Any, Any], to: Callable[[dict[str, Any]], str]) -> dict[str, Any]:
    return {
        "to": to(row),
        "farm": row["farm"],
        "cases": int(row["cases"]),
        "at_risk": int(row["at_risk"]),
        **{name: _percent(row[name]) for name in SHARES},
        "rank": None if row["rank"] != row["rank"] else int(row["rank"]),
        "outside": outside_words(row),
        "lame_prevalence": _percent(lame.get("prevalence", float("nan"))),
        "signals_a_year": int(lame["signals_a_year"]) if lame else None,
    }


def _percent(share: float) -> float | None:
    return None if share != share else round(100 * share, 1)


def _column(name: str) -> dict[str, Any]:
    percent = name in SHARES or name == "lame_prevalence"
    return {
        "field": name,
        "headerName": f"{column_label(name)}, %" if percent else column_label(name),
        # A heading has three lines of this width; the funnel that narrows stands beside it in columns of words.
        "minWidth": 190 if name in WORDS else 118,
        "filter": name in WORDS,
        "flex": 2 if name in WORDS else 1,
        "type": None if name in WORDS else "numericColumn",
        "wrapHeaderText": True,
    }
