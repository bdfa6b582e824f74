"""Horn drawn: its state by group, how far it is shed, and how fast toes grow; each with its words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from plotly.colors import sample_colorscale

from evenfoot.analytics.domain.horn import GROWTH_MM_PER_MONTH, SHED_STAGES
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, Length, say
from evenfoot.analytics.queries.horn import SHARES
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, framed, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.lengths import in_unit, measured
from evenfoot.dashboard.charts.theme import between, number, percent, percent_range, plural, scale, tokens
from evenfoot.dashboard.i18n.translation import _, told, words

NAMES: dict[str, str] = {
    "toe_length_mm": say("Toe length as found"),
    "toe_angle_deg": say("Toe angle"),
    "heel_depth_mm": say("Heel depth"),
    "sole_thickness_mm": say("Sole thickness"),
    "overgrown": say("Overgrown claws"),
    "long_toe": say("Long toes"),
    "thin_soled": say("Thin soles"),
    "toe_difference_mm": say("Toe length, one claw against the other"),
    "heel_difference_mm": say("Heel depth, one claw against the other"),
    "sole_difference_mm": say("Sole thickness, one claw against the other"),
    "shed_difference": say("Shed stage, one claw against the other"),
    "toe_break_mm": say("Toes broken off, how far past the line"),
    "toe_break": say("Claws with a toe broken off"),
    "toe_break_far": say("Breaks far past the line"),
    "toe_break_lame": say("Breaks with the cow lame"),
}
"""What a person reads for a measure, in the order they are offered."""

UNITS = {"mm": say("mm"), "in": say("in"), "degrees": say("degrees"), "stages": say("stages")}
COUNTED = {"toe_difference_mm", "heel_difference_mm", "sole_difference_mm", "shed_difference"}
MOST_ROWS = 36
ROW, NARROW_ROW = 40, 48
STAGES_HEIGHT = 300
LEAST_LABELLED = 0.07
"""A segment narrower than this share holds no number."""

SEASONS = ("winter", "spring", "summer", "autumn")


def of_measure(answer: Answer, measure: str) -> pd.DataFrame:
    """The rows of one measure, groups in their own order."""
    if answer.empty:
        return answer.table
    return answer.table[answer.table["measure"] == measure].reset_index(drop=True)


def state_words(row: dict[str, Any]) -> str:
    """An estimate with its interval and what it rests on.

    Examples
    --------
    >>> state_words({"measure": "toe_length_mm", "mean": 84.6, "low": 84.4, "high": 84.7, "n": 12, "unit": "mm"})
    '84.6 mm (84.4 to 84.7), 12 claws'
    """
    unit = "foot" if row["measure"] in COUNTED else "claw"
    if row["measure"] in ("toe_break_far", "toe_break_lame", "toe_break_mm"):
        unit = "break"
    of = f"{number(row['n'])} {plural(unit, row['n'])}"
    if row["unit"] == "share":
        return f"{percent(row['mean'])} ({percent_range(row['low'], row['high'])}), {of}"
    digits = 2 if row["unit"] == "in" else 1
    mean = words().number(row["mean"], digits)
    if not math.isfinite(row["low"]):
        return _("{mean} {unit} (interval not known), {of}", mean=mean, unit=told(UNITS[row["unit"]]), of=of)
    interval = between(words().number(row["low"], digits), words().number(row["high"], digits))
    return _("{mean} {unit} ({interval}), {of}", mean=mean, unit=told(UNITS[row["unit"]]), interval=interval, of=of)


def _named(row: dict[str, Any], by: tuple[str, ...]) -> str:
    return ", ".join(value_label(name, row[name]) for name in by if name in row) or _("All")


def _ordered(table: pd.DataFrame, by: tuple[str, ...]) -> pd.DataFrame:
    """Groups in the order of the year, the foot or the alphabet."""

    def key(column: pd.Series) -> pd.Series:
        if column.name == "season":
            return column.map({name: place for place, name in enumerate(SEASONS)})
        return column

    return table.sort_values(list(by), key=key, kind="stable") if by else table


def state(
    answer: Answer,
    *,
    measure: str = "toe_length_mm",
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of one measure of horn by group.

    Parameters
    ----------
    answer : Answer
        As :func:`evenfoot.analytics.measures.horn.horn_state.horn` gives it.
    measure : str
        One of ``NAMES``.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = told(NAMES[measure]) if title is None else title
    table = _ordered(measured(of_measure(answer, measure)), answer.by)
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    rows = [
        Row(
            _named(row, answer.by),
            state_words(row),
            row["mean"],
            row["low"],
            row["high"],
            carries=drill(row) if drill else None,
        )
        for row in records(table.head(MOST_ROWS))
    ]
    if measure in SHARES:
        axis = shares_axis(narrow, top_of(table, "high", "mean"), _("Share"))
    else:
        unit = UNITS[str(table["unit"].iloc[0])]
        axis = {"title": {"text": f"{told(NAMES[measure])}, {told(unit)}"}, "nticks": 5 if narrow else 9}
    notes = []
    if len(table) > MOST_ROWS:
        notes.append(_("The first {n} of {all} are drawn; the table has all.", n=MOST_ROWS, all=len(table)))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, notes=notes)


def stage_colours(theme: str) -> list[str]:
    """A colour for every shed stage, in order of lightness, so that grey print keeps the order."""
    return [str(colour) for colour in sample_colorscale(scale(theme), np.linspace(0.04, 0.96, len(SHED_STAGES)))]


def stages(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Stacked bars of shed stages by group, stage 0 first; months run from left to right.

    Parameters
    ----------
    answer : Answer
        As :func:`evenfoot.analytics.measures.horn.shedding.shedding` gives it.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        The interval of every share is said on its segment and stands in the table.
    """
    title = _("How far horn is shed") if title is None else title
    if answer.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    t = tokens(theme)
    table = _ordered(answer.table, answer.by)
    names = [_named(row, answer.by) for row in records(table)]
    upright = bool(answer.by) and pd.api.types.is_datetime64_any_dtype(table[answer.by[0]]) and not narrow
    figure = plain.Figure()
    for stage, colour in zip(SHED_STAGES, stage_colours(theme), strict=True):
        here = (table["shed_stage"] == stage).to_numpy()
        part = records(table[here])
        groups = [name for name, kept in zip(names, here, strict=True) if kept]
        shares = [row["share"] for row in part]
        figure.add_trace(
            plain.bar(
                x=groups if upright else shares,
                y=shares if upright else groups,
                orientation="v" if upright else "h",
                name=f"{stage} {_(SHED_STAGES[stage].name)}",
                marker={"color": colour, "line": {"color": t.raised, "width": 1}},
                text=[str(stage) if share >= LEAST_LABELLED else "" for share in shares],
                textposition="inside",
                insidetextanchor="middle",
                textangle=0,
                hovertext=[_stage_words(row, name, stage) for row, name in zip(part, groups, strict=True)],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=[drill(row) for row in part] if drill else None,
            )
        )
    counted = _("Share of feet") if answer.basis.unit == "foot" else _("Share of claws")
    axis = {**shares_axis(narrow, 1.0, counted), "range": [0, 1]}
    count = len(dict.fromkeys(names))
    if upright:
        figure.update_yaxes(**axis)
        figure.update_xaxes(type="category", ticks="")
    else:
        figure.update_xaxes(**axis)
        figure.update_yaxes(type="category", autorange="reversed", ticks="", showgrid=False)
    figure.update_layout(barmode="stack", bargap=0.25, legend={"traceorder": "normal"})
    height = STAGES_HEIGHT if upright else (NARROW_ROW if narrow else ROW) * count + 20
    shown = N_("point at a part of a bar for its {level} interval")
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=height,
        legend_lines=5 if narrow else 2,
        shown=shown,
    )


