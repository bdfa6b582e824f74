"""Dated changes on the farm, marked on a time axis."""

from __future__ import annotations

import pandas as pd

from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import wrapped
from evenfoot.dashboard.charts.labels import date_label
from evenfoot.dashboard.charts.periods import dated
from evenfoot.dashboard.charts.theme import tokens

MOST_CHANGES = 6
"""Numbered lines that can still be told apart; the newest are marked."""


def mark_changes(figure: plain.Figure, changes: pd.DataFrame | None, periods: pd.Series, theme: str) -> list[str]:
    """Mark each change with a numbered line.

    Parameters
    ----------
    figure : evenfoot.dashboard.charts.plain.Figure
    changes : pandas.DataFrame, optional
        date and what.
    periods : pandas.Series
        The periods on the axis; changes outside them are left out.
    theme : str

    Returns
    -------
    list of str
        What each number is, for the lines under the title.
    """
    if changes is None or changes.empty or not dated(periods):
        return []
    t = tokens(theme)
    first, last = periods.min(), periods.max() + pd.DateOffset(months=1)
    days = pd.to_datetime(changes["date"])
    inside = changes.assign(date=days)[(days >= first) & (days <= last)]
    by_day = inside.groupby("date")["what"].agg("; ".join).tail(MOST_CHANGES)
    notes = []
    for number, (date, what) in enumerate(by_day.items(), start=1):
        day = pd.Timestamp(str(date))
        figure.add_shape(
            type="line",
            x0=day,
            x1=day,
            y0=0,
            y1=1,
            yref="paper",
            line={"color": t.ink, "width": 1.2, "dash": "dot"},
        )
        figure.add_annotation(
            x=day,
            y=1,
            yref="paper",
            yanchor="top",
            text=f"<b>{number}</b>",
            showarrow=False,
            font={"size": 11, "color": t.raised},
            bgcolor=t.ink,
            borderpad=2,
        )
        notes += wrapped(f"{number}: {date_label(day)}, {what}", False)
    return notes
