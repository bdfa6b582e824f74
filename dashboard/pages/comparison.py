"""Comparison: do housing, floor, season and the rest go together with more or less disease."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from analytics.ledger import Ledger
from analytics.measures.comparison import comparison
from analytics.measures.locomotion import locomotion
from analytics.trade.lesions import LESIONS
from dashboard.charts import comparison as drawn_comparison
from dashboard.charts import describe
from dashboard.charts import locomotion as drawn_locomotion
from dashboard.charts.labels import column_label, value_label
from dashboard.page import Page
from dashboard.panel import Drawn, Panel, mark
from dashboard.view import View

GROUPINGS = ("housing", "floor", "wetness", "season", "group", "parity", "breed", "trimmer", "farm", "year")


def _by(view: View) -> str:
    by = view.option("by", "housing")
    return by if by in GROUPINGS else "housing"


def _risks(ledger: Ledger, view: View) -> Drawn:
    by = _by(view)
    answer = comparison(ledger, view.selection, by=(by,), reference=view.options.get("reference"))

    def to(row: dict[str, Any]) -> str:
        return view.changed(reference=row["group"]).href

    figure = drawn_comparison.risks(answer, **view.look, drill=lambda row: mark(to(row)))
    ratios = drawn_comparison.ratios(answer, **view.look)
    return Drawn(
        figure,
        answer,
        describe.describe("comparison", answer),
        to,
        beside=((ratios, describe.describe("ratios", answer)),),
    )


def _lameness(ledger: Ledger, view: View) -> Drawn:
    by = _by(view)
    answer = locomotion(ledger, view.selection, by=("quarter", by if by not in ("year", "season") else "housing"))
    return Drawn(
        drawn_locomotion.by_group(answer, **view.look),
        answer,
        describe.describe("locomotion", answer),
    )


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(
        [
            dmc.Select(
                label="Compare by",
                id={"type": "choice", "field": "by"},
                data=[{"value": name, "label": column_label(name)} for name in GROUPINGS],
                value=_by(view),
                allowDeselect=False,
            ),
            dmc.MultiSelect(
                label="Lesions that count",
                id={"type": "choice", "field": "lesions"},
                data=[{"value": code, "label": value_label("lesion", code)} for code in LESIONS],
                value=list(view.selection.lesions),
                placeholder="Any lesion" if not view.selection.lesions else "",
                clearable=True,
                searchable=True,
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/comparison",
    title="Comparison",
    question=(
        "Do groups differ: housing, ground, season, parity, trimmer. Choose a group in the first chart to compare "
        "the others with it."
    ),
    choices=_choices,
    panels=(
        Panel(
            "comparison-risks",
            "Share of cows in each group, and against the reference",
            _risks,
            "Share: cows that are a case at any trim while in the group, out of all cows trimmed while in it. Ratio: "
            "the group's share divided by the reference group's; 1 is no difference.",
            wide=True,
        ),
        Panel(
            "comparison-lameness",
            "Cows lame in each group, quarter by quarter",
            _lameness,
            "Lame scorings out of all scorings of the group in the quarter.",
            wide=True,
        ),
    ),
)
