"""Many small line charts on one scale: one lesion, or one group, in each."""

from __future__ import annotations

import math

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analytics.measures.answer import Answer
from dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from dashboard.charts.labels import value_label
from dashboard.charts.periods import dated, period_words, with_gaps
from dashboard.charts.theme import estimate, plural, rgba, tokens
from dashboard.charts.trend import PERIODS
from dashboard.charts.whiskers import whiskers
from dashboard.language import _

MOST_CHARTS = 12
"""Small charts a person can still compare. [common practice, no source]"""

PANEL = 138
NARROW_PANEL = 128


def small_multiples(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> go.Figure:
    """Prevalence over time, one small chart for each group, the commonest first, all on one scale.

    Parameters
    ----------
    answer : Answer
        ``table``: a period and another grouping, cases, at_risk, prevalence, low, high.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    title = _("Over time, one by one") if title is None else title
    period = next((name for name in PERIODS if name in answer.table), None)
    group = next((name for name in answer.by if name != period), None)
    if answer.empty or period is None or group is None or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table.loc[answer.table["at_risk"] > 0].sort_values(period, kind="stable")
    sums = table.groupby(group)[["cases", "at_risk"]].sum()
    order = list((sums["cases"] / sums["at_risk"]).sort_values(ascending=False, kind="stable").index)
    shown = order[:MOST_CHARTS]
    across = 2 if narrow else min(4, len(shown))
    down = math.ceil(len(shown) / across)
    height = (NARROW_PANEL if narrow else PANEL) * down
    figure = make_subplots(
        down,
        across,
        shared_xaxes="all",
        shared_yaxes="all",
        vertical_spacing=30 / height,
        horizontal_spacing=0.03,
        subplot_titles=[value_label(group, name) for name in shown],
    )
    t = tokens(theme)
    figure.update_annotations(font={"size": 12 if narrow else 13, "color": t.ink})
    for place, name in enumerate(shown):
        part = table[table[group] == name].reset_index(drop=True)
        for trace in _small(part, period, value_label(group, name), theme, answer.basis.unit, drill):
            figure.add_trace(trace, row=place // across + 1, col=place % across + 1)
    axis = shares_axis(narrow, top_of(table[table[group].isin(shown)], "high", "prevalence"), "")
    figure.update_yaxes(**{**axis, "nticks": 4}, tickfont={"size": 11})
    figure.update_xaxes(showgrid=False, nticks=3 if narrow else 4, tickfont={"size": 11})
    if dated(table[period]):
        figure.update_xaxes(type="date", tickformat="%b %Y" if not narrow else "%m/%y")
    notes = [_("Share of {units} looked at, all on one scale.", units=plural(answer.basis.unit, 2))]
    if len(order) > len(shown):
        notes.append(_("The {n} commonest are drawn; the table has all.", n=len(shown)))
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height, notes=notes, legend_lines=0)
    figure.update_layout(margin={"t": figure.layout.margin.t + 18}, height=figure.layout.height + 18)
    return figure


def _small(part: pd.DataFrame, period: str, name: str, theme: str, unit: str, drill: Drill | None) -> list[go.Scatter]:
    """One line with its whiskers."""
    t = tokens(theme)
    x, y = with_gaps(part[period], part["prevalence"])
    hover = [
        f"<b>{name}, {period_words(row[period], part[period])}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}"
        for row in records(part)
    ]
    return [
        go.Scatter(x=x, y=y, mode="lines", line={"color": rgba(t.accent, 0.7), "width": 1.5}, hoverinfo="skip"),
        go.Scatter(
            x=part[period],
            y=part["prevalence"],
            error_y=whiskers(part["prevalence"], part["low"], part["high"], rgba(t.accent, 0.45), thickness=1, width=0),
            mode="markers",
            marker={"color": t.accent, "size": 5},
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(part, drill),
        ),
    ]
