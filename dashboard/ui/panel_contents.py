"""What a panel shows: the answer in words, its picture or table, and the fold with all that stands behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import CHANGES_THE_READING
from evenfoot.analytics.messages import Message
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.i18n.reader_settings import for_charts
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.ui.chart_links import unlisted_links
from evenfoot.dashboard.ui.panel import (
    TABLE_ROWS,
    Drawn,
    Panel,
    cows_counted,
    heading,
    number_table,
    rests_on,
)
from evenfoot.dashboard.ui.tables import basis_sentences, csv_text, printable
from evenfoot.dashboard.ui.view import View


def filled(panel: Panel, drawn: Drawn | Any, view: View) -> list[Any]:
    """The contents of a panel."""
    form = panel.form(view) if panel.form else []
    if not isinstance(drawn, Drawn):
        finding, rest = _title("", drawn if isinstance(drawn, list) else [drawn])
        return [heading(panel, finding), *rest, *form]
    answer = drawn.answer
    finding, lead = _title(drawn.finding, drawn.lead or [])
    parts: list[Any] = [heading(panel, finding), *lead]
    if answer.empty:
        return [*parts, rests_on(answer), *_cautions(answer.cautions), *form]
    parts += _cautions(_beside(answer))
    figures = [] if drawn.figure is None else [(drawn.figure, drawn.describe), *drawn.beside]
    if figures:
        parts.append(
            html.Div(
                [_chart(panel, at, *each) for at, each in enumerate(figures)],
                className=f"charts{' first-large' * drawn.first_large}" if len(figures) > 1 else None,
            )
        )
        parts += [_takeaway(panel, answer)] if panel.slide else []
    elif drawn.table is not None:
        parts.append(drawn.table)
    else:
        parts.append(
            number_table(
                answer.table,
                drawn.rows_to,
                told(panel.title),
                view=view,
                cards=panel.cards,
                columns=drawn.columns,
            )
        )
    return [*parts, *(drawn.below or []), _fold(panel, drawn, view), *form]


ROWS_BEHIND = 15
"""Rows that a table of all figures begins with, which a reader has asked for."""

LONGEST_TITLE = 90
"""Letters of a sentence that can be a title. [common practice, no source]"""


def _title(finding: str, parts: list[Any]) -> tuple[str, list[Any]]:
    """What was found, as a title, and what stands below it: a first sentence that is short enough is the title."""
    first = parts[0] if parts else None
    said = first.children if isinstance(first, html.P) and getattr(first, "className", "") == "lead" else None
    if finding or not isinstance(said, str) or len(said) > LONGEST_TITLE:
        return finding, parts
    return said.rstrip("."), parts[1:]


def _beside(answer: Answer) -> list[Message]:
    """The caution that stands beside the answer, because it changes what the answer says; one at most."""
    return [caution for caution in answer.cautions if caution.template in CHANGES_THE_READING][:1]


def _cautions(cautions: Sequence[Message | str]) -> list[html.P]:
    return [html.P(told(caution), className="caution") for caution in cautions]


def _fold(panel: Panel, drawn: Drawn, view: View) -> html.Details:
    """The fold; what is in it is worked out when it is opened, or at once for a reader who wants it always."""
    always = view.option("certainty", "") == "always"
    return html.Details(
        [
            html.Summary(
                _("How sure is this? ({counts})", counts=cows_counted(drawn.answer)),
                id={"type": "ask-certainty", "name": panel.name},
            ),
            html.Div(certainty(panel, drawn, view) if always else None, id={"type": "certainty", "name": panel.name}),
        ],
        className="fold",
        open=always,
        # Another view is another fold, closed as it begins.
        key=view.href,
    )


def certainty(panel: Panel, drawn: Drawn | Any, view: View) -> list[Any]:
    """What stands behind an answer: its records, cautions, numbers, files to take along and how it was worked out."""
    if not isinstance(drawn, Drawn):
        return []
    answer = drawn.answer
    lines: list[Message | str] = [panel.formula] if panel.formula else []
    lines += basis_sentences(answer)
    beside = _beside(answer)
    parts: list[Any] = [rests_on(answer), *_cautions([each for each in answer.cautions if each not in beside])]
    if not panel.slide:
        parts.append(_takeaway(panel, answer, pictures=drawn.figure is not None))
    if drawn.figure is not None or drawn.table is not None or drawn.columns:
        heading_of_all = _("{title}, all columns", title=told(panel.title)) if drawn.columns else told(panel.title)
        parts.append(number_table(answer.table, drawn.rows_to, heading_of_all, view=view, begins_with=ROWS_BEHIND))
        parts.append(unlisted_links(drawn, TABLE_ROWS if view.option("rows", "") == "all" else ROWS_BEHIND))
    parts.append(html.H3(_("How was this worked out")))
    return [*parts, *(html.P(told(line)) for line in lines)]


def _chart(panel: Panel, at: int, figure: plain.Figure, describe: str) -> html.Div:
    return html.Div(
        dcc.Graph(
            id={"type": "chart", "name": panel.name, "at": at},
            figure=figure.to_plotly_json(),
            config={"displayModeBar": False, "responsive": True, "scrollZoom": False, **for_charts(words())},
            responsive=True,
            style={"height": f"{figure.layout.height or 420}px"},
        ),
        role="img",
        className="chart",
        # The place is as high as the chart before the chart is drawn.
        style={"minHeight": f"{figure.layout.height or 420}px"},
        **{"aria-label": describe},
    )


def _takeaway(panel: Panel, answer: Answer, *, pictures: bool = True) -> html.Div:
    """The files of a panel: its numbers, and its picture with title, records and caution in it."""
    caution = _beside(answer) or answer.cautions[:1]
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
        # Stands in the picture, so that it says by itself what it rests on.
        **{"data-caption": " ".join([str(rests_on(answer).children), *map(told, caution)])},
    )
