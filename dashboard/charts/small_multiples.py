"""Many small line charts on one scale: one lesion, or one group, in each.

All are drawn on one pair of axes, each moved to its place: a pair of axes for each would be most of what a phone has to
draw on the page.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import (
    Drill,
    framed,
    marks,
    nothing_to_show,
    records,
    share_ticks,
    share_words,
    top_of,
)
from evenfoot.dashboard.charts.labels import date_label, value_label
from evenfoot.dashboard.charts.periods import BESIDE_EACH_OTHER, dated, period_kind, with_gaps
from evenfoot.dashboard.charts.theme import estimate, plural, rgba, tokens
from evenfoot.dashboard.charts.trend import PERIODS
from evenfoot.dashboard.i18n.translation import _

MOST_CHARTS = 12
"""Small charts a person can still compare. [common practice, no source]"""

PANEL = 138
NARROW_PANEL = 128
BETWEEN = 30
"""Pixels between one row of charts and the next, where names stand."""

EDGE, APART = 0.06, 0.13
"""Room at both ends of a chart, and between charts, as a share of the time shown."""


@dataclass(frozen=True)
class Places:
    """Where each small chart lies on the common axes.

    Attributes
    ----------
    first, last : Timestamp or float
        The time every chart shows.
    pitch_x : Timedelta or float
        From one column to the next.
    top, pitch_y : float
        The share at the top of every chart, and from one row to the next.
    across, down : int
    """

    first: Any
    last: Any
    pitch_x: Any
    top: float
    pitch_y: float
    across: int
    down: int

    def right(self, place: int) -> Any:
        """How far to the right a chart lies."""
        return self.pitch_x * (place % self.across)

    def up(self, place: int) -> float:
        """How far up a chart lies."""
        return self.pitch_y * (self.down - 1 - place // self.across)


def small_multiples(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Prevalence over time, one small chart for each group, the commonest first, all on one scale.

    Parameters
    ----------
    answer : Answer
        ``table``: a period and another grouping, cases, at_risk, prevalence, low, high.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
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
    places = _places(table[table[group].isin(shown)], period, across, down, height)
    parts = [table[table[group] == name].reset_index(drop=True) for name in shown]
    names = [value_label(group, name) for name in shown]
    figure = plain.Figure(
        [
            _grid(places, len(shown), narrow, theme),
            _whiskers(parts, period, places, theme),
            _lines(parts, period, places, theme),
            _points(parts, names, period, places, theme, answer.basis.unit, drill),
            _names(names, places, narrow, theme),
        ]
    )
    _axes(figure, places, table[period], narrow)
    notes = [_("Share of {units} looked at, all on one scale.", units=plural(answer.basis.unit, 2))]
    if len(order) > len(shown):
        notes.append(_("The {n} commonest are drawn; the table has all.", n=len(shown)))
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height, notes=notes, legend_lines=0)
    figure.update_layout(margin={"t": figure.layout.margin.t + 18}, height=figure.layout.height + 18)
    return figure


def _places(table: pd.DataFrame, period: str, across: int, down: int, height: int) -> Places:
    first, last = table[period].min(), table[period].max()
    span = last - first
    if not span:
        span = pd.Timedelta(days=365) if dated(table[period]) else 1.0
    edge = span * EDGE
    top = min(1.0, max(0.02, top_of(table, "high", "prevalence") * 1.06))
    plot = (height - BETWEEN * (down - 1)) / down
    wide = last - first + 2 * edge
    return Places(first - edge, last + edge, wide + span * APART, top, top * (plot + BETWEEN) / plot, across, down)


def _broken(pieces: list[tuple[list[Any], list[float]]]) -> tuple[list[Any], list[float]]:
    """Lines one after the other, with a gap after each."""
    xs: list[Any] = []
    ys: list[float] = []
    for x, y in pieces:
        # A gap needs a place of its own on an axis of dates.
        xs += [*x, x[-1]]
        ys += [*y, math.nan]
    return xs, ys


def _grid(places: Places, count: int, narrow: bool, theme: str) -> plain.Part:
    ticks = share_ticks(places.top, 3)
    x, y = _broken(
        [
            ([places.first + places.right(place), places.last + places.right(place)], [tick + places.up(place)] * 2)
            for place in range(count)
            for tick in ticks
        ]
    )
    return plain.scatter(x=x, y=y, mode="lines", line={"color": tokens(theme).rule, "width": 1}, hoverinfo="skip")


def _whiskers(parts: list[pd.DataFrame], period: str, places: Places, theme: str) -> plain.Part:
    """The intervals of all charts, as one broken line."""
    x, y = _broken(
        [
            ([row[period] + places.right(place)] * 2, [row["low"] + places.up(place), row["high"] + places.up(place)])
            for place, part in enumerate(parts)
            for row in records(part)
        ]
    )
    line = {"color": rgba(tokens(theme).accent, 0.45), "width": 1}
    return plain.scatter(x=x, y=y, mode="lines", line=line, hoverinfo="skip")


def _lines(parts: list[pd.DataFrame], period: str, places: Places, theme: str) -> plain.Part:
    pieces = []
    for place, part in enumerate(parts):
        x, y = with_gaps(part[period] + places.right(place), part["prevalence"])
        pieces.append((x, [each + places.up(place) for each in y]))
    xs, ys = _broken(pieces)
    line = {"color": rgba(tokens(theme).accent, 0.7), "width": 1.5}
    return plain.scatter(x=xs, y=ys, mode="lines", line=line, hoverinfo="skip")


def _points(
    parts: list[pd.DataFrame],
    names: list[str],
    period: str,
    places: Places,
    theme: str,
    unit: str,
    drill: Drill | None,
) -> plain.Part:
    hover = [
        f"<b>{name}, {value_label(kind, row[period])}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}"
        for part, name, kind in zip(parts, names, [period_kind(part[period]) for part in parts], strict=True)
        for row in records(part)
    ]
    return plain.scatter(
        x=pd.concat([part[period] + places.right(place) for place, part in enumerate(parts)]),
        y=np.concatenate([part["prevalence"] + places.up(place) for place, part in enumerate(parts)]),
        mode="markers",
        marker={"color": tokens(theme).accent, "size": 5},
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(pd.concat(parts, ignore_index=True), drill),
    )


def _names(names: list[str], places: Places, narrow: bool, theme: str) -> plain.Part:
    middle = places.first + (places.last - places.first) / 2
    return plain.scatter(
        x=[middle + places.right(place) for place in range(len(names))],
        y=[places.up(place) + places.top for place in range(len(names))],
        text=names,
        textposition="top center",
        textfont={"size": 12 if narrow else 13, "color": tokens(theme).ink},
        mode="text",
        cliponaxis=False,
        hoverinfo="skip",
    )


def _axes(figure: plain.Figure, places: Places, periods: pd.Series, narrow: bool) -> None:
    """Every row has its shares and every column its time."""
    ticks = share_ticks(places.top, 3)
    figure.update_yaxes(
        tickvals=[tick + place * places.pitch_y for place in range(places.down) for tick in ticks],
        ticktext=share_words(ticks) * places.down,
        range=[0, (places.down - 1) * places.pitch_y + places.top],
        showgrid=False,
        tickfont={"size": 11},
    )
    times, words = _times(periods, places, 2 if narrow else 4)
    columns = [places.right(place) for place in range(places.across)]
    figure.update_xaxes(
        tickvals=[time + right for right in columns for time in times],
        ticktext=words * places.across,
        range=[places.first, places.last + columns[-1]],
        showgrid=False,
        tickangle=0,
        tickfont={"size": 11},
    )
    if dated(periods):
        figure.update_xaxes(type="date")
        figure.update_layout(meta={BESIDE_EACH_OTHER: [right / pd.Timedelta(days=1) for right in columns]})


def _times(periods: pd.Series, places: Places, most: int) -> tuple[list[Any], list[str]]:
    """A few times that are written under a chart: the years where there are some, else its ends."""
    if not dated(periods):
        years = sorted(set(periods))
        years = years[:: max(1, -(-len(years) // most))]
        return years, [f"{year:g}" for year in years]
    begun = range(places.first.year + 1, places.last.year + 1)
    if len(begun) > 1:
        years = list(begun)[:: max(1, -(-len(begun) // most))]
        return [pd.Timestamp(year, 1, 1) for year in years], [f"{year}" for year in years]
    ends = sorted({periods.min(), periods.max()})
    return ends, [date_label(end, "month") for end in ends]
