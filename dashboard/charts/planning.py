"""How many cows for which difference: the smaller the change, the more cows have to be looked at."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, wrapped
from evenfoot.dashboard.charts.theme import DASHES, MARKERS, capital, number, percent, plural, tokens
from evenfoot.dashboard.i18n.translation import _, told

HEIGHT = 320
NARROW_HEIGHT = 300
TICKS = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 50_000, 100_000)


DIRECTIONS = {"fall": say("To see it fall"), "rise": say("To see it rise")}


def points(row: dict[str, Any]) -> float:
    """The size of the change in percentage points.

    Examples
    --------
    >>> points({"points": 0.1})
    10.0
    """
    return round(abs(float(row["points"])) * 100, 6)


def planning(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Cows needed in each of two groups or periods against the change to be seen.

    Parameters
    ----------
    answer : Answer
        ``table``: points (of change, a proportion), direction (fall or rise), needed (in each of two groups or
        periods), prevalence (now), prevalence_then, at_hand (looked at now).
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        One line falling and one rising; every dot says its number, and a line across the number at hand.
    """
    title = _("How many cows for which difference") if title is None else title
    known = answer.table if answer.empty else answer.table[answer.table["needed"].notna()]
    if known.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    t = tokens(theme)
    unit = answer.basis.unit
    figure = plain.Figure()
    for place, (name, part) in enumerate(known.groupby("direction", sort=False)):
        part = part.assign(x=[points(row) for row in records(part)]).sort_values("x")
        most = known.groupby("points")["needed"].max()
        above = [row["needed"] >= most[row["points"]] for row in records(part)]
        figure.add_trace(_line(part.assign(above=above), str(name), place, theme, drill, unit))
    hand = float(known["at_hand"].max())
    at = _roomier(known, hand)
    figure.add_hline(y=hand, line={"color": t.ink, "width": 1.2, "dash": "dot"})
    figure.add_annotation(
        text=_("{n} {units} at hand", n=number(hand), units=plural(unit, hand)),
        x=at,
        xref="paper",
        xanchor="right" if at else "left",
        y=math.log10(hand),
        yanchor="bottom",
        showarrow=False,
        font={"size": 12, "color": t.ink},
        bgcolor=t.raised,
        borderpad=2,
    )
    top, bottom = max(float(known["needed"].max()), hand), max(1.0, min(float(known["needed"].min()), hand))
    figure.update_yaxes(
        type="log",
        title={"text": _("{units} in each group", units=capital(plural(unit, 2)))},
        range=[math.log10(bottom) - 0.25, math.log10(top) + 0.3],
        tickvals=TICKS,
        tickformat=",d",
    )
    ticks = sorted({points(row) for row in records(known)})
    across = wrapped(_("Difference to be seen, percentage points"), narrow, 40 if narrow else 90)
    figure.update_xaxes(
        title={"text": "<br>".join(across)},
        tickvals=ticks,
        range=[min(ticks) * 0.6, max(ticks) * 1.1],
        showgrid=False,
    )
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=1,
        shown=N_("four times in five such a difference would be seen"),
    )


def _roomier(known: pd.DataFrame, hand: float) -> int:
    """The end of the line of cows at hand, 0 left or 1 right, that is farther from the dots near it."""
    away = known["needed"].map(lambda cows: abs(math.log(cows) - math.log(hand)))
    away = away.groupby(known["points"].abs()).min().sort_index()
    return int(away.iloc[-2:].min() > away.iloc[:2].min())


def _line(part: pd.DataFrame, name: str, place: int, theme: str, drill: Drill | None, unit: str) -> plain.Part:
    t = tokens(theme)
    colour = t.series[place % len(t.series)]
    hover = [
        _(
            "{n} {units} in each group to see {now} become {then}",
            n=number(row["needed"]),
            units=plural(unit, row["needed"]),
            now=percent(row["prevalence"]),
            then=percent(row["prevalence_then"]),
        )
        for row in records(part)
    ]
    return plain.scatter(
        x=part["x"],
        y=part["needed"],
        mode="lines+markers+text",
        line={"color": colour, "width": 2, "dash": DASHES[place % len(DASHES)]},
        marker={"size": 9, "symbol": MARKERS[place % len(MARKERS)], "color": colour},
        text=[number(cows) for cows in part["needed"]],
        textposition=["top center" if above else "bottom center" for above in part["above"]],
        textfont={"size": 12, "color": t.ink},
        name=told(DIRECTIONS.get(name, name)),
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(part, drill),
        cliponaxis=False,
    )
