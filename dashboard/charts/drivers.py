"""In which cows the newest month is unlike the months before: one row a group, in percentage points."""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records, rests_on
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.theme import between, cases_of, percent, points
from evenfoot.dashboard.i18n.translation import _, told

MOST_ROWS = 10

SYMBOLS = {"up": "triangle-up", "down": "triangle-down", "unclear": "circle-open"}


def level_name(row: dict[str, Any]) -> str:
    """A group by name: ``Group: high``, ``Lactation 3 and later``."""
    name = value_label(str(row["grouping"]), row["which"])
    return f"{column_label('group')}: {name}" if row["grouping"] == "group" else name


def drivers(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Differences of the newest month from the months before, the clearest first.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.drivers.drivers`.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("In which cows it has changed") if title is None else title
    table = answer.table if answer.empty else answer.table[answer.table["direction"] != "too few"]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    rows = [
        Row(
            level_name(row),
            gap_words(row),
            100 * row["difference"],
            100 * row["low"],
            100 * row["high"],
            hover=f"<b>{level_name(row)}</b><br>{_shares(row)}<br>{gap_words(row)}",
            symbol=SYMBOLS[row["direction"]],
            carries=drill(row) if drill else None,
        )
        for row in records(table.head(MOST_ROWS))
    ]
    words = _("Fewer · points · more") if narrow else _("Fewer than before · percentage points · more than before")
    notes = [_("Filled triangles: clear after allowing for how many groups are looked at.")]
    return draw_rows(
        answer, rows, {"title": {"text": words}}, title=title, theme=theme, narrow=narrow, line=0.0, notes=notes
    )


def gap_words(row: dict[str, Any]) -> str:
    """A difference with its interval."""
    return _(
        "{gap} points ({interval})",
        gap=points(row["difference"]),
        interval=between(points(row["low"]), points(row["high"])),
    )


def _shares(row: dict[str, Any]) -> str:
    return _(
        "{now} ({cases}) now, {then} ({past}) before",
        now=percent(row["prevalence"]),
        cases=cases_of(row["cases"], row["at_risk"], None),
        then=percent(row["past_prevalence"]),
        past=cases_of(row["past_cases"], row["past_at_risk"], None),
    )


_CALLED: dict[str, Message] = {
    "up": say("Lameness is clearly up in:"),
    "down": say("Lameness is clearly down in:"),
}


def sentences(answer: Answer) -> list[str]:
    """The groups that are clearly up or down; or that none is."""
    if answer.empty:
        return []
    out = []
    for direction, words in _CALLED.items():
        rows = records(answer.table[answer.table["direction"] == direction])
        if rows:
            parts = [f"{level_name(row)} {gap_words(row)}" for row in rows]
            out.append(f"{told(words)} {'; '.join(parts)}.")
    known = answer.table["direction"] != "too few"
    if not out and known.any():
        out.append(_("No one group of cows clearly stands out against the herd's own past."))
    return out or [_("Too few cows were scored in each group to say in which of them it has changed.")]


def describe(answer: Answer) -> str:
    """The chart in words."""
    if answer.empty:
        return told(answer.cautions[-1]) if answer.cautions else _("Nothing was recorded for this choice.")
    head = _("Differences of lameness from the months before in {n} groups of cows.", n=len(answer.table))
    return " ".join([head, *sentences(answer), f"{rests_on(answer, '{level} intervals')}."])
