"""Farms against their usual spread: the fewer cows were looked at, the further a farm may lie from the mean."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import capital, cases_of, estimate, percent, percent_range, plural, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _

HEIGHT = 380
NARROW_HEIGHT = 330
MOST_NAMES = 12
"""Farms named on the chart; of more, only those outside the limits are. [common practice, no source]"""


def outside_words(row: dict[str, Any]) -> str:
    """Whether a farm lies outside what luck and the usual spread of farms explain.

    Examples
    --------
    >>> outside_words({"outside": "above", "prevalence": 0.4, "funnel_high": 0.3, "funnel_low": 0.1})
    'above the usual spread'
    """
    outside = row.get("outside")
    if isinstance(outside, str):
        side = outside
    elif outside is None or pd.isna(outside) or not outside:
        side = ""
    else:
        side = "above" if row["prevalence"] > row["funnel_high"] else "below"
    if side == "above":
        return _("above the usual spread")
    return _("below the usual spread") if side else _("within the usual spread")


def funnel(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Funnel plot: every farm's share against the number looked at, between the limits of luck.

    Parameters
    ----------
    answer : Answer
        ``table``: farm, cases, at_risk, prevalence, funnel_low, funnel_high, outside; with low and high the
        farm's own interval is drawn.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Farms outside the limits are diamonds and say above or below in words.
    """
    title = _("Farms against the usual spread") if title is None else title
    if answer.empty or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["at_risk"] > 0].sort_values("at_risk", kind="stable").reset_index(drop=True)
    unit = answer.basis.unit
    figure = plain.Figure()
    if table["funnel_low"].notna().any():
        figure.add_traces(_limits(table, theme))
    figure.add_trace(_farms(table, theme, drill, unit))
    _names(figure, table, theme, narrow)
    top = top_of(table, "prevalence", "funnel_high", *(name for name in ("high",) if name in table))
    figure.update_yaxes(**shares_axis(narrow, top, _("Share of {units} with a lesion", units=plural(unit, 2))))
    figure.update_xaxes(
        title={"text": _("{units} looked at", units=capital(plural(unit, 2)))},
        range=list(_span(table)),
        tickformat=",d",
        nticks=5 if narrow else 9,
        showgrid=False,
    )
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=2 if narrow else 1,
        shown=N_("the grey band is luck and the usual spread of farms"),
    )


def _limits(table: pd.DataFrame, theme: str) -> list[plain.Part]:
    t = tokens(theme)
    known = table[table["funnel_low"].notna()]
    middle = known["cases"].sum() / known["at_risk"].sum()
    x = known["at_risk"].to_numpy(dtype=float)
    if len(known) > 1:
        # Limits shrink with the root of the number looked at; between farms they are drawn so.
        x = np.linspace(x.min(), x.max(), 60)
        root = 1 / np.sqrt(known["at_risk"].to_numpy(dtype=float))
        order = np.argsort(root)
        at = 1 / np.sqrt(x)
        low = np.interp(at, root[order], known["funnel_low"].to_numpy(dtype=float)[order])
        high = np.interp(at, root[order], known["funnel_high"].to_numpy(dtype=float)[order])
    else:
        low, high = (known[name].to_numpy(dtype=float) for name in ("funnel_low", "funnel_high"))
    edge = {"mode": "lines", "line": {"color": rgba(t.muted, 0.7), "width": 1}, "hoverinfo": "skip"}
    return [
        plain.scatter(x=x, y=high, showlegend=False, **edge),
        plain.scatter(
            x=x,
            y=low,
            fill="tonexty",
            fillcolor=rgba(t.muted, 0.12),
            name=_("Luck and the usual spread"),
            **edge,
        ),
        plain.scatter(
            x=x,
            y=np.full(len(x), middle),
            mode="lines",
            line={"color": t.muted, "width": 1.4, "dash": "dash"},
            name=_("All farms together, {share}", share=percent(float(middle))),
            hoverinfo="skip",
        ),
    ]


def is_outside(row: dict[str, Any]) -> bool:
    """Whether a farm lies outside the limits."""
    return outside_words(row) != outside_words({"outside": ""})


