"""The frame round every chart: title, what it rests on, margins, and the figure for "nothing to show"."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.theme import between, number, percent, plural, template, tokens
from evenfoot.dashboard.i18n.translation import NO_BREAK, _, told, words

Drill = Callable[[dict[str, Any]], dict[str, Any]]
"""Gives for a row of the table what its mark carries when it is clicked."""

WIDE_LETTERS = 92
NARROW_LETTERS = 44
"""Letters of a subtitle that fit on a line of a laptop panel and of a phone."""

BOLD_LETTERS = 40
ROW_LINE = 16
"""Letters of a bold line on a phone, and pixels of each further line over a row."""

TITLE_LINE = 22
SUBTITLE_LINE = 16.5
LEGEND_LINE = 26
EMPTY_HEIGHT = 160

SHARE_STEPS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5)
"""Steps between the figures of an axis of shares."""

FEW_STEPS = 4
"""Where names and counts leave an axis of shares little room."""

BARS = N_("bars show {level} intervals")
"""How most charts show intervals."""


def rests_on(answer: Answer, shown: str = BARS) -> str:
    """How many were looked at, where and when, as one line.

    Examples
    --------
    >>> import datetime as dt
    >>> import pandas as pd
    >>> from evenfoot.analytics.measures.answer import Basis
    >>> basis = Basis(farms=1, visits=3, cows=263, first=dt.date(2025, 1, 4), last=dt.date(2025, 9, 2))
    >>> rests_on(Answer("prevalence", pd.DataFrame(), basis))
    '263 cows, 3 visits, 4 Jan 2025 to 2 Sep 2025; bars show 95% intervals'
    """
    basis = answer.basis
    if not basis.cows:
        return ""
    parts = [f"{number(basis.cows)} {plural('cow', basis.cows)}"]
    if basis.farms > 1:
        parts.insert(0, f"{number(basis.farms)} {plural('farm', basis.farms)}")
    if basis.visits:
        parts.append(f"{number(basis.visits)} {plural('visit', basis.visits)}")
    if basis.first is not None and basis.last is not None:
        first, last = (words().date(day).replace(NO_BREAK, " ") for day in (basis.first, basis.last))
        parts.append(first if first == last else between(first, last))
    return f"{', '.join(parts)}; {_(shown, level=percent(basis.level, 0))}"


def wrapped(text: str, narrow: bool, letters: int | None = None) -> list[str]:
    """*text* on lines that fit."""
    width = letters or (NARROW_LETTERS if narrow else WIDE_LETTERS)
    return textwrap.wrap(text, width, break_long_words=False) or []


def over_row(name: str, text: str, colour: str) -> tuple[str, int]:
    """Name and figures of a row as they stand over it on a phone, and how many lines they take.

    Examples
    --------
    >>> over_row("Sole ulcer", "12 of 263", "#545C62")[1], over_row("Sole ulcer", "12 of 263, " * 4, "#545C62")[1]
    (1, 2)
    """
    names, texts = wrapped(name, True, BOLD_LETTERS), wrapped(text, True)
    between = "  " if len(name) + len(text) + 2 <= NARROW_LETTERS else "<br>"
    said = f"<b>{'<br>'.join(names)}</b>{between}<span style='color:{colour}'>{'<br>'.join(texts)}</span>"
    return said, 1 if between == "  " else len(names) + len(texts)


def framed(
    figure: plain.Figure,
    answer: Answer,
    *,
    title: str,
    theme: str,
    narrow: bool,
    height: int,
    notes: Iterable[str] = (),
    legend_lines: int = 0,
    left: int | None = None,
    shown: str = BARS,
) -> plain.Figure:
    """Put title, basis, theme and margins round a figure.

    Parameters
    ----------
    title : str
        Empty where the page says title and basis itself.
    height : int
        Pixels of the plot itself; the head is added to it.
    notes : iterable of str
        Further short lines under the title.
    shown : str
        How the figure shows its intervals.
    legend_lines : int
        Lines the legend takes between head and plot.
    """
    head = _head(rests_on(answer, shown), title, narrow, notes, tokens(theme).muted)
    above = head.pop("pixels")
    # A label at the very top of an axis stands half above it, and must not touch the words there.
    top = 14 + above + legend_lines * LEGEND_LINE + (10 if above else 0)
    figure.update_layout(
        template=template(theme),
        height=height + top + 48,
        margin={"t": top, "r": 12 if narrow else 20, "l": left if left is not None else 12, "b": 48},
        showlegend=legend_lines > 0,
        font={"size": 12 if narrow else 13},
        **head,
    )
    return figure


def _head(basis: str, title: str, narrow: bool, notes: Iterable[str], colour: str) -> dict[str, Any]:
    lines = [line for note in notes for line in wrapped(note, narrow)]
    if title:
        lines = (wrapped(basis, narrow) if basis else []) + lines
    heads = wrapped(title, narrow, 30 if narrow else 76) if title else []
    big = [f"<span style='font-size:16px;font-weight:600'>{line}</span>" for line in heads]
    small = [f"<span style='font-weight:400;color:{colour}'>{line}</span>" for line in lines]
    return {
        "pixels": int(len(heads) * TITLE_LINE + len(lines) * SUBTITLE_LINE),
        "title": {"text": "<br>".join([*big, *small])},
    }


def nothing_to_show(answer: Answer, *, theme: str, narrow: bool, title: str = "") -> plain.Figure:
    """One sentence of why there is no chart, where the chart would be."""
    why = told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    figure = plain.Figure()
    figure.add_annotation(
        text="<br>".join(wrapped(why, narrow, 40 if narrow else 70)),
        showarrow=False,
        x=0.5,
        y=0.5,
        xref="paper",
        yref="paper",
        font={"color": tokens(theme).muted, "size": 14},
    )
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    return framed(figure, answer, title=title, theme=theme, narrow=narrow, height=EMPTY_HEIGHT)


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table as dictionaries, with Python's own numbers; column by column, in half the time of pandas.

    Examples
    --------
    >>> records(pd.DataFrame({"cow": ["7"], "cases": np.array([2])}))
    [{'cow': '7', 'cases': 2}]
    """
    names = [str(name) for name in table.columns]
    columns = [_own(column) for _name, column in table.items()]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _own(column: pd.Series) -> list[Any]:
    values: list[Any] = column.tolist()
    if column.dtype == object:
        return [value.item() if isinstance(value, np.generic) else value for value in values]
    return values


