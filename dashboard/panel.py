"""One chart on a page: title, figure, its numbers, how they were worked out, and the ways to take it along."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import pandas as pd
from dash import dcc, html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.language import _, _n, told, words
from evenfoot.dashboard.reader import for_charts
from evenfoot.dashboard.still import held
from evenfoot.dashboard.tables import basis_sentences, csv_text, printable
from evenfoot.dashboard.view import View

NAMED = ("zone", "severity")
"""Numbers that are shown as names."""

SOURCE_LETTERS = 70
"""A list of files longer than this is left to "How was this worked out"."""

TABLE_ROWS = 1000
"""Rows of the numbers under a chart; the CSV always has all."""

PAPER_ROWS = 40
"""Rows of a long list of what has been that are printed; ``print.css`` has the number too."""


COUNTING = say("Counting the records ...")
FITTING = say("Fitting the model ...")


@dataclass(frozen=True)
class Drawn:
    """A panel worked out.

    ``rows_to`` gives for a row of the table the address that clicking its mark leads to, so that the
    keyboard reaches what the mouse does. ``lead`` are components above the chart, such as sentences;
    ``beside`` are further figures of the same answer, each with its description; ``below`` are components
    under the chart. ``first_large`` puts the first figure on a line of its own, the others beside each other.
    """

    figure: plain.Figure | None
    answer: Answer
    describe: str
    rows_to: Callable[[dict[str, Any]], str | None] | None = None
    lead: list[Any] | None = None
    beside: tuple[tuple[plain.Figure, str], ...] = ()
    below: list[Any] | None = None
    first_large: bool = False


@dataclass(frozen=True)
class Panel:
    """A place on a page that is filled on its own.

    ``draw`` takes the ledger and the view and gives a :class:`Drawn`, or Dash components for panels without
    a chart.
    ``formula`` says in words how the figure is worked out. A panel ``over_time`` is the one on which a stretch of
    time is chosen: it keeps the whole period and shows the stretch, while the others follow it. ``busy`` is said
    when drawing takes more than a second. A panel that is ``live`` holds parts that Dash must know, such as a grid; the
    others are told as text. A ``form`` stands under the panel and is put there by Dash when the panel is filled.
    """

    name: str
    title: str
    draw: Callable[[Ledger, View], Any]
    formula: str = ""
    wide: bool = False
    over_time: bool = False
    busy: Message | str = COUNTING
    live: bool = False
    form: Callable[[View], list[Any]] | None = None


def shells(panels: Sequence[Panel]) -> list[Any]:
    """The empty panels that a page shows at once; their contents follow."""
    out: list[Any] = []
    waiting: list[Any] = []
    for panel in panels:
        if panel.live or panel.form:
            out += [held(waiting)] if waiting else []
            waiting = []
            out.append(_live(panel) if panel.live else _with_form(panel))
        else:
            waiting.append(_shell(panel))
    return [*out, held(waiting)] if waiting else out


def _shell(panel: Panel) -> list[Any]:
    return ["section", {"class": _class(panel), "aria-labelledby": f"title-{panel.name}"}, _inside(panel)]


def _class(panel: Panel) -> str:
    return "panel wide" if panel.wide else "panel"


def _inside(panel: Panel) -> list[Any]:
    body = {
        "class": "panel-body",
        "data-panel": panel.name,
        # Shown by the style sheet when drawing takes more than a second.
        "data-busy": told(panel.busy),
    }
    return [
        ["h2", {"id": f"title-{panel.name}"}, [told(panel.title)]],
        ["div", body, [["div", {"class": "skeleton", "aria-hidden": "true"}, []]]],
    ]


def _with_form(panel: Panel) -> html.Section:
    """A panel with a form under it, which Dash fills when the panel stands."""
    return html.Section(
        [
            held(_inside(panel)),
            dcc.Store(id={"type": "due", "name": panel.name}),
            html.Div(id={"type": "panel", "name": panel.name}, className="under"),
        ],
        className=_class(panel),
        **{"aria-labelledby": f"title-{panel.name}", "data-form": ""},
    )


def _live(panel: Panel) -> html.Section:
    """A panel that Dash fills."""
    return html.Section(
        [
            html.H2(told(panel.title), id=f"title-{panel.name}"),
            dcc.Store(id={"type": "due", "name": panel.name}),
            html.Div(
                html.Div(className="skeleton", **{"aria-hidden": "true"}),
                id={"type": "panel", "name": panel.name},
                className="panel-body",
                **{"data-panel": panel.name, "data-busy": told(panel.busy), "data-live": ""},
            ),
        ],
        className=_class(panel),
        **{"aria-labelledby": f"title-{panel.name}"},
    )


def filled(panel: Panel, drawn: Drawn) -> list[Any]:
    """The contents of a panel."""
    answer = drawn.answer
    parts: list[Any] = [*(drawn.lead or []), rests_on(answer)]
    parts += [html.P(told(caution), className="caution") for caution in answer.cautions]
    if answer.cautions:
        # Shown by the browser in place of cautions that a panel further up has said already.
        parts.append(html.P(_("What is cautioned further up holds here too."), className="basis above", hidden=True))
    if answer.empty:
        return parts
    figures = [] if drawn.figure is None else [(drawn.figure, drawn.describe), *drawn.beside]
    if figures:
        parts.append(
            html.Div(
                [_chart(*each) for each in figures],
                className=f"charts{' first-large' * drawn.first_large}" if len(figures) > 1 else None,
            )
        )
        parts.append(_takeaway(panel, answer))
        parts += drawn.below or []
        parts.append(_numbers(panel, drawn))
    else:
        parts.append(number_table(answer.table, drawn.rows_to, told(panel.title)))
        parts.append(_takeaway(panel, answer, pictures=False))
    parts.append(_how(panel, answer))
    return parts


def _chart(figure: plain.Figure, describe: str) -> html.Div:
    return html.Div(
        dcc.Graph(
            figure=figure,
            config={"displayModeBar": False, "responsive": True, "scrollZoom": False, **for_charts(words())},
            responsive=True,
            style={"height": f"{figure.layout.height or 420}px"},
        ),
        role="img",
        className="chart",
        **{"aria-label": describe},
    )


def rests_on(answer: Answer) -> html.P:
    """n, dates and records, under every title."""
    basis = answer.basis
    if not basis.cows:
        return html.P(_("No records."), className="basis")
    parts = [_n("{n} farm", "{n} farms", basis.farms)] if basis.farms > 1 else []
    parts += [_n("{n} cow", "{n} cows", basis.cows), _n("{n} visit", "{n} visits", basis.visits)]
    line = _("{counts}, {first} to {last}.", counts=", ".join(parts), first=basis.first, last=basis.last)
    intervals = _("{level:.0%} intervals.", level=basis.level) if basis.method else ""
    source = told(basis.sources[0]) if basis.sources and len(basis.sources[0]) <= SOURCE_LETTERS else ""
    return html.P(" ".join(part for part in (line, intervals, source) if part), className="basis")


def _takeaway(panel: Panel, answer: Answer, *, pictures: bool = True) -> html.Div:
    text = csv_text(printable(answer.table))
    return html.Div(
        [
            html.A(
                "CSV",
                href="data:text/csv;charset=utf-8," + quote(text),
                download=f"evenfoot-{panel.name}.csv",
                className="take",
                **{"aria-label": _("Numbers of {title} as CSV", title=told(panel.title))},
            ),
            *(
                html.Button(
                    kind.upper(),
                    className="take",
                    **{
                        "aria-label": _("{title} as {kind} picture", title=told(panel.title), kind=kind.upper()),
                        "data-picture": kind,
                    },
                )
                for kind in (("png", "svg") if pictures else ())
            ),
        ],
        className="takeaway",
    )


def _numbers(panel: Panel, drawn: Drawn) -> html.Details:
    return html.Details(
        [html.Summary(_("Numbers")), number_table(drawn.answer.table, drawn.rows_to, told(panel.title))],
        className="fold",
    )


def number_table(
    table: pd.DataFrame,
    rows_to: Callable[[dict[str, Any]], str | None] | None,
    caption: str,
    *,
    short_on_paper: bool = False,
) -> html.Div:
    """A table with human headings; the first cell of a row links to where its mark leads.

    On paper a list of what has been is *short*; one of cows somebody has to see is always whole.

    One component, whatever its size: the browser builds the rows from plain text, so a long list costs the
    page nothing and no text of a sheet can become markup.
    """
    columns = [str(column) for column in table.columns]
    shown = table.head(TABLE_ROWS)
    cells = [_cells(str(column), shown.iloc[:, place].tolist()) for place, column in enumerate(shown.columns)]
    content = {
        "caption": caption,
        "columns": [column_label(column) for column in columns],
        "numeric": [
            bool(pd.api.types.is_numeric_dtype(table[column])) and column not in NAMED for column in table.columns
        ],
        "rows": list(zip(*cells, strict=True)),
        "links": [rows_to(row) for row in records(shown)] if rows_to else [],
    }
    more = len(table) - TABLE_ROWS
    off_paper = len(table) - PAPER_ROWS if short_on_paper else 0
    return html.Div(
        [
            html.Div(
                className="scroll",
                tabIndex=0,
                role="region",
                **{"aria-label": _("Numbers: {caption}", caption=caption), "data-table": json.dumps(content)},
            ),
            html.P(_n("{n} more row is in the CSV.", "{n} more rows are in the CSV.", more), className="basis")
            if more > 0
            else None,
            html.P(
                _n(
                    "{n} row more is on the page and not on paper.",
                    "{n} rows more are on the page and not on paper.",
                    off_paper,
                ),
                className="basis on-paper",
            )
            if off_paper > 0
            else None,
        ],
        className="short" if off_paper > 0 else None,
    )


def _cells(column: str, values: list[Any]) -> list[str]:
    """A column as people read it; most values of a long list stand in it many times."""
    read: dict[tuple[type, Any], str] = {}
    cells = []
    for value in values:
        try:
            cell = read.get((type(value), value))
            if cell is None:
                cell = read[type(value), value] = value_label(column, value)
        except TypeError:  # a list, which cannot be looked up
            cell = value_label(column, value)
        cells.append(cell)
    return cells


def _how(panel: Panel, answer: Answer) -> html.Details:
    lines: list[Message | str] = [panel.formula] if panel.formula else []
    lines += basis_sentences(answer)
    return html.Details(
        [html.Summary(_("How was this worked out")), *(html.P(told(line)) for line in lines)], className="fold"
    )


def mark(href: str) -> dict[str, str]:
    """What a clickable mark carries."""
    return {"to": href}
