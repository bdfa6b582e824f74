"""How many cows for which difference: the smaller the change, the more cows have to be looked at."""

from __future__ import annotations

import math
from typing import Any

import plotly.graph_objects as go

from analytics.measures.answer import Answer
from analytics.words import say
from dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records
from dashboard.charts.theme import DASHES, MARKERS, number, tokens

HEIGHT = 320
NARROW_HEIGHT = 300


def points(row: dict[str, Any]) -> float:
    """The change in percentage points, however the measure gives it.

    Examples
    --------
    >>> points({"points": 10}), points({"points": 0.1})
    (10.0, 10.0)
    """
    value = float(row["points"])
    return value * 100 if abs(value) < 1 else value


def planning(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> go.Figure:
    """Cows needed in each of two groups or periods against the change to be seen.

    Parameters
    ----------
    answer : Answer
        ``table``: points (of change, percentage points), cows; a ``direction`` gives one line each.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    plotly.graph_objects.Figure
        Every dot says its number of cows; a line across marks the cows at hand where they are known.
    """
    title = str(say("How many cows for which difference")) if title is None else title
    known = answer.table if answer.empty else answer.table[answer.table["cows"].notna()]
    if known.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    t = tokens(theme)
    lines = list(dict.fromkeys(known["direction"])) if "direction" in known else [""]
    figure = go.Figure()
    for place, name in enumerate(lines):
        part = known[known["direction"] == name] if name else known
        part = part.assign(x=[abs(points(row)) for row in records(part)]).sort_values("x")
        colour = t.series[place % len(t.series)] if name else t.accent
        figure.add_trace(
            go.Scatter(
                x=part["x"],
                y=part["cows"],
                mode="lines+markers+text",
                line={"color": colour, "width": 2, "dash": DASHES[place % len(DASHES)]},
                marker={"size": 9, "symbol": MARKERS[place % len(MARKERS)], "color": colour},
                text=[number(round(cows)) for cows in part["cows"]],
                textposition="top center" if place == 0 else "bottom center",
                textfont={"size": 12, "color": t.ink},
                name=str(name),
                showlegend=bool(name),
                hovertext=[
                    say(
                        "{cows} cows in each group to see a difference of {points} percentage points",
                        cows=number(round(row["cows"])),
                        points=number(row["x"]),
                    )
                    for row in records(part)
                ],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(part, drill),
                cliponaxis=False,
            )
        )
    top, bottom = float(known["cows"].max()), max(1.0, float(known["cows"].min()))
    figure.update_yaxes(
        type="log",
        title={"text": str(say("Cows in each group"))},
        range=[math.log10(bottom) - 0.25, math.log10(top) + 0.3],
        tickvals=[v for v in (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 50000, 100000)],
        tickformat=",d",
    )
    ticks = sorted({abs(points(row)) for row in records(known)})
    figure.update_xaxes(
        title={"text": str(say("Difference to be seen, percentage points"))},
        tickvals=ticks,
        range=[0, max(ticks) * 1.1],
        showgrid=False,
    )
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=1 if lines != [""] else 0,
        shown="four times in five such a difference would be seen",
    )
