"""What came after a change: months seen, the line fitted to them, and the line without the change."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, say
from evenfoot.analytics.stats.intervals import wilson
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows, ratio_axis, ratio_words
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import date_label, value_label
from evenfoot.dashboard.charts.periods import period_axis
from evenfoot.dashboard.charts.theme import between, capital, estimate, percent, percent_range, ratio, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told, words

HEIGHT = 360
NARROW_HEIGHT = 310


def impact(
    answer: Answer,
    *,
    change: dt.date | None = None,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Observed months with intervals, the fitted line, and how it would have gone on without the change.

    Parameters
    ----------
    answer : Answer
        ``extra["series"]``: month, cases, at_risk, prevalence, fitted, counterfactual, cf_low, cf_high; the
        last three only after the change. ``extra["curve"]``, where there is one, has the lines between the months.
    change : date, optional
        Where the line of the change stands; the first month with a counterfactual by default.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Before and after the change") if title is None else title
    series = answer.extra.get("series", pd.DataFrame())
    if series.empty or not series["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = series[series["at_risk"] > 0].sort_values("month", kind="stable").reset_index(drop=True)
    low, high = wilson(table["cases"], table["at_risk"], answer.basis.level)
    table = table.assign(low=low, high=high)
    lines = answer.extra.get("curve", table)
    lines = table if lines.empty else lines
    figure = plain.Figure([*_without(lines, theme), *_fitted(lines, theme), _seen(table, answer, theme, drill)])
    drawn = max(top_of(table, "prevalence"), top_of(lines, "fitted", "cf_high"))
    axis = shares_axis(narrow, min(max(drawn, top_of(table, "high")), 1.6 * drawn), _("Share"))
    figure.update_yaxes(**axis)
    period_axis(figure, table["month"], narrow)
    after = table.loc[table["counterfactual"].notna(), "month"]
    day = pd.Timestamp(change) if change else after.min() if len(after) else None
    if day is not None:
        _mark_change(figure, day, theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        legend_lines=3 if narrow else 1,
        shown=N_("bars and the band show {level} intervals"),
    )


def _without(table: pd.DataFrame, theme: str) -> list[plain.Part]:
    t = tokens(theme)
    after = table[table["counterfactual"].notna()]
    if after.empty:
        return []
    colour = t.series[1]
    edge = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False}
    hover = [
        f"<b>{value_label('month', row['month'])}</b><br>"
        + _(
            "as before the change: {share} ({range})",
            share=percent(row["counterfactual"]),
            range=percent_range(row["cf_low"], row["cf_high"]),
        )
        for row in records(after)
    ]
    return [
        plain.scatter(x=after["month"], y=after["cf_high"], **edge),
        plain.scatter(x=after["month"], y=after["cf_low"], fill="tonexty", fillcolor=rgba(colour, 0.16), **edge),
        plain.scatter(
            x=after["month"],
            y=after["counterfactual"],
            mode="lines",
            line={"color": colour, "width": 2.2, "dash": "dash"},
            name=_("Had it gone on as before"),
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
        ),
    ]


def _fitted(table: pd.DataFrame, theme: str) -> list[plain.Part]:
    known = table[table["fitted"].notna()]
    if known.empty:
        return []
    sides = [known] if "after" not in known else [part for _after, part in known.groupby("after")]
    return [
        plain.scatter(
            x=part["month"],
            y=part["fitted"],
            mode="lines",
            line={"color": tokens(theme).series[0], "width": 2.2},
            name=_("Fitted"),
            legendgroup="fitted",
            showlegend=place == 0,
            hoverinfo="skip",
        )
        for place, part in enumerate(sides)
    ]


def _seen(table: pd.DataFrame, answer: Answer, theme: str, drill: Drill | None) -> plain.Part:
    t = tokens(theme)
    hover = [
        f"<b>{value_label('month', row['month'])}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'], answer.basis.unit)}"
        for row in records(table)
    ]
    # Months with few cows are small, as they say little.
    sizes = 5 + 7 * (table["at_risk"] / table["at_risk"].max()) ** 0.5
    return plain.scatter(
        x=table["month"],
        y=table["prevalence"],
        error_y=whiskers(table["prevalence"], table["low"], table["high"], rgba(t.accent, 0.6), thickness=1.2),
        mode="markers",
        marker={"color": t.accent, "size": sizes, "line": {"color": t.raised, "width": 1}},
        name=_("Seen (larger: more looked at)"),
        hovertext=hover,
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=marks(table, drill),
    )


def _mark_change(figure: plain.Figure, day: pd.Timestamp, theme: str) -> None:
    t = tokens(theme)
    figure.add_shape(
        type="line", x0=day, x1=day, y0=0, y1=1, yref="paper", line={"color": t.ink, "width": 1.4, "dash": "dot"}
    )
    figure.add_annotation(
        x=day,
        y=1,
        yref="paper",
        yanchor="top",
        xanchor="left",
        xshift=4,
        text=_("change, {day}", day=date_label(day)),
        showarrow=False,
        font={"size": 12, "color": t.ink},
        bgcolor=t.raised,
        borderpad=2,
    )


def terms(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """The odds ratios of a fitted line as dots with intervals round one.

    Parameters
    ----------
    answer : Answer
        ``table``: term, estimate, low, high, p_value; rows whose term is no odds ratio are left to the table.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("How much it moved") if title is None else title
    table = answer.table if answer.empty else answer.table[odds_ratios(answer.table)]
    table = table if table.empty else table[table["estimate"].notna()]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    rows = [
        Row(
            term_words(str(row["term"])),
            ratio_words(row["estimate"], row["low"], row["high"]),
            row["estimate"],
            row["low"],
            row["high"],
            hover=f"<b>{term_words(str(row['term']))}</b><br>{term_sentence(row)}",
            carries=drill(row) if drill else None,
        )
        for row in records(table)
    ]
    values = [value for row in rows for value in (row.value, row.low, row.high)]
    axis = ratio_axis(values, _("How many times as high the odds are; 1 is no change"))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, line=1.0)


