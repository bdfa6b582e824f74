"""What came after a change: months seen, the line fitted to them, and the line without the change."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from analytics.measures.answer import Answer
from analytics.methods.intervals import wilson
from analytics.words import say
from dashboard.charts.dots import Row, draw_rows, ratio_axis, ratio_words
from dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from dashboard.charts.labels import column_label, date_label, value_label
from dashboard.charts.periods import period_axis
from dashboard.charts.theme import estimate, percent, percent_range, rgba, tokens

HEIGHT = 360
NARROW_HEIGHT = 310


def impact(
    answer: Answer,
    *,
    change: dt.date | None = None,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> go.Figure:
    """Observed months with intervals, the fitted line, and how it would have gone on without the change.

    Parameters
    ----------
    answer : Answer
        ``extra["series"]``: month, cases, at_risk, prevalence, fitted, counterfactual, cf_low, cf_high; the
        last three only after the change.
    change : date, optional
        Where the line of the change stands; the first month with a counterfactual by default.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    title = str(say("Before and after the change")) if title is None else title
    series = answer.extra.get("series", pd.DataFrame())
    if series.empty or not series["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = series[series["at_risk"] > 0].sort_values("month", kind="stable").reset_index(drop=True)
    low, high = wilson(table["cases"], table["at_risk"], answer.basis.level)
    table = table.assign(low=low, high=high)
    figure = go.Figure([*_without(table, theme), *_fitted(table, theme), _seen(table, answer, theme, drill)])
    top = top_of(table, "high", "prevalence", "fitted", "cf_high")
    axis = shares_axis(narrow, min(top, 1.6 * top_of(table, "prevalence", "fitted", "cf_high")), str(say("Share")))
    figure.update_yaxes(**axis)
    period_axis(figure, table["month"], narrow)
    after = table.loc[table["counterfactual"].notna(), "month"]
    day = pd.Timestamp(change) if change else after.min() if len(after) else None
    if day is not None:
        _mark_change(figure, day, theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=3 if narrow else 1,
        shown="bars and the band show {level} intervals",
    )


def _without(table: pd.DataFrame, theme: str) -> list[go.Scatter]:
    t = tokens(theme)
    after = table[table["counterfactual"].notna()]
    if after.empty:
        return []
    colour = t.series[1]
    edge = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False}
    hover = [
        f"<b>{value_label('month', row['month'])}</b><br>"
        + say(
            "as before the change: {share} ({range})",
            share=percent(row["counterfactual"]),
            range=percent_range(row["cf_low"], row["cf_high"]),
        )
        for row in records(after)
    ]
    return [
        go.Scatter(x=after["month"], y=after["cf_high"], **edge),
        go.Scatter(x=after["month"], y=after["cf_low"], fill="tonexty", fillcolor=rgba(colour, 0.16), **edge),
        go.Scatter(
            x=after["month"],
            y=after["counterfactual"],
            mode="lines",
            line={"color": colour, "width": 2.2, "dash": "dash"},
            name=str(say("Had it gone on as before")),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
        ),
    ]


def _fitted(table: pd.DataFrame, theme: str) -> list[go.Scatter]:
    known = table[table["fitted"].notna()]
    if known.empty:
        return []
    return [
        go.Scatter(
            x=known["month"],
            y=known["fitted"],
            mode="lines",
            line={"color": tokens(theme).series[0], "width": 2.2},
            name=str(say("Fitted")),
            hoverinfo="skip",
        )
    ]


def _seen(table: pd.DataFrame, answer: Answer, theme: str, drill: Drill | None) -> go.Scatter:
    t = tokens(theme)
    hover = [
        f"<b>{value_label('month', row['month'])}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], answer.basis.unit)}"
        for row in records(table)
    ]
    return go.Scatter(
        x=table["month"],
        y=table["prevalence"],
        error_y={
            "type": "data",
            "symmetric": False,
            "array": table["high"] - table["prevalence"],
            "arrayminus": table["prevalence"] - table["low"],
            "thickness": 1.2,
            "width": 3,
            "color": rgba(t.accent, 0.6),
        },
        mode="markers",
        marker={"color": t.accent, "size": 8, "line": {"color": t.raised, "width": 1}},
        name=str(say("Seen")),
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(table, drill),
    )


def _mark_change(figure: go.Figure, day: pd.Timestamp, theme: str) -> None:
    t = tokens(theme)
    figure.add_shape(
        type="line", x0=day, x1=day, y0=0, y1=1, yref="paper", line={"color": t.ink, "width": 1.4, "dash": "dot"}
    )
    figure.add_annotation(
        x=day,
        y=1,
        yref="paper",
        yanchor="top",
        xanchor="left",
        xshift=4,
        text=str(say("change, {day}", day=date_label(day))),
        showarrow=False,
        font={"size": 12, "color": t.ink},
        bgcolor=t.raised,
        borderpad=2,
    )


def terms(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> go.Figure:
    """The odds ratios of a fitted line as dots with intervals round one.

    Parameters
    ----------
    answer : Answer
        ``table``: term, estimate, low, high, p_value; rows whose term is no odds ratio are left to the table.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    title = str(say("How much it moved")) if title is None else title
    table = answer.table if answer.empty else answer.table[odds_ratios(answer.table)]
    table = table if table.empty else table[table["estimate"].notna()]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    rows = [
        Row(
            term_words(str(row["term"])),
            ratio_words(row["estimate"], row["low"], row["high"]),
            row["estimate"],
            row["low"],
            row["high"],
            hover=f"<b>{term_words(str(row['term']))}</b><br>{term_sentence(row)}",
            carries=drill(row) if drill else None,
        )
        for row in records(table)
    ]
    values = [value for row in rows for value in (row.value, row.low, row.high)]
    axis = ratio_axis(values, str(say("Odds ratio; 1 is no change")))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, line=1.0)


NOT_RATIOS = ("share", "points", " z", "month", "difference", "percentage", "risk")
"""Words in the names of terms that are no odds ratios."""


def odds_ratios(table: pd.DataFrame) -> pd.Series:
    """Which rows of term, estimate, low, high are odds ratios."""
    return ~table["term"].astype(str).str.contains("|".join(NOT_RATIOS), case=False, regex=True)


def term_words(term: str) -> str:
    """A term as a heading.

    Examples
    --------
    >>> term_words("level_change"), term_words("odds ratio a year")
    ('Level change', 'Odds ratio a year')
    """
    return column_label(term.replace("_", " "))


def term_sentence(row: dict[str, Any]) -> str:
    """A term with its interval in words, never bolder than the interval.

    Examples
    --------
    >>> row = {"term": "level change", "estimate": 0.5, "low": 0.3, "high": 0.8, "p_value": 0.004}
    >>> term_sentence(row)
    'odds 0.50 times as high (0.30 to 0.80), p 0.004'
    """
    if row["estimate"] is None or math.isnan(row["estimate"]):
        return str(say("not enough to say"))
    p = value_label("p_value", row.get("p_value"))
    return str(
        say(
            "odds {ratio} times as high ({range}){p}",
            ratio=f"{row['estimate']:.2f}",
            range=f"{row['low']:.2f} to {row['high']:.2f}",
            p=f", p {p}" if p else "",
        )
    )
