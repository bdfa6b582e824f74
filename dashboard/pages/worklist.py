"""The list: which cows are due, for whom and why."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from dash import html

from analytics.ledger import Ledger
from analytics.measures.worklist import worklist
from analytics.tally.due import newest_record
from analytics.tally.selection import read_date
from dashboard.language import _
from dashboard.page import Page
from dashboard.panel import Drawn, Panel
from dashboard.view import View

COLUMNS = (
    "cow", "farm", "who", "due_on", "reason", "group", "days_in_milk", "looked_on", "expected_mm", "expected_low",
    "expected_high", "toe_from",
)  # fmt: skip


def today_of(ledger: Ledger, view: View) -> dt.date | None:
    """The day asked for; else the end of the period where records go on after it; else that of the newest record."""
    asked = view.options.get("on")
    if asked:
        return read_date(asked, "on")
    newest, until = newest_record(ledger, view.selection), view.selection.until
    return until if until is not None and newest is not None and until < newest else newest


def _list(ledger: Ledger, view: View) -> Drawn:
    answer = worklist(ledger, view.selection, on=today_of(ledger, view))

    to = view.to_cows()
    lead: list[Any] = []
    if not answer.empty:
        count = answer.table["who"].value_counts()
        lead.append(
            html.P(
                _(
                    "Cows for the veterinarian: {veterinarian}; for the trimmer: {trimmer}; to be left alone and "
                    "watched: "
                    "{watch}; the most pressing first.",
                    veterinarian=count.get("veterinarian", 0),
                    trimmer=count.get("trimmer", 0),
                    watch=count.get("watch", 0),
                )
            )
        )
    table = answer.table.reindex(columns=list(COLUMNS))
    if len(table):
        table = table.round({name: 1 for name in COLUMNS if name.startswith("expected")})
    narrowed = dataclasses.replace(answer, table=table)
    return Drawn(None, narrowed, "", to, lead)


PAGE = Page(
    path="/worklist",
    title="Who is due",
    question="Which cows should someone see, who, and why? Choose a cow to see all that is recorded of her.",
    panels=(
        Panel(
            "worklist-cows",
            "Cows that are due",
            _list,
            "Cows in the herd on the day, with everything that is open or falls due within four weeks. First those for "
            "the veterinarian, then by day, then by how pressing the reason is.",
            wide=True,
        ),
    ),
)
