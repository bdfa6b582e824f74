"""Do lesions run in families: the daughters of each sire, drawn towards the mean of all sires."""

from __future__ import annotations

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.shrunken import add_recorded
from evenfoot.dashboard.charts.theme import number, percent, percent_range
from evenfoot.dashboard.i18n.translation import _

MOST_ROWS = 40


def family(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Share of each sire's daughters with a lesion: shrunken dot with interval, plain share as a square.

    Parameters
    ----------
    answer : Answer
        ``table``: sire, daughters, cases, rate, shrunken, low, high (of shrunken).
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Daughters with a lesion, by sire") if title is None else title
    if answer.empty or not answer.table["shrunken"].notna().any():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = answer.table[answer.table["shrunken"].notna()].sort_values("shrunken", kind="stable").head(MOST_ROWS)
    rows = [
        Row(
            value_label("sire", row["sire"]),
            f"{percent(row['shrunken'])} ({percent_range(row['low'], row['high'])}), "
            + _("{n} of {all} daughters", n=number(row["cases"]), all=number(row["daughters"])),
            row["shrunken"],
            row["low"],
            row["high"],
            carries=drill(row) if drill else None,
        )
        for row in records(table)
    ]
    axis = shares_axis(narrow, top_of(table, "high", "rate"), _("Share of daughters with a lesion"))
    figure = draw_rows(
        answer,
        rows,
        axis,
        title=title,
        theme=theme,
        narrow=narrow,
        notes=[_("Dots: farm, lactation and trims held alike, drawn towards the mean. Squares: as recorded.")],
    )
    add_recorded(figure, table["rate"], theme)
    return figure
