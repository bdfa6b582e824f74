"""Every mark that says something when pointed at leads somewhere, and the keyboard gets there by a link."""

from __future__ import annotations

from typing import Any

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.charts.plain import Figure
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.view import View
from tests.charts.checked import checked

NOTHING_BEHIND = {
    "planning-how-many": "worked out, not counted",
    "records-scores": "no page is about one person's scores",
    "horn-claws": "an explanation of the stages",
    "locomotion-sound-again": "days between two scorings, which no page lists",
    "records-agreement": "pairs of two people's records of one cow, which no page lists",
    "warning-trend": "the one herd that is open already; farms side by side lead to each",
}
"""Panels whose marks have no records of their own to open."""


def marks_of(figure: Figure) -> list[tuple[int, int]]:
    """For every trace that answers to pointing: how many of its points lead somewhere, of how many."""
    out = []
    for trace in figure.data:
        if (
            trace.hoverinfo == "skip"
            or trace.type not in ("scatter", "bar")
            or getattr(trace, "mode", "") in ("lines", "text")
        ):
            continue
        points = [x for x in (trace.x if trace.x is not None else ()) if x is not None]
        carried = trace.customdata if trace.customdata is not None else ()
        if len(points):
            out.append((sum(1 for each in carried if isinstance(each, dict) and each.get("to")), len(points)))
    return out


def drawn(ledger: Ledger, name: str) -> tuple[View, Any]:
    page = next(page for page in PAGES.values() if PANELS[name] in page.panels)
    view = View.read(page.path, "?farms=Larkmoor&cow=1420&visits=all&theme=night")
    return view, PANELS[name].draw(ledger, view)


@pytest.mark.parametrize("name", [name for name in PANELS if name not in NOTHING_BEHIND])
def test_every_mark_leads_to_a_page_there_is(demo_ledger: Ledger, name: str) -> None:
    view, found = drawn(demo_ledger, name)
    if not isinstance(found, Drawn):
        return
    figures = [figure for figure in (found.figure, *(figure for figure, _ in found.beside)) if figure is not None]
    if name == "cow-timeline":
        figures = [Figure([trace for trace in figures[0].data if trace.customdata is not None])]
    addresses = [
        each["to"]
        for figure in figures
        for trace in figure.data
        for each in (trace.customdata if trace.customdata is not None else ())
        if isinstance(each, dict)
    ]
    for figure in figures:
        checked(figure)
        pairs = marks_of(figure)
        reached = [pair for pair in pairs if pair[0]]
        assert not pairs or sum(n for n, _ in reached) >= 0.8 * sum(n for _, n in pairs), pairs
    for row in found.answer.table.head(40).to_dict("records"):
        to = found.rows_to({str(k): v for k, v in row.items()}) if found.rows_to else None
        addresses += [to] if to else []
    for address in set(addresses):
        path, _, search = address.partition("?")
        assert path in PAGES
        again = View.read(path, search)
        assert again.theme == "night", f"{address} forgets the colours of the page"
        assert again.href == address or set(again.search.split("&")) == set(("?" + search).split("&"))
    assert view.theme == "night"
