"""Is this month unlike the months before: monthly shares between control limits, and their moving average."""

from __future__ import annotations

import pandas as pd

from analytics.measures.answer import Answer
from analytics.words import unfilled
from dashboard.charts import plain
from dashboard.charts.dated import mark_changes
from dashboard.charts.frame import (
    Drill,
    framed,
    marks,
    nothing_to_show,
    records,
    share_ticks,
    share_words,
    shares_axis,
    top_of,
)
from dashboard.charts.labels import value_label
from dashboard.charts.periods import period_axis, with_gaps
from dashboard.charts.theme import cases_of, percent, percent_range, plural, rgba, tokens
from dashboard.language import _, told

HEIGHT = 300
AVERAGE_HEIGHT = 190
GAP = 0.1

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
    """Control chart of a monthly share, and under it the moving average that shows slow drifts.

    Parameters
    ----------
    answer : Answer
        ``table``: month, cases, at_risk, prevalence, centre, lower, upper, signal (plain words, empty where
        there is none); with ewma, ewma_lower and ewma_upper the second panel is drawn.
    unit : str, optional
        What was looked at; the unit of the answer by default.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    dashboard.charts.plain.Figure
        A month with a signal has a diamond of its own and the word higher or lower.
    """
    title = _("Is a month unlike the months before") if title is None else title
    if answer.empty or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["at_risk"] > 0].sort_values("month", kind="stable").reset_index(drop=True)
    average = "ewma" in table and bool(table["ewma"].notna().any())
    height = HEIGHT + AVERAGE_HEIGHT * average
    figure = plain.stacked([HEIGHT, AVERAGE_HEIGHT] if average else [HEIGHT], GAP)
    unit = unit or answer.basis.unit
    figure.add_traces(_between(table, "lower", "upper", "centre", theme, named=True))
    figure.add_traces(_months(table, theme, drill, unit))
    _mark_signals(figure, answer, theme, narrow)
    top = top_of(table, "prevalence", "upper", "centre")
    figure.update_yaxes(**shares_axis(narrow, top * 1.08, _("Share of {units}", units=plural(unit, 2))), row=1)
    if average:
        figure.add_traces(_between(table, "ewma_lower", "ewma_upper", "centre", theme, named=False), row=2)
        figure.add_traces(_average(table, theme, drill), row=2)
        # A moving average varies little; from nought it would be a flat line.
        lowest = float(min(table["ewma"].min(), table.get("ewma_lower", table["ewma"]).min()))
        highest = top_of(table, "ewma", *(name for name in ("ewma_upper",) if name in table))
        room = max(0.01, (highest - lowest) * 0.2)
        ticks = [tick for tick in share_ticks(highest + room, 40) if tick >= lowest - room]
        ticks = ticks[:: max(1, -(-len(ticks) // 4))]
        figure.update_yaxes(
            title={"text": _("Moving average")},
            tickvals=ticks,
            ticktext=share_words(ticks),
            range=[max(0.0, lowest - room), highest + room],
            row=2,
        )
    period_axis(figure, table["month"], narrow)
    dates = mark_changes(figure, answer.extra.get("changes"), table["month"], theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=height,
        notes=dates,
        legend_lines=2 if narrow else 1,
        shown=unfilled("the grey band is what chance alone explains"),
    )


def _between(table: pd.DataFrame, low: str, high: str, centre: str, theme: str, *, named: bool) -> list[plain.Part]:
    """The band between two limits, as steps, since every month has limits of its own, and the centre line."""
    t = tokens(theme)
    out = []
    if low in table and high in table:
        edge = {"shape": "hvh", "color": rgba(t.muted, 0.6), "width": 1}
        quiet = {"mode": "lines", "line": edge, "hoverinfo": "skip"}
        out = [
            plain.scatter(x=table["month"], y=table[high], showlegend=False, **quiet),
            plain.scatter(
                x=table["month"],
                y=table[low],
                fill="tonexty",
                fillcolor=rgba(t.muted, 0.12),
                name=_("What chance alone explains"),
                showlegend=named,
                **quiet,
            ),
        ]
    out.append(
        plain.scatter(
            x=table["month"],
            y=table[centre],
            mode="lines",
            line={"color": t.muted, "width": 1.4, "dash": "dash"},
            name=_("Usual share (baseline)"),
            hoverinfo="skip",
            showlegend=named,
        )
    )
    return out


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
            row=1,
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


def _average(table: pd.DataFrame, theme: str, drill: Drill | None) -> list[plain.Part]:
    t = tokens(theme)
    outside = pd.Series(False, index=table.index)
    if "ewma_lower" in table:
        outside = (table["ewma"] > table["ewma_upper"]) | (table["ewma"] < table["ewma_lower"])
    hover = [
        f"<b>{value_label('month', row['month'])}</b><br>{_('moving average')} {percent(row['ewma'])}"
        for row in records(table)
    ]
    return [
        plain.scatter(
            x=table["month"],
            y=table["ewma"],
            mode="lines+markers",
            line={"color": t.series[0], "width": 2, "dash": "dot"},
            marker={
                "size": [12 if out else 4 for out in outside],
                "symbol": ["diamond-open" if out else "circle" for out in outside],
                "color": t.series[0],
                "line": {"width": 2},
            },
            name=_("Moving average"),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(table, drill),
            showlegend=False,
        )
    ]