def _stage_words(row: dict[str, Any], name: str, stage: int) -> str:
    share = f"{percent(row['share'])} ({percent_range(row['low'], row['high'])})"
    counted = _("{feet} of {seen}", feet=number(row["feet"]), seen=number(row["seen"]))
    return f"<b>{name}</b><br>{stage} {_(SHED_STAGES[stage].name)}<br>{share}, {counted}"


def rates(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of growth, with the published rate as a line; inner claws have a hollow mark.

    Parameters
    ----------
    answer : Answer
        As :func:`evenfoot.analytics.measures.horn.growth.growth` gives it.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("How fast toes grow") if title is None else title
    if answer.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = _ordered(answer.table, answer.by)
    rows = [
        Row(
            _named(row, answer.by),
            rate_words(row),
            in_unit(row["mm_per_month"]),
            in_unit(row["low"]),
            in_unit(row["high"]),
            symbol="circle-open" if row.get("claw") == "medial" else "circle",
            carries=drill(row) if drill else None,
        )
        for row in records(table.head(MOST_ROWS))
    ]
    top = max(top_of(table, "high", "mm_per_month"), GROWTH_MM_PER_MONTH)
    low = min(0.0, float(np.nanmin(table["low"].to_numpy(dtype=float))))
    inches = words().units == "in"
    axis = {
        "title": {
            "text": _("Growth less wear, inches a month") if inches else _("Growth less wear, millimetres a month")
        },
        "range": [in_unit(low) * 1.05, in_unit(top) * 1.05],
        "nticks": 5 if narrow else 9,
    }
    line = in_unit(GROWTH_MM_PER_MONTH)
    note = _("The dotted line is the published growth of {rate} a month, wear apart.", rate=Length(GROWTH_MM_PER_MONTH))
    return draw_rows(answer, rows, axis, title=title, theme=theme, narrow=narrow, line=line, notes=[note])


def rate_words(row: dict[str, Any]) -> str:
    """A rate with its interval and the pairs behind it.

    Examples
    --------
    >>> rate_words({"mm_per_month": 2.751, "low": 2.64, "high": 2.86, "pairs": 561})
    '2.75 mm a month (2.64 to 2.86), 561 pairs'
    """
    template = (
        N_("{rate:.3f} in a month ({low:.3f} to {high:.3f}), {pairs} {noun}")
        if words().units == "in"
        else N_("{rate:.2f} mm a month ({low:.2f} to {high:.2f}), {pairs} {noun}")
    )
    return _(
        template,
        rate=in_unit(row["mm_per_month"]),
        low=in_unit(row["low"]),
        high=in_unit(row["high"]),
        pairs=number(row["pairs"]),
        noun=plural("pair", row["pairs"]),
    )


def describe(kind: str, answer: Answer, measure: str = "toe_length_mm") -> str:
    """One to three sentences that say what a chart of horn shows, for a screen reader.

    Parameters
    ----------
    kind : {"state", "stages", "rates"}
    answer : Answer
    measure : str
        Which measure a chart of state shows.
    """
    if answer.empty:
        return told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    if kind == "state":
        table = measured(of_measure(answer, measure))
        if table.empty:
            return _("{what}: not recorded for this choice.", what=told(NAMES[measure]))
        head = _("{what} in {n} groups.", what=told(NAMES[measure]), n=len(table))
        return f"{head} {_ends(table, 'mean', answer.by, state_words)}"
    if kind == "rates":
        return f"{_('Growth of toes in {n} groups.', n=len(answer.table))} " + _ends(
            answer.table, "mm_per_month", answer.by, rate_words
        )
    whole = {stage: answer.table.loc[answer.table["shed_stage"] == stage, "feet"].sum() for stage in SHED_STAGES}
    parts = [f"{stage} {_(SHED_STAGES[stage].name)}: {number(count)}" for stage, count in whole.items()]
    groups = len(answer.table) // len(SHED_STAGES)
    return _("Shed stages in {n} groups, all together: {parts}.", n=groups, parts=", ".join(parts))


def _ends(table: pd.DataFrame, column: str, by: tuple[str, ...], told_of: Any) -> str:
    """The highest and the lowest, or the only one."""
    rows = records(table.sort_values(column, ascending=False, kind="stable"))
    if len(rows) == 1:
        return f"{_named(rows[0], by)}: {told_of(rows[0])}."
    return _(
        "Highest: {top}, {a}. Lowest: {bottom}, {b}.",
        top=_named(rows[0], by),
        a=told_of(rows[0]),
        bottom=_named(rows[-1], by),
        b=told_of(rows[-1]),
    )
