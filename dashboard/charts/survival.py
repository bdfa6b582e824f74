"""How long a claw or a cow stays free of a lesion she had: steps, bands and how many are still followed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import DASHES, MARKERS, number, percent, percent_range, rgba, tokens
from evenfoot.dashboard.i18n.translation import _, _n

MOST_GROUPS = 4
"""Curves that can still be told apart; the table has all. [common practice, no source]"""

FEW_FOLLOWED = 5
"""A curve stops where fewer are still followed: its last steps are one cow each. [common practice, no source]"""

FEW_CASES = 10
"""Cases below which a share of them tells too little to be drawn. [common practice, no source]"""

HEIGHT = 320
RISK_LINE = 18
READ_AT = 180
NOT_GROUPS = {"time", "survival", "low", "high", "at_risk", "events", "level"}


def survival(
    answer: Answer,
    *,
    per: str = "cow",
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Kaplan-Meier curves of the time until the same lesion again, with numbers still followed under them.

    Parameters
    ----------
    answer : Answer
        ``extra["curve"]``: level, lesion and further groupings, time (days), survival, low, high, at_risk.
    per : {"cow", "claw"}
        Same cow or same claw.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        The groups with the most cases, each with colour, dash and marker of its own.
    """
    where = _("claw") if per == "claw" else _("cow")
    title = _("Time until the same lesion on the same {where}", where=where) if title is None else title
    curve = answer.extra.get("curve", pd.DataFrame())
    if not curve.empty and "level" in curve:
        curve = curve[curve["level"] == per]
    if curve.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    groups = [name for name in curve.columns if name not in NOT_GROUPS]
    parts = _largest(curve, groups)
    longest = max(int(part["time"].max()) for _name, part in parts)
    ticks = _ticks(longest, narrow)
    figure = plain.Figure()
    for place, (name, part) in enumerate(parts):
        figure.add_traces(_steps(part, name, place, theme, drill))
    _numbers_followed(figure, parts, ticks, theme)
    figure.update_xaxes(
        title={"text": _("Days since the case was last seen")},
        tickvals=ticks,
        range=[-longest * 0.02, longest * 1.02],
        showgrid=False,
    )
    figure.update_yaxes(**{**shares_axis(narrow, 1.0, _("Still free")), "range": [0, 1.03]})
    letters = sum(len(name) + 8 for name, _part in parts)
    notes = []
    all_groups = curve.groupby(groups, dropna=False).ngroups if groups else 1
    if all_groups > len(parts):
        notes.append(_("The {n} with the most cases are drawn; the table has all.", n=len(parts)))
    below = RISK_LINE * (len(parts) + 1) + 8
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=HEIGHT + below,
        notes=notes,
        legend_lines=(len(parts) if narrow else 1 + letters // 100) if len(parts) > 1 else 0,
        shown=N_("bands show {level} intervals"),
    )
    figure.update_layout(margin={"b": 48 + below})
    return figure


def _largest(curve: pd.DataFrame, groups: list[str]) -> list[tuple[str, pd.DataFrame]]:
    """The groups with the most cases, cut where hardly anybody is still followed, with a row at the start."""
    if not groups:
        return [("", _from_start(curve))]
    named = [
        (", ".join(value_label(name, value) for name, value in zip(groups, key, strict=True)), part)
        for key, part in curve.groupby(groups, dropna=False)
    ]
    named.sort(key=lambda pair: -float(pair[1]["at_risk"].max()))
    return [(name, _from_start(part)) for name, part in named[:MOST_GROUPS]]


def _from_start(part: pd.DataFrame) -> pd.DataFrame:
    part = part.sort_values("time", kind="stable")
    kept = part[part["at_risk"] >= FEW_FOLLOWED]
    part = kept if len(kept) else part
    if float(part["time"].iloc[0]) > 0:
        first = part.iloc[:1].assign(time=0, survival=1.0, low=1.0, high=1.0)
        part = pd.concat([first, part])
    return part.reset_index(drop=True)


