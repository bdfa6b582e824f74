"""Farms in order without punishing luck: each share drawn towards the mean, with the doubt about its place."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import EN_DASH, cases_of, number, percent, percent_range, plural, tokens
from evenfoot.dashboard.i18n.translation import _

MOST_ROWS = 60
"""Farms that fit on one chart; the table has all. [common practice, no source]"""


def rank_words(row: dict[str, Any]) -> str:
    """A place with its doubt.

    Examples
    --------
    >>> rank_words({"rank": 2, "rank_low": 1, "rank_high": 4}).replace(EN_DASH, "-")
    'place 2 (1-4)'
    """
    if pd.isna(row.get("rank", float("nan"))):
        return ""
    low, high = number(row["rank_low"]), number(row["rank_high"])
    doubt = f" ({low}{EN_DASH}{high})" if low != high else ""
    return _("place {rank}{doubt}", rank=number(row["rank"]), doubt=doubt)


def shrunken(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Shrunken share of each farm with its interval and place, the lowest first; the plain share beside it.

    Parameters
    ----------
    answer : Answer
        ``table``: farm, cases, at_risk, prevalence, shrunken, shrunken_low, shrunken_high, rank, rank_low,
        rank_high.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Dots with intervals are shrunken shares, hollow squares the plain ones.
    """
    title = _("Farms in order, drawn towards the mean") if title is None else title
    if answer.empty or not answer.table["shrunken"].notna().any():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["shrunken"].notna()].sort_values("shrunken", kind="stable").head(MOST_ROWS)
    unit = answer.basis.unit
    rows = []
    for row in records(table):
        interval = percent_range(row["shrunken_low"], row["shrunken_high"])
        place = rank_words(row)
        rows.append(
            Row(
                value_label("farm", row["farm"]),
                f"{percent(row['shrunken'])} ({interval})" + (f", {place}" if place else ""),
                row["shrunken"],
                row["shrunken_low"],
                row["shrunken_high"],
                hover=f"<b>{value_label('farm', row['farm'])}</b><br>{percent(row['shrunken'])} ({interval})"
                + (f"<br>{place}" if place else "")
                + f"<br>{_('as recorded')}: {percent(row['prevalence'])}, "
                f"{cases_of(row['cases'], row['at_risk'], unit)}",
                carries=drill(row) if drill else None,
            )
        )
    top = top_of(table, "shrunken_high", "prevalence")
    axis = shares_axis(narrow, top, _("Share of {units} with a lesion", units=plural(unit, 2)))
    figure = draw_rows(
        answer,
        rows,
        axis,
        title=title,
        theme=theme,
        narrow=narrow,
        notes=[_("Dots: drawn towards the mean of all. Hollow squares: as recorded.")],
    )
    add_recorded(figure, table["prevalence"], theme)
    return figure


def add_recorded(figure: plain.Figure, shares: pd.Series, theme: str) -> None:
    """The plain share of each row as a hollow square, at the height of the row's dot."""
    t = tokens(theme)
    figure.add_trace(
        plain.scatter(
            x=shares,
            y=figure.data[0].y,
            mode="markers",
            marker={"symbol": "square-open", "size": 11, "color": t.muted, "line": {"width": 1.6}},
            hoverinfo="skip",
            showlegend=False,
        )
    )
