"""One chart on a page: title, figure, its numbers, how they were worked out, and the ways to take it along."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.ui.view import View

NAMED = ("zone", "severity")
"""Numbers that are shown as names."""

SOURCE_LETTERS = 70
"""A list of files longer than this is left to "How was this worked out"."""

FIRST_ROWS = 10
"""Rows of a table that are shown until a reader asks for all."""

TABLE_ROWS = 1000
"""Rows of a table that are shown at most; the CSV always has all."""

LONG_WORDS = 28
"""Letters beyond which a cell may be broken into lines."""


COUNTING = say("Counting the records ...")
FITTING = say("Fitting the model ...")


@dataclass(frozen=True)
class Drawn:
    """A panel worked out.

    ``rows_to`` gives for a row of the table the address that clicking its mark leads to, so that the
    keyboard reaches what the mouse does. ``lead`` are components above the chart, such as sentences;
    ``beside`` are further figures of the same answer, each with its description; ``below`` are components
    under the chart or the table. ``finding`` says what was found: it is the title, and the panel's own title stands
    below it as the question. ``first_large`` puts the first figure on a line of its own, the others beside each
    other. ``table`` stands where there is no figure and the numbers of the answer are not what is shown first.
    ``columns`` are those of the numbers that a reader sees where they are shown first; the fold and the CSV have all.
    """

    figure: plain.Figure | None
    answer: Answer
    describe: str
    rows_to: Callable[[dict[str, Any]], str | None] | None = None
    lead: list[Any] | None = None
    beside: tuple[tuple[plain.Figure, str], ...] = ()
    below: list[Any] | None = None
    first_large: bool = False
    finding: str = ""
    table: Any = None
    columns: tuple[str, ...] = ()


@dataclass(frozen=True)
class Panel:
    """A place on a page that is filled on its own.

    ``draw`` takes the ledger and the view and gives a :class:`Drawn`, or Dash components for panels without
    a chart.
    ``formula`` says in words how the figure is worked out. A panel ``over_time`` is the one on which a stretch of
    time is chosen: it keeps the whole period and shows the stretch, while the others follow it. ``busy`` is said
    when drawing takes more than a second. A ``form`` stands under the panel. Where the contents speak for themselves
    the title is ``spoken`` only, to a reader of the screen. A ``slide`` is taken along so often that its files stand
    under the chart and not in the fold.
    """

    name: str
    title: str
    draw: Callable[[Ledger, View], Any]
    formula: str = ""
    wide: bool = False
    over_time: bool = False
    busy: Message | str = COUNTING
    form: Callable[[View], list[Any]] | None = None
    spoken: bool = False
    slide: bool = False
    cards: bool = False


def shells(panels: Sequence[Panel]) -> list[html.Section]:
    """The empty panels that a page shows at once; a callback fills each."""
    return [
        html.Section(
            [
                html.Div(
                    [heading(panel), html.Div(className="skeleton", **{"aria-hidden": "true"})],
                    id={"type": "panel", "name": panel.name},
                    className="panel-body",
                    # Shown by the style sheet when drawing takes more than a second.
                    **{"data-busy": told(panel.busy)},
                ),
            ],
            className="panel wide" if panel.wide else "panel",
            **{"aria-labelledby": f"title-{panel.name}"},
        )
        for panel in panels
    ]


def counted(answer: Answer) -> str:
    """How much an answer rests on: "93 cows, 4 visits"."""
    basis = answer.basis
    parts = [_n("{n} farm", "{n} farms", basis.farms)] if basis.farms > 1 else []
    return ", ".join([*parts, _n("{n} cow", "{n} cows", basis.cows), _n("{n} visit", "{n} visits", basis.visits)])


def heading(panel: Panel, finding: str = "") -> html.Div:
    """The title of a panel: what was found, with the question below it, or the question alone."""
    said = finding or told(panel.title)
    title = html.H2(said, id=f"title-{panel.name}", className="unseen" if panel.spoken else None)
    return html.Div([title, html.P(told(panel.title), className="asked") if finding else None])


def cows_counted(answer: Answer) -> str:
    """How many cows an answer rests on: "93 cows"."""
    return _n("{n} cow", "{n} cows", answer.basis.cows) if answer.basis.cows else _("no records")


def rests_on(answer: Answer) -> html.P:
    """n, dates and records, under every title."""
    basis = answer.basis
    if not basis.cows:
        return html.P(_("No records."), className="basis")
    line = _("{counts}, {first} to {last}.", counts=counted(answer), first=basis.first, last=basis.last)
    intervals = _("{level:.0%} intervals.", level=basis.level) if basis.method else ""
    source = told(basis.sources[0]) if basis.sources and len(basis.sources[0]) <= SOURCE_LETTERS else ""
    return html.P(" ".join(part for part in (line, intervals, source) if part), className="basis")


def number_table(
    table: pd.DataFrame,
    rows_to: Callable[[dict[str, Any]], str | None] | None,
    caption: str,
    *,
    view: View | None = None,
    cards: bool = False,
    columns: Sequence[str] = (),
    sortable: bool = False,
    begins_with: int = FIRST_ROWS,
    groups: Sequence[str] = (),
) -> html.Div:
    """A table with human headings; the first cell of a row links to where its mark leads.

    A long table begins with so many rows, and a link to the same page with all of them: *view* says which page. On a
    phone each row of a table of *cards* stands as a card, each figure beside its heading. Only *columns* are shown,
    if they are given. The headings of a *sortable* table are links to the same page with the table sorted by them. Of
    *groups* there is one for each row, told above the rows that it holds for.
    """
    if sortable and view is not None:
        table = _sorted(table, view)
    whole = view is None or view.option("rows", "") == "all"
    first = table.head(TABLE_ROWS if whole else begins_with)
    links = [rows_to(row) for row in records(first)] if rows_to else [None] * len(first)
    shown = first[list(columns)] if columns else first
    named = [column_label(str(name)) for name in shown.columns]
    numeric = [bool(pd.api.types.is_numeric_dtype(shown[name])) and name not in NAMED for name in shown.columns]
    cells = [_cells(str(name), shown.iloc[:, place].tolist()) for place, name in enumerate(shown.columns)]
    lines = [
        html.Tr(
            [
                html.Td(
                    html.A(words, href=link) if link and place == 0 else words,
                    className="number" if numeric[place] else "words" if len(words) > LONG_WORDS else None,
                    **({"data-label": named[place]} if cards and place else {}),
                )
                for place, words in enumerate(row)
            ]
        )
        for row, link in zip(zip(*cells, strict=True), links, strict=True)
    ]
    body = []
    for place, line in enumerate(lines):
        if place < len(groups) and groups[place] not in groups[max(0, place - 1) : place]:
            body.append(html.Tr(html.Th(groups[place], colSpan=len(named), scope="rowgroup"), className="group"))
        body.append(line)
    heads = [
        html.Th(
            html.A(head, href=_sorts(name, view)) if sortable and view is not None else head,
            scope="col",
            className="number" if numeric[place] else None,
            **({"aria-sort": _order(view)[1]} if sortable and view is not None and _order(view)[0] == name else {}),
        )
        for place, (name, head) in enumerate(zip(shown.columns, named, strict=True))
    ]
    more = len(table) - len(shown)
    return html.Div(
        [
            html.Div(
                html.Table([html.Caption(caption, className="unseen"), html.Thead(html.Tr(heads)), html.Tbody(body)]),
                className=f"scroll{' long' * (len(shown) > FIRST_ROWS)}{' cards' * cards}",
                tabIndex=0,
                role="region",
                **{"aria-label": _("Numbers: {caption}", caption=caption)},
            ),
            _more(more, whole, view),
        ]
    )


def _order(view: View) -> tuple[str, str]:
    """The column that the address sorts by, and in which order."""
    sort = view.option("sort", "")
    return sort.removeprefix("-"), "descending" if sort.startswith("-") else "ascending"


def _sorts(name: str, view: View) -> str:
    """The address of the same page sorted by a column, or turned round where it is sorted by it."""
    return view.changed(sort=f"-{name}" if view.option("sort", "") == name else name).href


def _sorted(table: pd.DataFrame, view: View) -> pd.DataFrame:
    name, order = _order(view)
    return table.sort_values(name, ascending=order == "ascending", kind="stable") if name in table else table


def telling(table: pd.DataFrame, names: Sequence[str]) -> list[str]:
    """The columns that tell a reader something: not what is empty, and not the farm where every row has the same."""
    return [name for name in names if table[name].notna().any() and (name != "farm" or table[name].nunique() > 1)]


def _more(more: int, whole: bool, view: View | None) -> html.P | None:
    """What is said under a table that does not show all of its rows."""
    if more <= 0:
        return None
    if whole or view is None:
        return html.P(_n("{n} more row is in the CSV.", "{n} more rows are in the CSV.", more), className="basis")
    said = _n("Show {n} more row", "Show {n} more rows", more)
    return html.P(html.A(said, href=view.changed(rows="all").href, className="take"))


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


def mark(href: str) -> dict[str, str]:
    """What a clickable mark carries."""
    return {"to": href}
