"""Has it a season: each month of the calendar with its interval, and the yearly wave through them."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.theme import estimate, plural, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, _n, words

HEIGHT = 300
NARROW_HEIGHT = 260


def month_name(month: int) -> str:
    """A month of the calendar, shortly.

    Examples
    --------
    >>> month_name(3)
    'Mar'
    """
    return words().month(f"2026-{month:02d}-01", short=True)


def season(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Share by month of the calendar with intervals, and the fitted wave where there is one.

    Parameters
    ----------
    answer : Answer
        ``extra["by_month"]``: calendar_month, cases, at_risk, prevalence, low, high, years, fitted.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("By month of the year") if title is None else title
    table = answer.extra.get("by_month", pd.DataFrame())
    if table.empty or not table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = table[table["at_risk"] > 0].sort_values("calendar_month").reset_index(drop=True)
    t = tokens(theme)
    figure = plain.Figure()
    wave = table[table["fitted"].notna()]
    if len(wave):
        figure.add_trace(
            plain.scatter(
                x=wave["calendar_month"],
                y=wave["fitted"],
                mode="lines",
                line={"color": t.series[0], "width": 2, "dash": "dash", "shape": "spline"},
                name=_("Fitted yearly wave"),
                hoverinfo="skip",
            )
        )
    share = table["prevalence"]
    hover = [
        f"<b>{month_name(int(row['calendar_month']))}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], answer.basis.unit)}<br>"
        + _n("in {n} year", "in {n} years", int(row["years"]))
        for row in records(table)
    ]
    figure.add_trace(
        plain.scatter(
            x=table["calendar_month"],
            y=share,
            error_y=whiskers(share, table["low"], table["high"], rgba(t.accent, 0.8)),
            mode="markers",
            marker={"color": t.accent, "size": 8, "line": {"color": t.raised, "width": 1}},
            name=_("Seen"),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(table, drill),
        )
    )
    figure.update_xaxes(
        tickvals=list(range(1, 13)),
        ticktext=[month_name(month)[: 1 if narrow else 4] for month in range(1, 13)],
        range=[0.5, 12.5],
        showgrid=False,
    )
    top = top_of(table, "high", "prevalence")
    axis = shares_axis(narrow, top, _("Share of {units}", units=plural(answer.basis.unit, 2)))
    figure.update_yaxes(**axis)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=1 if len(wave) else 0,
    )