RATIO = "odds ratio"

TERMS = {
    "odds ratio, first 12 months after the change against going on as before": say(
        "First 12 months after, against going on as before"
    ),
    "odds ratio, level at the change": say("Just after, against what was expected"),
    "odds ratio a month, slope after over before": say("Slope after over slope before, a month"),
    "odds ratio a month before the change": say("Trend before the change, a month"),
    "percentage points, first 12 months after the change": say("The same in percentage points"),
    "odds ratio over that of the other farm": say("First 12 months after, over the other farm's"),
}
"""What the terms of a measure are called in front of a person."""


def odds_ratios(table: pd.DataFrame) -> pd.Series:
    """Which rows of term, estimate, low, high are odds ratios."""
    return table["term"].astype(str).str.startswith(RATIO)


def term_words(term: str) -> str:
    """A term as a heading.

    Examples
    --------
    >>> term_words("odds ratio, level at the change"), term_words("share before")
    ('Just after, against what was expected', 'Share before')
    """
    return told(TERMS[term]) if term in TERMS else capital(_(term))


def term_sentence(row: dict[str, Any]) -> str:
    """The figure of a term with its interval in words, never bolder than the interval.

    Examples
    --------
    >>> row = {"term": "odds ratio, level at the change", "estimate": 0.5, "low": 0.3, "high": 0.8, "p_value": 0.004}
    >>> term_sentence(row)
    'odds 0.50 times as high (0.30 to 0.80), p 0.004'
    """
    term, value = str(row["term"]), row["estimate"]
    if value is None or math.isnan(value):
        return _("not enough to say")
    p = value_label("p_value", row.get("p_value"))
    chance = f", p {p}" if p else ""
    if term.startswith(RATIO):
        interval = between(ratio(row["low"]), ratio(row["high"]))
        return _("odds {ratio} times as high ({interval})", ratio=ratio(value), interval=interval) + chance
    if "points" in term:
        known = not (math.isnan(row["low"]) or math.isnan(row["high"]))
        interval = f" ({between(_signed(row['low']), _signed(row['high']))})" if known else ""
        return _("{points} percentage points", points=_signed(value)) + interval + chance
    return f"{percent(value)} ({percent_range(row['low'], row['high'])}){chance}"


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + words().number(value, 1)
