"""The last so many months together, month after month: a line with its band, and the single months behind it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dated import mark_changes
from evenfoot.dashboard.charts.frame import (
    Drill,
    framed,
    marks,
    nothing_to_show,
    records,
    rests_on,
    shares_axis,
    top_of,
)
from evenfoot.dashboard.charts.labels import date_label
from evenfoot.dashboard.charts.periods import period_axis
from evenfoot.dashboard.charts.theme import estimate, percent, rgba, tokens
from evenfoot.dashboard.i18n.translation import _, told

HEIGHT = 320
NARROW_HEIGHT = 280


def rolling(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """A rolling share with its interval as a band; single months as pale dots, the larger the more were looked at.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.rolling_window.rolling`.
    theme, narrow, title, drill
        As in every chart; *drill* is given the rows of the table.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("The last months together") if title is None else title
    if answer.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    t = tokens(theme)
    table = answer.table
    alone = answer.extra["months"]
    # Months before the first window are in it, and shown; the scale follows the line, as a month of few cows may be
    # anywhere.
    alone = alone[alone["month"] >= table["from_month"].min()]
    figure = plain.Figure([_single(alone, theme), *_band(table, theme)])
    hover = [
        f"<b>{_span(row)}</b><br>{estimate(row['cases'], row['at_risk'], row['low'], row['high'], answer.basis.unit)}"
        for row in records(table)
    ]
    figure.add_trace(
        plain.scatter(
            x=table["month"],
            y=table["prevalence"],
            mode="lines+markers",
            line={"color": t.accent, "width": 2.4},
            marker={"size": 6, "color": t.accent, "line": {"color": t.raised, "width": 1}},
            name=_("Months together, with interval"),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(table, drill),
        )
    )
    drawn = top_of(table, "high")
    axis = shares_axis(narrow, min(max(drawn, top_of(alone, "prevalence")), 1.8 * drawn), _("Share"))
    figure.update_yaxes(**axis)
    period_axis(figure, pd.concat([alone["month"], table["month"]]), narrow)
    dates = mark_changes(figure, answer.extra.get("changes"), table["month"], theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        notes=dates,
        legend_lines=2 if narrow else 1,
        shown=N_("the band shows {level} intervals"),
    )


def _span(row: dict[str, Any]) -> str:
    return _("{first} to {last}", first=date_label(row["from_month"], "month"), last=date_label(row["month"], "month"))


def _single(alone: pd.DataFrame, theme: str) -> plain.Part:
    t = tokens(theme)
    sizes = 4 + 6 * (alone["at_risk"] / max(alone["at_risk"].max(), 1)) ** 0.5
    return plain.scatter(
        x=alone["month"],
        y=alone["prevalence"],
        mode="markers",
        marker={"size": sizes, "color": rgba(t.muted, 0.35), "symbol": "circle"},
        name=_("Single months (larger: more looked at)"),
        hoverinfo="skip",
    )


def _band(table: pd.DataFrame, theme: str) -> list[plain.Part]:
    colour = tokens(theme).accent
    edge = {"mode": "lines", "line": {"width": 0.8, "color": rgba(colour, 0.5)}, "hoverinfo": "skip"}
    return [
        plain.scatter(x=table["month"], y=table["high"], showlegend=False, **edge),
        plain.scatter(
            x=table["month"], y=table["low"], fill="tonexty", fillcolor=rgba(colour, 0.15), showlegend=False, **edge
        ),
    ]


def describe(answer: Answer) -> str:
    """The chart in words: the first and the newest window, and the highest."""
    if answer.empty:
        return told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    rows = records(answer.table)
    highest = max(rows, key=lambda row: row["prevalence"])
    unit = answer.basis.unit
    parts = [
        f"{_span(row)}: {estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}."
        for row in (rows[0], rows[-1])
    ]
    top = _(
        "Highest up to {when}: {share}.",
        when=date_label(highest["month"], "month"),
        share=percent(highest["prevalence"]),
    )
    head = _("Line of the share in a window of months that moves on, {n} windows.", n=len(rows))
    return " ".join([head, *parts, top, f"{rests_on(answer, '{level} intervals')}."])