def top_of(table: pd.DataFrame, *columns: str) -> float:
    """The highest number in some columns, 0 where there is none."""
    values = table[list(columns)].to_numpy(dtype=float)
    return float(np.nanmax(values)) if np.isfinite(values).any() else 0.0


def marks(rows: pd.DataFrame, drill: Drill | None) -> list[dict[str, Any]] | None:
    """What each row's mark carries, or ``None`` where nothing can be opened."""
    if drill is None:
        return None
    return [drill(row) for row in records(rows)]


def share_ticks(top: float, most: int) -> list[float]:
    """At most so many even steps of a share from 0 to *top*.

    Examples
    --------
    >>> share_ticks(0.36, 8), share_ticks(0.036, 4)
    ([0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35], [0.0, 0.01, 0.02, 0.03])
    """
    step = next((each for each in SHARE_STEPS if top / each <= most), SHARE_STEPS[-1])
    return [round(place * step, 6) for place in range(int(top / step + 1e-9) + 1)]


def share_words(ticks: Iterable[float]) -> list[str]:
    """Shares as an axis has them, with a digit after the sign where a whole percentage would repeat itself."""
    ticks = list(ticks)
    digits = 0 if all(abs(100 * tick - round(100 * tick)) < 1e-6 for tick in ticks) else 1
    return [percent(tick, digits) for tick in ticks]


def shares_axis(narrow: bool, highest: float, title: str, *, most: int | None = None) -> dict[str, Any]:
    """An axis of shares from 0, its figures as the reader writes them and never on their side; *most* steps at most."""
    top = min(1.0, max(0.02, highest * 1.06))
    ticks = share_ticks(top, most or (5 if narrow else 8))
    return {
        "title": {"text": title},
        "tickvals": ticks,
        "ticktext": share_words(ticks),
        "tickangle": 0,
        "range": [0, top],
    }


def row_rules(lines: Iterable[float], colour: str) -> list[dict[str, Any]]:
    """Thin lines between the rows of a chart, as shapes."""
    return [
        {
            "type": "line",
            "xref": "x domain",
            "x0": 0,
            "x1": 1,
            "y0": y,
            "y1": y,
            "layer": "below",
            "line": {"color": colour, "width": 0.6},
        }
        for y in lines
    ]