def _steps(part: pd.DataFrame, name: str, place: int, theme: str, drill: Drill | None) -> list[plain.Part]:
    t = tokens(theme)
    colour = t.series[place % len(t.series)]
    low = part["low"].fillna(part["survival"])
    high = part["high"].fillna(part["survival"])
    hover = [
        (f"<b>{name}</b><br>" if name else "")
        + _(
            "{share} ({range}) still free after {days} days; {n} followed",
            share=percent(row["survival"]),
            range=percent_range(row["low"], row["high"]),
            days=number(row["time"]),
            n=number(row["at_risk"]),
        )
        for row in records(part)
    ]
    edge: dict[str, Any] = {"mode": "lines", "hoverinfo": "skip", "showlegend": False, "legendgroup": name}
    shape = {"shape": "hv", "width": 0}
    marked = part.iloc[[-1]]
    return [
        plain.scatter(x=part["time"], y=high, line=shape, **edge),
        plain.scatter(x=part["time"], y=low, line=shape, fill="tonexty", fillcolor=rgba(colour, 0.14), **edge),
        plain.scatter(
            x=part["time"],
            y=part["survival"],
            mode="lines",
            line={"shape": "hv", "color": colour, "width": 2.2, "dash": DASHES[place % len(DASHES)]},
            name=name,
            legendgroup=name,
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            showlegend=bool(name),
            customdata=marks(part, drill),
        ),
        plain.scatter(
            x=marked["time"],
            y=marked["survival"],
            mode="markers",
            marker={"symbol": MARKERS[place % len(MARKERS)], "size": 9, "color": colour},
            legendgroup=name,
            hoverinfo="skip",
            showlegend=False,
        ),
    ]


def _ticks(longest: int, narrow: bool) -> list[int]:
    """Half years where the time is long, months where it is short."""
    step = next((s for s in (30, 60, 90, 180, 360) if longest / s <= (4 if narrow else 8)), 720)
    return list(range(0, longest + 1, step))


def still_followed(part: pd.DataFrame, day: int) -> int:
    """How many are followed at the start of *day*: those of the first step at or after it."""
    later = part[part["time"] >= day]
    return int(later["at_risk"].iloc[0]) if len(later) else 0


def _numbers_followed(
    figure: plain.Figure, parts: list[tuple[str, pd.DataFrame]], ticks: list[int], theme: str
) -> None:
    t = tokens(theme)
    top = -74
    figure.add_annotation(
        text=_("Cases still followed"),
        x=0,
        xref="paper",
        xanchor="left",
        y=0,
        yref="paper",
        yanchor="bottom",
        yshift=top,
        showarrow=False,
        font={"size": 11.5, "color": t.muted},
    )
    for place, (_name, part) in enumerate(parts):
        colour = t.series[place % len(t.series)] if len(parts) > 1 else t.ink
        for day in ticks:
            mark = _SIGNS.get(MARKERS[place % len(MARKERS)], "") if day == 0 and len(parts) > 1 else ""
            figure.add_annotation(
                text=f"{mark} {number(still_followed(part, day))}".strip(),
                x=day,
                y=0,
                yref="paper",
                yanchor="bottom",
                yshift=top - RISK_LINE * (place + 1),
                showarrow=False,
                font={"size": 12, "color": colour},
            )


_SIGNS = {"circle": "●", "diamond": "◆", "square": "■", "triangle-up": "▲"}


def back_within(
    answer: Answer,
    *,
    per: str = "cow",
    days: int = READ_AT,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Share of cases that are back within some days, lesion by lesion, those that come back most first.

    Lesions with few cases are left to the table, unless all have few.

    Parameters
    ----------
    answer : Answer
        ``table``: lesion, level, at_risk, free_180 and free_365 with limits.
    per, days
        Which level, and which of the two times.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Back within {days} days", days=days) if title is None else title
    column = f"free_{days}"
    table = answer.table if answer.empty else answer.table[answer.table["level"] == per]
    if table.empty or not np.isfinite(table[column].to_numpy(dtype=float)).any():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = table[table[column].notna()].sort_values(column, kind="stable")
    many = table["at_risk"] >= FEW_CASES
    left = int((~many).sum()) if many.any() else 0
    groups = [name for name in answer.by if name != "level" and name in table]
    rows = []
    for row in records(table[many] if left else table):
        back, low, high = (1 - row[name] for name in (column, f"{column}_high", f"{column}_low"))
        cases = _n("of {n} case", "of {n} cases", int(row["at_risk"]))
        rows.append(
            Row(
                ", ".join(value_label(name, row[name]) for name in groups),
                f"{percent(back, 0)} ({percent_range(low, high, 0)}), {cases}",
                back,
                low,
                high,
                carries=drill(row) if drill else None,
            )
        )
    few = _n(
        "{n} lesion has too few cases to draw.",
        "{n} lesions have too few cases to draw.",
        left,
    )
    axis = {**shares_axis(narrow, 1.0, _("Share of cases back within {days} days", days=days)), "range": [0, 1]}
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, notes=[few] if left else [])
