"""This year against the years before: the months of each year over one another."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.charts import plain
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
from evenfoot.dashboard.charts.season import month_name
from evenfoot.dashboard.charts.theme import DASHES, MARKERS, estimate, percent, points, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told

HEIGHT = 340
NARROW_HEIGHT = 300
MOST_YEARS = 4
"""Years that can still be told apart over one another; the newest are drawn. [common practice, no source]"""

LONGEST_LINE = 4
"""A line is not drawn across more than this many months without records. [common practice, no source]"""

BESIDE = 0.14


def years(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """One line a year over the months of the calendar, each month with its interval; this year stands out.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.years.years`.
    theme, narrow, title, drill
        As in every chart; *drill* is given the rows of ``extra["months"]``.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("This year over the years before") if title is None else title
    months = answer.extra.get("months", pd.DataFrame())
    if answer.empty or months.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    shown = sorted(set(months["month"].dt.year))[-MOST_YEARS:]
    figure = plain.Figure()
    for place, year in enumerate(shown):
        part = months[months["month"].dt.year == year].sort_values("month").reset_index(drop=True)
        back = len(shown) - 1 - place
        beside = (place - (len(shown) - 1) / 2) * BESIDE
        figure.add_traces(_year(part, year, back, beside, theme, drill, answer.basis.unit))
    drawn = months[months["month"].dt.year.isin(shown)]
    figure.update_xaxes(
        tickvals=list(range(1, 13)),
        ticktext=[month_name(month)[: 1 if narrow else 4] for month in range(1, 13)],
        range=[0.5, 12.5],
        showgrid=False,
    )
    top = top_of(drawn, "high", "prevalence")
    figure.update_yaxes(**shares_axis(narrow, min(top, 1.8 * top_of(drawn, "prevalence")), _("Share")))
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=1,
    )


def _year(
    part: pd.DataFrame, year: int, back: int, beside: float, theme: str, drill: Drill | None, unit: str
) -> list[plain.Part]:
    """This year (*back* 0) strong, the others paler, each with colour, dash and marker of its own."""
    t = tokens(theme)
    colour = t.accent if not back else t.series[back - 1]
    at = part["month"].dt.month + beside
    x: list[float | None] = []
    y: list[float | None] = []
    for i, (month, share) in enumerate(zip(part["month"].dt.month, part["prevalence"], strict=True)):
        if i and month - part["month"].dt.month[i - 1] > LONGEST_LINE:
            x.append(None)
            y.append(None)
        x.append(month + beside)
        y.append(share)
    hover = [
        f"<b>{month_name(row['month'].month)} {year}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}"
        for row in records(part)
    ]
    line = {"color": rgba(colour, 0.9 if not back else 0.55), "width": 2.6 if not back else 1.6, "dash": DASHES[back]}
    return [
        plain.scatter(x=x, y=y, mode="lines", line=line, hoverinfo="skip", legendgroup=str(year), showlegend=False),
        plain.scatter(
            x=at,
            y=part["prevalence"],
            error_y=whiskers(
                part["prevalence"],
                part["low"],
                part["high"],
                rgba(colour, 0.8 if not back else 0.45),
                thickness=1.8 if not back else 1,
                width=3 if not back else 0,
            ),
            mode="markers",
            marker={"color": colour, "size": 9 if not back else 7, "symbol": MARKERS[back]},
            name=str(year),
            legendgroup=str(year),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(part, drill),
        ),
    ]


_VERDICTS: dict[str, Message] = {
    "up": say("More than"),
    "down": say("Less than"),
    "unclear": say("Not clearly different from"),
}


def sentences(answer: Answer) -> list[str]:
    """This year so far against each year before, never bolder than the interval."""
    if answer.empty:
        return []
    rows = records(answer.table)
    now, unit = rows[0], answer.basis.unit
    until = month_name(int(now["to_month"]))
    span = until if now["to_month"] == 1 else _("{first} to {last}", first=month_name(1), last=until)
    share = estimate(now["cases"], now["at_risk"], now["low"], now["high"], unit)
    out = [_("{span} {year}: {share}.", span=span, year=f"{int(now['year'])}", share=share)]
    return out + [_against(row, unit) for row in rows[1:MOST_YEARS]]


def _against(row: dict[str, Any], unit: str) -> str:
    share = estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)
    year = f"{int(row['year'])}"
    if row["direction"] == "too few":
        return _("{year}, the same months: {share}. Not enough to compare.", year=year, share=share)
    if row["direction"] == "pooled":
        return _("{year}, the same months: {share}.", year=year, share=share)
    return _(
        "{verdict} the same months of {year}, {share}: {gap} points, 95% interval {low} to {high}.",
        verdict=told(_VERDICTS[row["direction"]]),
        year=year,
        share=share,
        gap=points(row["difference"]),
        low=points(row["diff_low"]),
        high=points(row["diff_high"]),
    )


def describe(answer: Answer) -> str:
    """The chart in words."""
    if answer.empty:
        return told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    months = answer.extra["months"]
    top = max(records(months), key=lambda row: row["prevalence"])
    highest = _(
        "Highest month: {month} {year}, {share}.",
        month=month_name(top["month"].month),
        year=f"{top['month'].year}",
        share=percent(top["prevalence"]),
    )
    head = _("Lines of the months of {n} years over one another.", n=min(len(answer.table), MOST_YEARS))
    return " ".join([head, *sentences(answer), highest, f"{rests_on(answer, '{level} intervals')}."])
