"""Signals across farms: a line of months for each, with a mark where a month is unlike the months before."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, nothing_to_show, records, rests_on
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.periods import period_axis
from evenfoot.dashboard.charts.theme import cases_of, percent, tokens
from evenfoot.dashboard.i18n.translation import _, _n, told

MOST_FARMS = 24
"""Farms whose lines can still be read; the loudest come first. [common practice, no source]"""

ROW, NARROW_ROW = 30, 38

SHOWN = N_("triangles lie outside what chance alone explains")


def signals(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Months of the last year with records by farm; a triangle up or down where the month gave a signal.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.signals.signals`.
    theme, narrow, title, drill
        As in every chart; *drill* is given the rows of ``extra["months"]``.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Months out of the ordinary, farm by farm") if title is None else title
    months = answer.extra.get("months", pd.DataFrame())
    if answer.empty or months.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    shown = list(answer.table["farm"].head(MOST_FARMS))
    place = {farm: -i for i, farm in enumerate(shown)}
    drawn = months[months["farm"].isin(shown)]
    signal = drawn["signal"].astype(str).str.len() > 0
    up = drawn["prevalence"] >= drawn["centre"]
    t = tokens(theme)
    looks: list[tuple[pd.Series, str, dict[str, Any]]] = [
        (~signal, _("As usual"), {"symbol": "circle", "size": 7, "color": t.muted}),
        (signal & up, _("Higher than usual"), {"symbol": "triangle-up", "size": 14, "color": t.accent}),
        (signal & ~up, _("Lower than usual"), {"symbol": "triangle-down", "size": 14, "color": t.series[0]}),
    ]
    figure = plain.Figure()
    for mask, name, marker in looks:
        part = drawn[mask]
        figure.add_trace(
            plain.scatter(
                x=part["month"],
                y=part["farm"].map(place).astype("float64") - (0.18 if narrow else 0),
                mode="markers",
                marker={**marker, "line": {"color": t.raised, "width": 1}},
                name=name,
                hovertext=[_words(row) for row in records(part)],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=[drill(row) for row in records(part)] if drill else None,
            )
        )
    _names(figure, shown, theme, narrow)
    period_axis(figure, drawn["month"], narrow)
    notes = []
    if len(answer.table) > len(shown):
        notes.append(_("The {n} loudest farms are drawn; the table has all.", n=len(shown)))
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=(NARROW_ROW if narrow else ROW) * len(shown) + 20,
        notes=notes,
        legend_lines=2 if narrow else 1,
        shown=SHOWN,
    )


def _names(figure: plain.Figure, farms: list[str], theme: str, narrow: bool) -> None:
    t = tokens(theme)
    figure.update_yaxes(range=[-len(farms) + 0.4, 0.6], showgrid=False, ticks="", zeroline=False)
    if not narrow:
        figure.update_yaxes(
            tickvals=[-i for i in range(len(farms))],
            ticktext=[value_label("farm", farm) for farm in farms],
            tickfont={"color": t.ink, "size": 13},
        )
        return
    figure.update_yaxes(showticklabels=False)
    for i, farm in enumerate(farms):
        figure.add_annotation(
            text=value_label("farm", farm), x=0, xref="paper", xanchor="left", y=-i + 0.5, yanchor="top",
            showarrow=False, font={"size": 12, "color": t.ink},
        )  # fmt: skip


def _words(row: dict[str, Any]) -> str:
    signal = f"<br><i>{told(row['signal'])}</i>" if str(row["signal"]) else ""
    usual = _("usual {share}", share=percent(row["centre"]))
    return (
        f"<b>{value_label('farm', row['farm'])}, {value_label('month', row['month'])}</b><br>"
        f"{percent(row['prevalence'])}, {cases_of(row['cases'], row['at_risk'], None)}; {usual}{signal}"
    )


def sentences(answer: Answer) -> list[str]:
    """The farms with a signal in their newest half year, the loudest first; or that there is none."""
    if answer.empty:
        return []
    lately = answer.table[answer.table["lately"].astype(bool)]
    if lately.empty:
        return [_("No farm has had a month out of the ordinary in its newest half year.")]
    many = [
        _n(
            "{n} of {farms} farms has had a month out of the ordinary in its newest half year.",
            "{n} of {farms} farms have had a month out of the ordinary in their newest half year; the loudest:",
            len(lately),
            farms=len(answer.table),
        )
    ]
    return [
        *(many if len(answer.table) > MOST_FARMS else []),
        *(
            _n(
                "{farm}, {month}: {signal}.",
                "{farm}: {n} months out of the ordinary in half a year, the newest {month}: {signal}.",
                int(row["signals_half_year"]),
                farm=value_label("farm", row["farm"]),
                month=value_label("month", row["signal_month"]),
                signal=told(row["signal"]),
            )
            for row in records(lately.head(MOST_FARMS))
        ),
    ]


def describe(answer: Answer) -> str:
    """The chart in words."""
    if answer.empty:
        return told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    head = _("Rows of months for {n} farms; a month out of the ordinary has a mark of its own.", n=len(answer.table))
    return " ".join([head, *sentences(answer)[:6], f"{rests_on(answer, '{level} intervals')}."])
