"""Do groups differ: how common in each group, and how many times as common as in the reference group.

Where the comparison was also made within strata, each stratum has a row and a mark under its group, on the same scale.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import (
    FEW_STEPS,
    ROW_LINE,
    Drill,
    framed,
    marks,
    nothing_to_show,
    over_row,
    records,
    shares_axis,
    top_of,
)
from evenfoot.dashboard.charts.labels import group_label
from evenfoot.dashboard.charts.rules import put_across
from evenfoot.dashboard.charts.theme import MARKERS, between, cases_of, estimate, percent, plural, ratio, tokens
from evenfoot.dashboard.i18n.translation import _, told

ROW = 40
NARROW_ROW = 54

LIMITS = (1 / 32, 32.0)
"""Ratios beyond these are drawn at the edge with an arrow; the words give the figure."""

_KINDS: dict[str, tuple[str, str, str]] = {
    "risk_ratio": ("rr_low", "rr_high", say("Risk ratio")),
    "odds_ratio": ("or_low", "or_high", say("Odds ratio")),
    "adj_odds_ratio": ("adj_or_low", "adj_or_high", say("Adjusted odds ratio")),
}


def risks(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """How common in each group, with intervals; beside it the standardised share where the table has it.

    Parameters
    ----------
    answer : Answer
        ``table``: group, cases, at_risk, prevalence, low, high and, where adjusted, std_risk, std_low,
        std_high. The first row is the reference.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("How common in each group") if title is None else title
    table = answer.table
    if answer.empty or not table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = _with_strata(table.loc[table["at_risk"] > 0], answer)
    both = "std_risk" in table and bool(table["std_risk"].notna().any())
    unit = answer.basis.unit
    figure = plain.Figure()
    hover = [
        f"<b>{_label(row)}</b><br>{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}"
        for row in records(table)
    ]
    crude = _("As recorded")
    figure.add_trace(
        _points(table, ("prevalence", "low", "high"), hover, 0, 0.16 * both, theme, drill, crude if both else "")
    )
    highest = top_of(table, "prevalence", "high")
    if both:
        words = [
            f"<b>{_label(row)}</b><br>"
            + _(
                "{share} ({low} to {high}) if all groups were on the same farms and had the same kinds of cows",
                share=percent(row["std_risk"]),
                low=percent(row["std_low"]),
                high=percent(row["std_high"]),
            )
            for row in records(table)
        ]
        columns = ("std_risk", "std_low", "std_high")
        figure.add_trace(_points(table, columns, words, 1, -0.16, theme, drill, _("Standardised")))
        highest = max(highest, float(table["std_high"].max()))
    texts = [
        f"{percent(r['prevalence'])}, {cases_of(r['cases'], r['at_risk'], None if narrow else unit)}"
        for r in records(table)
    ]
    further = _rows(figure, table, texts, theme, narrow)
    figure.update_xaxes(
        **shares_axis(narrow, highest, _("Share of {units} looked at", units=plural(unit, 2)), most=FEW_STEPS)
    )
    return _finish(figure, answer, table, title, theme, narrow, legend=both, notes=[], further=further)


