"""Is this month unlike the months before: monthly shares between control limits."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dated import mark_changes
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.periods import period_axis, with_gaps
from evenfoot.dashboard.charts.theme import cases_of, percent, percent_range, plural, rgba, tokens
from evenfoot.dashboard.i18n.translation import _, told

HEIGHT = 300

MOST_NAMED = 6
"""Signals that get a word beside their mark; more would lie on each other. The list above the chart has all."""

HIGH, LOW = "higher", "lower"


def signals(answer: Answer) -> pd.DataFrame:
    """The months with a signal, newest first, with ``side``: higher or lower than the centre line."""
    table = answer.table
    if answer.empty or "signal" not in table:
        return table.assign(side="").head(0)
    told = table[table["signal"].fillna("").astype(str).str.len() > 0].sort_values("month", ascending=False)
    return told.assign(side=[HIGH if up else LOW for up in told["prevalence"] >= told["centre"]])


def control(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
    unit: str | None = None,
) -> plain.Figure:
    """Control chart of a monthly share.

    Parameters
    ----------
    answer : Answer
        ``table``: month, cases, at_risk, prevalence, centre, lower, upper, signal (plain words, empty where
        there is none).
    unit : str, optional
        What was looked at; the unit of the answer by default.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        A month with a signal has a diamond of its own and the word higher or lower.
    """
    title = _("Is a month unlike the months before") if title is None else title
    if answer.empty or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["at_risk"] > 0].sort_values("month", kind="stable").reset_index(drop=True)
    figure = plain.Figure()
    unit = unit or answer.basis.unit
    figure.add_traces(_between(table, theme))
    figure.add_traces(_months(table, theme, drill, unit))
    _mark_signals(figure, answer, theme, narrow)
    top = top_of(table, "prevalence", "upper", "centre")
    figure.update_yaxes(**shares_axis(narrow, top * 1.08, _("Share of {units}", units=plural(unit, 2))))
    period_axis(figure, table["month"], narrow)
    dates = mark_changes(figure, answer.extra.get("changes"), table["month"], theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=HEIGHT,
        notes=dates,
        legend_lines=2 if narrow else 1,
        shown=N_("the grey band is what chance alone explains"),
    )


def _between(table: pd.DataFrame, theme: str) -> list[plain.Part]:
    """The band between the limits, as steps, since every month has limits of its own, and the usual share."""
    t = tokens(theme)
    edge = {"shape": "hvh", "color": rgba(t.muted, 0.6), "width": 1}
    quiet = {"mode": "lines", "line": edge, "hoverinfo": "skip"}
    return [
        plain.scatter(x=table["month"], y=table["upper"], showlegend=False, **quiet),
        plain.scatter(
            x=table["month"],
            y=table["lower"],
            fill="tonexty",
            fillcolor=rgba(t.muted, 0.12),
            name=_("What chance alone explains"),
            showlegend=True,
            **quiet,
        ),
        plain.scatter(
            x=table["month"],
            y=table["centre"],
            mode="lines",
            line={"color": t.muted, "width": 1.4, "dash": "dash"},
            name=_("Usual share at that time of the year"),
            hoverinfo="skip",
            showlegend=True,
        ),
    ]


def _months(table: pd.DataFrame, theme: str, drill: Drill | None, unit: str) -> list[plain.Part]:
    t = tokens(theme)
    x, y = with_gaps(table["month"], table["prevalence"])
    hover = []
    for row in records(table):
        signal = str(row.get("signal") or "")
        hover.append(
            f"<b>{value_label('month', row['month'])}</b><br>{percent(row['prevalence'])}, "
            f"{cases_of(row['cases'], row['at_risk'], unit)}<br>"
            + _("chance alone: {range}", range=percent_range(row["lower"], row["upper"]))
            + (f"<br><i>{told(signal)}</i>" if signal and signal != "nan" else "")
        )
    return [
        plain.scatter(
            x=x, y=y, mode="lines", line={"color": rgba(t.accent, 0.7), "width": 2}, hoverinfo="skip", showlegend=False
        ),
        plain.scatter(
            x=table["month"],
            y=table["prevalence"],
            mode="markers",
            marker={"color": t.accent, "size": 8, "line": {"color": t.raised, "width": 1}},
            name=_("Month"),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(table, drill),
            showlegend=False,
        ),
    ]


def _mark_signals(figure: plain.Figure, answer: Answer, theme: str, narrow: bool) -> None:
    t = tokens(theme)
    told = signals(answer)
    if told.empty:
        return
    figure.add_trace(
        plain.scatter(
            x=told["month"],
            y=told["prevalence"],
            mode="markers",
            marker={"symbol": "diamond-open", "size": 17, "color": t.ink, "line": {"width": 2}},
            name=_("Signal"),
            hoverinfo="skip",
            showlegend=True,
        ),
    )
    words = {HIGH: _("higher"), LOW: _("lower")}
    for row in records(_apart(told, 5 if narrow else 3)):
        figure.add_annotation(
            x=row["month"],
            y=row["prevalence"],
            text=words[str(row["side"])],
            showarrow=False,
            yshift=19 if row["side"] == HIGH else -19,
            font={"size": 11.5, "color": t.ink},
            bgcolor=t.raised,
            borderpad=1,
        )


def _apart(told: pd.DataFrame, months: int) -> pd.DataFrame:
    """The newest signals that are far enough from others on their side for a word each."""
    kept: list[int] = []
    last: dict[str, pd.Timestamp] = {}
    for place, (month, side) in enumerate(zip(told["month"], told["side"], strict=True)):
        if side not in last or (last[side] - month).days > months * 30:
            kept.append(place)
            last[side] = month
    return told.iloc[kept[:MOST_NAMED]]