def _farms(table: pd.DataFrame, theme: str, drill: Drill | None, unit: str) -> plain.Part:
    t = tokens(theme)
    hover = []
    for row in records(table):
        own = (
            estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)
            if "low" in table
            else f"{cases_of(row['cases'], row['at_risk'], None)}, {percent(row['prevalence'])}"
        )
        limits = percent_range(row["funnel_low"], row["funnel_high"])
        hover.append(
            f"<b>{value_label('farm', row['farm'])}</b><br>{own}<br>"
            + _("luck alone: {limits}; {where}", limits=limits, where=outside_words(row))
        )
    out = [is_outside(row) for row in records(table)]
    bars = None
    if "low" in table:
        bars = whiskers(table["prevalence"], table["low"], table["high"], rgba(t.accent, 0.8), width=4)
    return plain.scatter(
        x=table["at_risk"],
        y=table["prevalence"],
        error_y=bars,
        mode="markers",
        marker={
            "color": t.accent,
            "size": [12 if far else 9 for far in out],
            "symbol": ["diamond" if far else "circle" for far in out],
            "line": {"color": t.raised, "width": 1},
        },
        name=_("Farm"),
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(table, drill),
        showlegend=False,
    )


def _names(figure: plain.Figure, table: pd.DataFrame, theme: str, narrow: bool) -> None:
    """A name beside each dot, at the first place where it covers neither another name nor a dot."""
    t = tokens(theme)
    named = [row for row in records(table) if len(table) <= MOST_NAMES or is_outside(row)]
    width, height = NARROW_PLOT if narrow else PLOT
    low, high = _span(table)
    top = top_of(table, "prevalence", "funnel_high", *(name for name in ("high",) if name in table))

    def place(row: dict[str, Any]) -> tuple[float, float]:
        return (row["at_risk"] - low) / (high - low) * width, row["prevalence"] / top * height

    taken: list[Box] = []
    for row in records(table):
        x, y = place(row)
        reach = [(row.get(end, row["prevalence"]) / top) * height for end in ("low", "high")]
        taken.append((x - DOT, min(y - DOT, reach[0]), x + DOT, max(y + DOT, reach[1])))
    for row in sorted(named, key=lambda r: -r["prevalence"]):
        text = value_label("farm", row["farm"])
        if is_outside(row):
            text += _(", above") if row["prevalence"] > row["funnel_high"] else _(", below")
        x, y = place(row)
        right, up, box = _free_place(x, y, LETTER * len(text), width, taken)
        taken.append(box)
        figure.add_annotation(
            x=row["at_risk"],
            y=row["prevalence"],
            text=text,
            showarrow=False,
            xanchor="left" if right else "right",
            xshift=BESIDE if right else -BESIDE,
            yshift=up,
            font={"size": 11.5 if narrow else 12.5, "color": t.ink},
        )


Box = tuple[float, float, float, float]
"""Left, bottom, right and top in pixels."""

PLOT, NARROW_PLOT = (960.0, 330.0), (240.0, 270.0)
"""Roughly what the axes enclose, in pixels."""

LETTER, LINE, DOT, BESIDE = 7.0, 16.0, 7.0, 10.0


def _free_place(x: float, y: float, long: float, width: float, taken: list[Box]) -> tuple[bool, float, Box]:
    """Right or left, how far up, and the box of a name of some length beside a dot."""
    tried = []
    for up in (0.0, LINE, -LINE, 2 * LINE, -2 * LINE, 3 * LINE, -3 * LINE):
        for right in (True, False):
            left = x + BESIDE if right else x - BESIDE - long
            box = (left, y + up - LINE / 2, left + long, y + up + LINE / 2)
            inside = left >= 0 and left + long <= width
            covered = sum(_overlap(box, other) for other in taken)
            if inside and not covered:
                return right, up, box
            tried.append((not inside, covered, right, up, box))
    *_, right, up, box = min(tried, key=lambda each: each[:2])
    return right, up, box


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _span(table: pd.DataFrame) -> tuple[float, float]:
    """The ends of the axis of the number looked at, with room beside the outermost farms."""
    most, least = float(table["at_risk"].max()), float(table["at_risk"].min())
    room = max(1.0, (most - least) * 0.12)
    return max(0.0, least - room), most + room
