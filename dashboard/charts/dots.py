"""Rows of dots with intervals: a name, an estimate with its interval, and the figure in words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import BARS, ROW_LINE, framed, over_row, wrapped
from evenfoot.dashboard.charts.rules import put_across
from evenfoot.dashboard.charts.theme import between, ratio, tokens

ROW = 34
NARROW_ROW = 48
UNDER_MARK = 16
"""Pixels from a mark to the end of its row on a phone."""

AXIS_LETTERS = 40
LETTER = 6.6
"""Pixels a letter of the figures at the right takes, on average."""

LIMITS = (1 / 32, 32.0)
"""Ratios beyond these are drawn at the edge; the words give the figure."""


@dataclass(frozen=True)
class Row:
    """One line of the chart.

    Attributes
    ----------
    name, text : str
        At the left, and the figure in words at the right; on a phone both above the dot.
    value, low, high : float
        Estimate and interval; an unknown estimate leaves its line without a dot.
    hover : str
    symbol : str
        A second cue beside the place, for rows of another kind.
    carries : dict, optional
        What the mark carries when it is clicked.
    """

    name: str
    text: str
    value: float
    low: float
    high: float
    hover: str = ""
    symbol: str = "circle"
    carries: dict[str, Any] | None = None


def draw_rows(
    answer: Answer,
    rows: Sequence[Row],
    axis: dict[str, Any],
    *,
    title: str,
    theme: str,
    narrow: bool,
    line: float | None = None,
    notes: Iterable[str] = (),
    shown: str = BARS,
) -> plain.Figure:
    """Dot-and-interval chart of rows in the order given.

    Parameters
    ----------
    answer : Answer
        What the rows are from; gives the basis.
    rows : sequence of Row
    axis : dict
        Settings of the horizontal axis.
    line : float, optional
        A line of reference, such as no difference.
    title, theme, narrow, notes, shown
        As in :func:`evenfoot.dashboard.charts.frame.framed`.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    t = tokens(theme)
    over = [over_row(row.name, row.text, t.muted) for row in rows]
    step = NARROW_ROW + ROW_LINE * (max((lines for _words, lines in over), default=1) - 1) if narrow else ROW
    below = 0.5 - UNDER_MARK / step if narrow else 0.0
    on_log = axis.get("type") == "log"
    values, lows, highs = (np.array([_within(getattr(r, n), on_log) for r in rows]) for n in ("value", "low", "high"))
    figure = plain.Figure(
        [
            plain.scatter(
                x=values,
                y=[-i - below for i in range(len(rows))],
                error_x={
                    "type": "data",
                    "symmetric": False,
                    "array": np.nan_to_num(highs - values, nan=0.0),
                    "arrayminus": np.nan_to_num(values - lows, nan=0.0),
                    "thickness": 2,
                    "width": 4,
                    "color": t.accent,
                },
                mode="markers",
                marker={
                    "color": t.accent,
                    "size": 10,
                    "symbol": [row.symbol for row in rows],
                    "line": {"color": t.accent, "width": 1.5},
                },
                hovertext=[row.hover or f"<b>{row.name}</b><br>{row.text}" for row in rows],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=[row.carries for row in rows] if any(row.carries for row in rows) else None,
                cliponaxis=False,
                showlegend=False,
            )
        ]
    )
    if line is not None:
        figure.add_vline(x=line, line={"color": t.ink, "width": 1.2, "dash": "dot"})
    put_across(figure, [-i - 0.5 for i in range(len(rows))], {"color": t.rule, "width": 0.6})
    _name_rows(figure, rows, [words for words, _lines in over], theme, narrow)
    if narrow and "title" in axis:
        lines = wrapped(str(axis["title"]["text"]), narrow, AXIS_LETTERS)
        axis = {**axis, "title": {"text": "<br>".join(lines)}}
    figure.update_xaxes(**axis)
    height = step * len(rows) + 16
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height, notes=notes, shown=shown)
    if not narrow:
        longest = max((len(row.text) for row in rows), default=0)
        figure.update_layout(margin={"r": int(longest * LETTER) + 22})
    return figure


def _within(value: float, on_log: bool) -> float:
    if value is None or math.isnan(value):
        return math.nan
    return min(max(float(value), LIMITS[0]), LIMITS[1]) if on_log else float(value)


def _name_rows(figure: plain.Figure, rows: Sequence[Row], over: list[str], theme: str, narrow: bool) -> None:
    t = tokens(theme)
    if narrow:
        figure.update_yaxes(showticklabels=False, ticks="", showgrid=False, range=[-len(rows) + 0.42, 0.62])
    else:
        figure.update_yaxes(
            tickmode="array",
            tickvals=[-i for i in range(len(rows))],
            ticktext=[row.name for row in rows],
            ticks="",
            showgrid=False,
            range=[-len(rows) + 0.5, 0.5],
            tickfont={"color": t.ink, "size": 13},
            ticklabelstandoff=9,
        )
    for i, row in enumerate(rows):
        figure.add_annotation(
            text=over[i] if narrow else row.text,
            align="left",
            x=0 if narrow else 1,
            xref="paper",
            xanchor="left",
            xshift=0 if narrow else 10,
            y=-i + 0.5 if narrow else -i,
            yanchor="top" if narrow else "middle",
            showarrow=False,
            bgcolor=t.raised if narrow else None,
            borderpad=1,
            font={"size": 12, "color": t.ink if narrow else t.muted},
        )


def ratio_axis(values: Iterable[float], title: str) -> dict[str, Any]:
    """A logarithmic axis with ticks at doublings, since twice and half are equally far from one.

    Examples
    --------
    >>> ratio_axis([0.6, 2.5], "Odds ratio")["ticktext"]
    ['1/2', '1', '2', '4']
    """
    known = [min(max(v, LIMITS[0]), LIMITS[1]) for v in values if v is not None and not math.isnan(v)]
    first = min(-1, math.floor(math.log2(min(known, default=1.0))))
    last = max(1, math.ceil(math.log2(max(known, default=1.0))))
    ticks = range(first, last + 1) if last - first < 8 else range(first, last + 1, 2)
    return {
        "type": "log",
        "title": {"text": title},
        "tickvals": [2.0**k for k in ticks],
        "ticktext": [f"{2**k}" if k >= 0 else f"1/{2**-k}" for k in ticks],
        "range": [math.log10(2.0**first) - 0.05, math.log10(2.0**last) + 0.05],
    }


def ratio_words(value: float, low: float, high: float) -> str:
    """A ratio with its interval.

    Examples
    --------
    >>> ratio_words(1.5, 1.1, 2.04)
    '1.50 (1.10 to 2.04)'
    """
    return f"{ratio(value)} ({between(ratio(low), ratio(high))})"
