"""Where the marks of a panel lead, as links: the keyboard reaches what the mouse does, whatever the chart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dash import html

from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.period_filter import span_words
from evenfoot.dashboard.ui.shell import CHIPS
from evenfoot.dashboard.ui.view import View


def unlisted_links(drawn: Drawn, shown: int) -> html.Div | None:
    """The addresses that marks lead to and none of the first *shown* rows of the table does; None without any."""
    said = set(_of_rows(drawn, shown))
    rest = [to for to in dict.fromkeys(_of_marks(drawn)) if to not in said]
    if not rest:
        return None
    links = [html.Li(html.A(words_of(to), href=to)) for to in rest]
    return html.Div([html.H3(_("Where the marks lead")), html.Ul(links, className="leads")])


def words_of(address: str) -> str:
    """What an address narrows to, in words: ``Larkmoor, RH, Outer claw, Zone 4``."""
    path, _mark, search = address.partition("?")
    view = View.read(path, f"?{search}")
    parts = [value_label(column, value) for field, column in CHIPS.items() for value in getattr(view.selection, field)]
    if view.selection.since and view.selection.until:
        parts.append(f"{value_label('date', view.selection.since)} - {value_label('date', view.selection.until)}")
    parts += [span_words(view.options["span"])] if "span" in view.options else []
    parts += [f"{column_label('cow')} {view.options['cow']}"] if "cow" in view.options else []
    return ", ".join([*view.selection.farms, *parts]) or _("All records")


def _of_rows(drawn: Drawn, shown: int) -> Iterator[str]:
    if drawn.rows_to is None:
        return
    for row in records(drawn.answer.table.head(shown)):
        to = drawn.rows_to(row)
        if to:
            yield to


def _of_marks(drawn: Drawn) -> Iterator[str]:
    for figure in (drawn.figure, *(figure for figure, _words in drawn.beside)):
        for trace in figure.data if figure is not None else ():
            data = getattr(trace, "customdata", None)
            if data is not None:
                yield from _destinations(list(data))


def _destinations(carried: Any) -> Iterator[str]:
    if isinstance(carried, dict):
        if carried.get("to"):
            yield str(carried["to"])
    elif isinstance(carried, (list, tuple)):
        for each in carried:
            yield from _destinations(each)
