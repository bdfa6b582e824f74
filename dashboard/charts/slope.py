"""Does it rise or fall over the years: one odds ratio a year for all together and one for each farm."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows, ratio_axis, ratio_words
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _

A_YEAR = "odds ratio a year"
MOST_FARMS = 30


def slopes(answer: Answer) -> list[tuple[str, float, float, float]]:
    """Name, estimate, low and high: the trend of all together, then of each farm, the steepest rise first."""
    if answer.empty:
        return []
    whole = answer.table[(answer.table["term"] == A_YEAR) & answer.table["estimate"].notna()]
    farms = answer.extra.get("by_farm", pd.DataFrame())
    name = _("All together") if len(farms) else _("This herd")
    out = [(name, row["estimate"], row["low"], row["high"]) for row in records(whole)]
    if len(farms):
        known = farms[farms["estimate"].notna()].sort_values("estimate", ascending=False, kind="stable")
        out += [
            (value_label("farm", row["farm"]), row["estimate"], row["low"], row["high"])
            for row in records(known.head(MOST_FARMS))
        ]
    return out


def slope(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Odds ratios a year as dots with intervals round one, the line of no trend.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.trend.trend`: ``table`` with the term ``odds ratio a year``, and
        ``extra["by_farm"]`` (farm, estimate, low, high) where several farms are pooled.
    theme, narrow, title, drill
        As in every chart; *drill* is given ``{"farm": name}`` for the farms.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Does it rise or fall") if title is None else title
    found = slopes(answer)
    if not found:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    farms = {value_label("farm", name) for name in answer.extra.get("by_farm", pd.DataFrame({"farm": []}))["farm"]}
    rows = [
        Row(
            name,
            ratio_words(estimate, low, high),
            estimate,
            low,
            high,
            symbol="circle" if name in farms else "diamond",
            carries=drill({"farm": name}) if drill and name in farms else None,
        )
        for name, estimate, low, high in found
    ]
    values = [value for row in rows for value in (row.value, row.low, row.high)]
    axis = ratio_axis(values, _("Odds at the end of a year against its start; 1 is no trend"))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, line=1.0)