def ratios(
    answer: Answer,
    *,
    kind: str = "risk_ratio",
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Forest plot: how many times as common as in the reference group, on a logarithmic axis.

    Parameters
    ----------
    answer : Answer
        ``table``: group and the ratio of *kind* with its interval; the first row is the reference.
        Where ``adj_odds_ratio`` is there too, both odds ratios are drawn beside each other. ``extra["strata"]``: the
        same within strata.
    kind : {"risk_ratio", "odds_ratio"}
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    table = answer.table
    adjusted = "adj_odds_ratio" in table and bool(table["adj_odds_ratio"].notna().any())
    kinds = ["odds_ratio", "adj_odds_ratio"] if adjusted else [kind]
    first = None if answer.empty else table["group"].iloc[0]
    reference = "" if first is None else group_label(first)
    if title is None:
        title = _("Compared with {reference}", reference=reference) if reference else _("Compared")
    if answer.empty or len(table) < 2:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = _with_strata(table, answer)
    strata = table["stratum"] != ""
    table = table[~(strata & (table["group"] == first))].reset_index(drop=True)
    t = tokens(theme)
    figure = plain.Figure()
    for place, each in enumerate(kinds):
        low, high, words = _KINDS[each]
        drawn = table.assign(
            **{column: table[column].clip(*LIMITS).where(table[column].notna()) for column in (each, low, high)}
        )
        hover = [f"<b>{_label(row)}</b><br>{_in_words(row, each, reference)}" for row in records(table)]
        name = _("Not adjusted") if adjusted and place == 0 else told(words)
        offset = (0.16 if place == 0 else -0.16) if adjusted else 0.0
        figure.add_trace(_points(drawn.iloc[1:], (each, low, high), hover[1:], place, offset, theme, drill, name))
        colour = t.series[place] if adjusted else t.accent
        _off_the_edge(figure, table.iloc[1:], (each, low, high), offset, colour)
    words = f"<b>{reference}</b><br>{_('the group the others are compared with')}"
    figure.add_trace(_reference_mark(table.iloc[:1], words, theme, drill))
    figure.add_vline(x=1, line={"color": t.ink, "width": 1.2, "dash": "dot"})
    kind_words = _KINDS[kinds[-1]][2]
    texts = [_("reference") if i == 0 else _told_ratio(row, kinds) for i, row in enumerate(records(table))]
    further = _rows(figure, table, texts, theme, narrow)
    figure.update_xaxes(
        type="log",
        title={"text": _("{kind}, {reference} = 1", kind=told(kind_words), reference=reference)},
        **_ratio_ticks(table, kinds),
    )
    notes = [
        _(
            "Left of 1: less common than in {reference}. An association, not its cause.",
            reference=reference,
        )
    ]
    return _finish(figure, answer, table, title, theme, narrow, legend=adjusted, notes=notes, further=further)


def _with_strata(table: pd.DataFrame, answer: Answer) -> pd.DataFrame:
    """The rows of the table, each followed by those of its strata; the column stratum is empty for the whole."""
    strata = answer.extra.get("strata")
    whole = table.assign(stratum="")
    if strata is None or strata.empty:
        return whole.reset_index(drop=True)
    known = strata[strata["at_risk"] > 0]
    parts = [
        part
        for group in table["group"]
        for part in (whole[whole["group"] == group], known[known["group"] == group])
        if len(part)
    ]
    return pd.concat(parts, ignore_index=True)[list(whole.columns)]


def _label(row: dict[str, Any]) -> str:
    """The name of a row: its group, or its stratum under the group."""
    if not row["stratum"]:
        return group_label(row["group"])
    return _("{group}: {stratum}", group=group_label(row["group"]), stratum=group_label(row["stratum"]))


def _told_ratio(row: dict[str, Any], kinds: list[str]) -> str:
    """The last of the kinds of ratio that the row has, with its interval; within strata there is no adjusted one."""
    for kind in reversed(kinds):
        low, high, _words = _KINDS[kind]
        if not row["stratum"] or not pd.isna(row[kind]):
            return _ratio_words(row[kind], row[low], row[high])
    return _ratio_words(math.nan, math.nan, math.nan)


def _ratio_words(value: float, low: float, high: float) -> str:
    """A ratio with its interval, or that there is none."""
    if pd.isna(value):
        return _("no ratio")
    return f"{ratio(value)} ({between(ratio(low), ratio(high))})"


def _in_words(row: dict[str, Any], kind: str, reference: str) -> str:
    low, high, words = _KINDS[kind]
    if pd.isna(row[kind]):
        return _("no ratio can be given")
    text = f"{told(words)} {_ratio_words(row[kind], row[low], row[high])}"
    return text + "<br>" + _("against {reference}", reference=reference)


def _points(
    table: pd.DataFrame,
    columns: tuple[str, str, str],
    hover: list[str],
    place: int,
    offset: float,
    theme: str,
    drill: Drill | None,
    name: str,
) -> plain.Part:
    t = tokens(theme)
    middle, low, high = (table[column] for column in columns)
    colour = t.series[place] if offset else t.accent
    return plain.scatter(
        x=middle,
        y=[-i + offset for i in table.index],
        error_x={
            "type": "data",
            "symmetric": False,
            "array": (high - middle).fillna(0),
            "arrayminus": (middle - low).fillna(0),
            "thickness": 2,
            "width": 4,
            "color": colour,
        },
        mode="markers",
        marker={
            "color": colour,
            "size": 10,
            "symbol": MARKERS[place],
            "line": {"color": t.raised, "width": 1},
        },
        name=name,
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(table, drill),
        cliponaxis=False,
    )


def _reference_mark(row: pd.DataFrame, words: str, theme: str, drill: Drill | None) -> plain.Part:
    """A hollow mark on the line of one: the group the others are compared with."""
    t = tokens(theme)
    return plain.scatter(
        x=[1.0],
        y=[0.0],
        mode="markers",
        marker={"color": t.raised, "size": 11, "line": {"color": t.ink, "width": 2}},
        hovertemplate=f"{words}<extra></extra>",
        customdata=marks(row, drill),
        showlegend=False,
        cliponaxis=False,
    )


def _off_the_edge(
    figure: plain.Figure, table: pd.DataFrame, columns: tuple[str, str, str], offset: float, colour: str
) -> None:
    """Arrows where a ratio or its interval goes on beyond the axis."""
    x, y, symbols = [], [], []
    for i, row in zip(table.index, records(table), strict=True):
        for column in columns:
            if pd.isna(row[column]) or LIMITS[0] <= row[column] <= LIMITS[1]:
                continue
            below = row[column] < LIMITS[0]
            x.append(LIMITS[0] if below else LIMITS[1])
            y.append(-i + offset)
            symbols.append("triangle-left" if below else "triangle-right")
    if x:
        figure.add_trace(
            plain.scatter(
                x=x,
                y=y,
                mode="markers",
                marker={"symbol": symbols, "size": 13, "color": colour},
                hoverinfo="skip",
                showlegend=False,
                cliponaxis=False,
            )
        )


def _ratio_ticks(table: pd.DataFrame, kinds: list[str]) -> dict[str, Any]:
    """Ticks at doublings, since twice and half as common are equally far from one."""
    columns = [column for kind in kinds for column in (kind, *_KINDS[kind][:2])]
    values = table[columns].clip(*LIMITS)
    low, high = float(np.nanmin(values.to_numpy(float))), float(np.nanmax(values.to_numpy(float)))
    first = min(-1, math.floor(math.log2(low))) if low > 0 else -5
    last = max(1, math.ceil(math.log2(high)))
    step = 2 if last - first > 7 else 1
    ticks = sorted({0, *range(0, last + 1, step), *range(0, first - 1, -step)})
    return {
        "tickvals": [2.0**k for k in ticks],
        "ticktext": [f"{2**k}" if k >= 0 else f"1/{2**-k}" for k in ticks],
        "range": [math.log10(2.0**first) - 0.04, math.log10(2.0**last) + 0.04],
    }


def _rows(figure: plain.Figure, table: pd.DataFrame, texts: list[str], theme: str, narrow: bool) -> int:
    """Names and figures of the rows; on a phone above the row, to leave it the width. Gives the pixels that a row is
    higher for it."""
    t = tokens(theme)
    count = len(table)
    put_across(figure, [-i - 0.5 for i in range(count)], {"color": t.rule, "width": 0.6})
    if narrow:
        figure.update_yaxes(showticklabels=False, ticks="", showgrid=False, range=[-count + 0.40, 0.66])
        over = [over_row(_label(row), text, t.muted) for row, text in zip(records(table), texts, strict=True)]
        further = ROW_LINE * (max(lines for _words, lines in over) - 1)
        for i, (words, _lines) in enumerate(over):
            figure.add_annotation(
                text=words,
                x=0,
                xref="paper",
                xanchor="left",
                y=-i + 0.5,
                yanchor="top",
                showarrow=False,
                bgcolor=t.raised,
                borderpad=1,
                font={"size": 12.5},
            )
        for trace in figure.data:
            trace["y"] = [y - 0.5 + 18 / (NARROW_ROW + further) for y in trace.y]
        return further
    figure.update_yaxes(
        tickmode="array",
        tickvals=[-i for i in range(count)],
        ticktext=[_label(row) for row in records(table)],
        ticks="",
        showgrid=False,
        range=[-count + 0.5, 0.5],
        tickfont={"color": t.ink, "size": 13},
        ticklabelstandoff=9,
    )
    for i, text in enumerate(texts):
        figure.add_annotation(
            text=text,
            x=1,
            xref="paper",
            xanchor="left",
            xshift=10,
            y=-i,
            showarrow=False,
            font={"size": 12, "color": t.muted},
        )
    return 0


def _finish(
    figure: plain.Figure,
    answer: Answer,
    table: pd.DataFrame,
    title: str,
    theme: str,
    narrow: bool,
    *,
    legend: bool,
    notes: list[str],
    further: int,
) -> plain.Figure:
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=((NARROW_ROW if narrow else ROW) + further) * len(table) + 16,
        notes=notes,
        legend_lines=int(legend),
    )
    if not narrow:
        figure.update_layout(margin={"r": 178})
    return figure
