"""How often new cases come up: rates with intervals, by lesion and month by month."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, top_of
from evenfoot.dashboard.charts.labels import column_label, small, value_label
from evenfoot.dashboard.charts.periods import period_axis, period_kind, with_gaps
from evenfoot.dashboard.charts.prevalence import IN_ORDER
from evenfoot.dashboard.charts.theme import between, ratio, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, _n, told

PERIODS = ("month", "quarter", "year")
MOST_ROWS = 24
HEIGHT = 320
NARROW_HEIGHT = 280
AXIS = say("New cases per 100 cow-months")


def rate_words(row: dict[str, Any]) -> str:
    """A rate with its interval and the count behind it.

    Examples
    --------
    >>> rate_words({"new_cases": 12, "cow_months": 400.0, "rate_per_100": 3.0, "low": 1.55, "high": 5.24})
    '3.00 (1.55 to 5.24), 12 new cases'
    """
    cases = _n("{n} new case", "{n} new cases", row["new_cases"])
    if pd.isna(row["rate_per_100"]):
        return _("rate not known, {cases}", cases=cases)
    return f"{ratio(row['rate_per_100'])} ({between(ratio(row['low']), ratio(row['high']))}), {cases}"


def incidence(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of new cases per 100 cow-months, the most frequent first.

    Parameters
    ----------
    answer : Answer
        ``table``: the grouping, new_cases, cow_months, rate_per_100, low, high.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    by = answer.by or ("group",)
    title = _("New cases, by {group}", group=small(column_label(by[0]))) if title is None else title
    known = answer.table if answer.empty else answer.table[answer.table["rate_per_100"].notna()]
    if known.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    ordered = answer.by and answer.by[0] in IN_ORDER
    table = known if ordered else known.sort_values("rate_per_100", ascending=False, kind="stable")
    rows = [
        Row(
            ", ".join(value_label(name, row[name]) for name in by if name in row) or _("All"),
            rate_words(row),
            row["rate_per_100"],
            row["low"],
            row["high"],
            carries=drill(row) if drill else None,
        )
        for row in records(table.head(MOST_ROWS))
    ]
    top = top_of(table, "high", "rate_per_100")
    axis = {"title": {"text": told(AXIS)}, "range": [0, top * 1.05 or 1], "nticks": 5 if narrow else 9}
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow)


def by_month(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """New cases per 100 cow-months by month, quarter or year, with intervals.

    Parameters
    ----------
    answer : Answer
        ``table``: month, quarter or year, and the columns of a rate.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("New cases over time") if title is None else title
    period = next((name for name in PERIODS if name in answer.table), None)
    if answer.empty or period is None or not answer.table["rate_per_100"].notna().any():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["rate_per_100"].notna()].sort_values(period, kind="stable")
    table = table.reset_index(drop=True)
    t = tokens(theme)
    x, y = with_gaps(table[period], table["rate_per_100"])
    rate, kind = table["rate_per_100"], period_kind(table[period])
    figure = plain.Figure(
        [
            plain.scatter(x=x, y=y, mode="lines", line={"color": rgba(t.accent, 0.7), "width": 2}, hoverinfo="skip"),
            plain.scatter(
                x=table[period],
                y=rate,
                error_y=whiskers(rate, table["low"], table["high"], rgba(t.accent, 0.8)),
                mode="markers",
                marker={"color": t.accent, "size": 8, "line": {"color": t.raised, "width": 1}},
                hovertext=[f"<b>{value_label(kind, row[period])}</b><br>{rate_words(row)}" for row in records(table)],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(table, drill),
            ),
        ]
    )
    figure.update_yaxes(title={"text": told(AXIS)}, rangemode="tozero", nticks=6)
    period_axis(figure, table[period], narrow)
    height = NARROW_HEIGHT if narrow else HEIGHT
    return framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height)
