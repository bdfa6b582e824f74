"""Who becomes lame, who stays lame and who recovers, from one scoring of a cow to her next."""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.theme import number, percent, percent_range
from evenfoot.dashboard.i18n.translation import _, told

NAMES = {
    "new": say("Sound, then lame"),
    "recovered": say("Lame, then sound"),
    "chronic": say("Lame, and still lame"),
}
"""The steps drawn; sound and still sound is what is left of the first."""

SYMBOLS = {"new": "triangle-up", "recovered": "triangle-down", "chronic": "square"}


def step_words(row: dict[str, Any]) -> str:
    """How many of how many steps, with the interval.

    Examples
    --------
    >>> row = {"from_state": "sound", "cows": 12, "of": 120, "share": 0.1, "low": 0.06, "high": 0.17}
    >>> step_words(row).replace(chr(8211), "-")
    '10.0% (6.0-17.0%), 12 of 120 that were sound'
    """
    return _(
        "{share} ({range}), {n} of {all} that were {state}",
        share=percent(row["share"]),
        range=percent_range(row["low"], row["high"]),
        n=number(row["cows"]),
        all=number(row["of"]),
        state=_(row["from_state"]),
    )


def steps(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of the steps between scorings.

    Parameters
    ----------
    answer : Answer
        ``table``: from_state, to_state, cows (steps), of (steps that began in from_state), share, low, high,
        transition (new, recovered, chronic, sound).
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("From one scoring to the next") if title is None else title
    table = answer.table if answer.empty else answer.table[answer.table["of"] > 0]
    table = table if table.empty else table[table["transition"].isin(list(NAMES))]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    order = list(NAMES)
    rows = [
        Row(
            told(NAMES[row["transition"]]),
            step_words(row),
            row["share"],
            row["low"],
            row["high"],
            symbol=SYMBOLS[row["transition"]],
            carries=drill(row) if drill else None,
        )
        for row in sorted(records(table), key=lambda row: order.index(row["transition"]))
    ]
    axis = shares_axis(narrow, top_of(table, "share", "high"), _("Share of steps that began so"))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow)
