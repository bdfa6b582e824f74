"""How common: one dot with its interval for every group, the commonest lesion first."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
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
    row_rules,
    shares_axis,
    top_of,
)
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.theme import MARKERS, cases_of, estimate, percent, plural, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _

MOST_ROWS = 40
"""Rows a person can still take in; the table under the chart has all. [common practice, no source]"""

IN_ORDER = {
    "month",
    "quarter",
    "year",
    "season",
    "parity",
    "severity",
    "zone",
    "foot",
    "claw",
    "dd_stage",
    "limb",
}
"""Groupings with an order of their own, which is kept; others are sorted by how common they are."""

ROW = 34
NARROW_ROW = 46
EXTRA_SERIES = 15


def prevalence(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of prevalence by one or two groupings.

    Parameters
    ----------
    answer : Answer
        ``table`` with the ``by`` columns and cases, at_risk, prevalence, low, high. The first grouping
        gives the rows, a second the series.
    theme : str
    narrow : bool
        Drawn for a phone.
    title : str, optional
        ``None`` makes one; an empty text leaves title and basis to the page.
    drill : callable, optional
        From a row of the table to what its mark carries when it is clicked.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    by = answer.by or ("group",)
    heading = _("Share of {units} with a lesion, by {group}", units=plural(answer.basis.unit, 2), group=_lower(by[0]))
    if by[0] in ("lesion", "lesion_detail"):
        heading = _("How common is each lesion")
    title = heading if title is None else title
    if answer.empty or not answer.table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table.loc[answer.table["at_risk"] > 0]
    second = by[1] if len(by) > 1 and by[1] in table else None
    rows, notes = _ordered(table, by[0])
    names = list(dict.fromkeys(table[second])) if second else [None]
    figure = plain.Figure()
    t = tokens(theme)
    over = _over(table, by[0], rows, second, t.muted) if narrow else {}
    further = ROW_LINE * (max((lines for _words, lines in over.values()), default=1) - 1)
    step = (NARROW_ROW if narrow else ROW) + EXTRA_SERIES * (len(names) - 1) + further
    below_name = (6 + further / 2) / step if narrow else 0.0
    place = {group: -float(i) for i, group in enumerate(rows)}
    for number, name in enumerate(names):
        part = table[table[by[0]].isin(rows)]
        part = part if second is None else part[part[second] == name]
        offset = 0.0 if second is None else -(number - (len(names) - 1) / 2) * EXTRA_SERIES * 1.1 / step
        figure.add_trace(_dots(part, by, second, place, offset - below_name, number, theme, answer.basis.unit, drill))
    _row_names(figure, table, by[0], rows, over, second, narrow, theme, answer.basis.unit)
    highest = top_of(table, "high", "prevalence")
    figure.update_xaxes(
        **shares_axis(
            narrow, highest, _("Share of {units} looked at", units=plural(answer.basis.unit, 2)), most=FEW_STEPS
        )
    )
    figure.update_yaxes(range=[-len(rows) + 0.5 - (0.15 if narrow else 0), 0.5 + (0.2 if narrow else 0)])
    figure.update_layout(shapes=row_rules((line - 0.5 for line in place.values()), t.rule))
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=step * len(rows) + 12,
        notes=notes,
        legend_lines=_legend_lines(names, second, narrow),
    )
    if not narrow and second is None:
        figure.update_layout(margin={"r": 172})
    return figure


def _ordered(table: pd.DataFrame, column: str) -> tuple[list[Any], list[str]]:
    """The groups in the order of their rows, and a note where some are left to the table."""
    if column in IN_ORDER or pd.api.types.is_datetime64_any_dtype(table[column]):
        rows = sorted(dict.fromkeys(table[column]), key=_rank(column))
    else:
        mean = table.groupby(column, sort=False)[["cases", "at_risk"]].sum()
        rows = list((mean["cases"] / mean["at_risk"]).sort_values(ascending=False, kind="stable").index)
    if len(rows) <= MOST_ROWS:
        return rows, []
    note = _("The first {n} of {all} are drawn; the table has all.", n=MOST_ROWS, all=len(rows))
    return rows[:MOST_ROWS], [str(note)]


def _rank(column: str) -> Any:
    order: dict[str, tuple[str, ...]] = {
        "season": ("winter", "spring", "summer", "autumn"),
        "foot": ("LF", "RF", "LH", "RH"),
        "limb": ("front", "hind"),
        "claw": ("lateral", "medial"),
    }
    if column in order:
        known = order[column]
        return lambda value: known.index(value) if value in known else len(known)
    return lambda value: (isinstance(value, str), value)


def _dots(
    part: pd.DataFrame,
    by: tuple[str, ...],
    second: str | None,
    place: dict[Any, float],
    offset: float,
    number: int,
    theme: str,
    unit: str,
    drill: Drill | None,
) -> plain.Part:
    t = tokens(theme)
    colour = t.accent if second is None else t.series[number % len(t.series)]
    hover = []
    for row in records(part):
        names = ", ".join(value_label(column, row[column]) for column in by if column in row)
        hover.append(f"<b>{names}</b><br>{estimate(row['cases'], row['at_risk'], row['low'], row['high'], unit)}")
    return plain.scatter(
        x=part["prevalence"],
        y=[place[group] + offset for group in part[by[0]]],
        error_x=whiskers(part["prevalence"], part["low"], part["high"], colour, thickness=2, width=4),
        mode="markers",
        marker={
            "color": colour,
            "size": 10,
            "symbol": MARKERS[number % len(MARKERS)],
            "line": {"color": t.raised, "width": 1},
        },
        name="" if second is None else value_label(second, part[second].iloc[0]) if len(part) else "",
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(part, drill),
    )


def _counts(table: pd.DataFrame, column: str, unit: str | None) -> dict[Any, str]:
    return {
        row[column]: f"{percent(row['prevalence'])}, {cases_of(row['cases'], row['at_risk'], unit)}"
        for row in records(table)
    }


def _over(
    table: pd.DataFrame, column: str, rows: list[Any], second: str | None, colour: str
) -> dict[Any, tuple[str, int]]:
    """What stands over each row on a phone, and its lines; the figures too where a row is of one group."""
    counts = {} if second else _counts(table, column, None)
    return {group: over_row(value_label(column, group), counts.get(group, ""), colour) for group in rows}


def _row_names(
    figure: plain.Figure,
    table: pd.DataFrame,
    column: str,
    rows: list[Any],
    over: dict[Any, tuple[str, int]],
    second: str | None,
    narrow: bool,
    theme: str,
    unit: str,
) -> None:
    """Names at the left and counts at the right; on a phone both above their row, to leave it the width."""
    t = tokens(theme)
    counts = {} if second else _counts(table, column, unit)
    if narrow:
        figure.update_yaxes(showticklabels=False, ticks="", showgrid=False, showline=False)
        figure.update_layout(
            annotations=[
                {
                    "text": over[group][0],
                    "x": 0,
                    "xref": "paper",
                    "xanchor": "left",
                    "y": -float(i) + 0.5,
                    "yanchor": "top",
                    "showarrow": False,
                    "font": {"size": 12.5},
                    "bgcolor": t.raised,
                    "borderpad": 1,
                }
                for i, group in enumerate(rows)
            ]
        )
        return
    figure.update_yaxes(
        tickmode="array",
        tickvals=[-float(i) for i in range(len(rows))],
        ticktext=[value_label(column, group) for group in rows],
        ticks="",
        showgrid=False,
        tickfont={"color": t.ink, "size": 13},
        ticklabelstandoff=9,
    )
    figure.update_layout(
        annotations=[
            {
                "text": counts[group],
                "x": 1,
                "xref": "paper",
                "xanchor": "left",
                "xshift": 8,
                "y": -float(i),
                "showarrow": False,
                "font": {"size": 12, "color": t.muted},
            }
            for i, group in enumerate(rows)
            if group in counts
        ]
    )


def _legend_lines(names: list[Any], second: str | None, narrow: bool) -> int:
    if second is None:
        return 0
    letters = sum(len(value_label(second, name)) + 6 for name in names)
    return 1 + letters // (44 if narrow else 110)


def _lower(column: str) -> str:
    label = column_label(column)
    return label[:1].lower() + label[1:]
