"""How prevalence went over time, with intervals, control limits and the dates things were changed."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dated import mark_changes
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.periods import period_axis, period_kind, shifted, with_gaps
from evenfoot.dashboard.charts.theme import DASHES, MARKERS, Tokens, estimate, plural, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told

PERIODS = ("month", "quarter", "year", "period")
_TITLES = {"month": say("Month by month"), "quarter": say("Quarter by quarter"), "year": say("Year by year")}

HEIGHT = 330
NARROW_HEIGHT = 290


def trend(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
    changes: pd.DataFrame | None = None,
) -> plain.Figure:
    """Prevalence by month, quarter or year.

    Parameters
    ----------
    answer : Answer
        ``table``: a period, cases, at_risk, prevalence, low, high; a second grouping gives one line a group.
        With centre, lower and upper the limits of a control chart are drawn and points with ``signal`` are
        ringed.
    theme, narrow, title, drill
        As in the other charts.
    changes : pandas.DataFrame, optional
        date and what: dated changes on the farm, drawn as vertical lines; ``extra["changes"]`` by default.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    period = next((name for name in PERIODS if name in answer.table), None)
    title = told(_TITLES.get(period or "month", say("Over time"))) if title is None else title
    if answer.empty or period is None or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table.loc[answer.table["at_risk"] > 0].sort_values(period, kind="stable")
    second = next((name for name in answer.by if name != period and name in table), None)
    figure = plain.Figure()
    highest = top_of(table, "high", "prevalence")
    if "centre" in table:
        figure.add_traces(_limits(table, period, theme))
        highest = max(highest, float(table["upper"].max()))
    groups = [None] if second is None else list(dict.fromkeys(table[second]))[: len(MARKERS)]
    for place, group in enumerate(groups):
        part = table if second is None else table[table[second] == group]
        name = "" if second is None else value_label(second, group)
        beside = place - (len(groups) - 1) / 2
        figure.add_traces(_series(part, period, name, place, beside, theme, drill, answer.basis.unit))
    if "signal" in table:
        figure.add_traces(_signals(table, period, theme))
    letters = sum(len(trace.name or "") + 8 for trace in figure.data if trace.showlegend)
    figure.update_yaxes(
        **shares_axis(narrow, highest, _("Share of {units} looked at", units=plural(answer.basis.unit, 2)))
    )
    period_axis(figure, table[period], narrow)
    dates = answer.extra.get("changes") if changes is None else changes
    notes = mark_changes(figure, dates, table[period], theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        notes=notes,
        legend_lines=1 + letters // (46 if narrow else 100) if letters else 0,
    )


def _series(
    part: pd.DataFrame,
    period: str,
    name: str,
    place: int,
    beside: float,
    theme: str,
    drill: Drill | None,
    unit: str,
) -> list[plain.Part]:
    t = tokens(theme)
    colour = t.series[place % len(t.series)] if name else t.accent
    part = part.reset_index(drop=True)
    at = shifted(part[period], beside)
    x, y = with_gaps(at, part["prevalence"])
    kind = period_kind(part[period])
    hover = [
        f"<b>{value_label(kind, row[period])}{', ' + name if name else ''}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}{_signal_words(row)}"
        for row in records(part)
    ]
    return [
        plain.scatter(
            x=x,
            y=y,
            mode="lines",
            line={"color": rgba(colour, 0.7), "width": 2, "dash": DASHES[place % len(DASHES)]},
            hoverinfo="skip",
            legendgroup=name,
            showlegend=False,
        ),
        plain.scatter(
            x=at,
            y=part["prevalence"],
            error_y=whiskers(part["prevalence"], part["low"], part["high"], rgba(colour, 0.8)),
            mode="markers",
            marker={
                "color": colour,
                "size": 8,
                "symbol": MARKERS[place % len(MARKERS)],
                "line": {"color": t.raised, "width": 1},
            },
            name=name,
            legendgroup=name,
            showlegend=bool(name),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(part, drill),
        ),
    ]


def _signal_words(row: dict[str, Any]) -> str:
    signal = row.get("signal")
    if signal is None or pd.isna(signal) or not signal:
        return ""
    words = told(signal) if isinstance(signal, str) else _("outside what chance alone explains")
    return f"<br><i>{words}</i>"


def _limits(table: pd.DataFrame, period: str, theme: str) -> list[plain.Part]:
    """Band between the control limits, and the centre line."""
    t: Tokens = tokens(theme)
    x = table[period]
    steps = {"shape": "hvh", "color": t.muted, "width": 1}
    return [
        plain.scatter(x=x, y=table["upper"], mode="lines", line=steps, hoverinfo="skip", showlegend=False),
        plain.scatter(
            x=x,
            y=table["lower"],
            mode="lines",
            line=steps,
            fill="tonexty",
            fillcolor=rgba(t.muted, 0.10),
            name=_("Limits of what chance alone explains"),
            hoverinfo="skip",
            showlegend=True,
        ),
        plain.scatter(
            x=x,
            y=table["centre"],
            mode="lines",
            line={"color": t.muted, "width": 1.4, "dash": "dash"},
            name=_("Centre line"),
            hoverinfo="skip",
            showlegend=True,
        ),
    ]


def _signals(table: pd.DataFrame, period: str, theme: str) -> list[plain.Part]:
    t = tokens(theme)
    marked = table[table["signal"].fillna(False).astype(bool)]
    if marked.empty:
        return []
    return [
        plain.scatter(
            x=marked[period],
            y=marked["prevalence"],
            mode="markers",
            marker={"symbol": "circle-open", "size": 17, "color": t.ink, "line": {"width": 2}},
            name=_("Signal"),
            hoverinfo="skip",
            showlegend=True,
        )
    ]
