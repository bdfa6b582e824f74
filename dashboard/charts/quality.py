"""How complete the records are: a grid of fields and trimmers, and how each scorer uses the scores."""

from __future__ import annotations

from typing import Any

import pandas as pd
from plotly.colors import sample_colorscale

from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, Message
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.labels import column_label, lesion_label, value_label
from evenfoot.dashboard.charts.shades import ink_on
from evenfoot.dashboard.charts.theme import EN_DASH, MARKERS, number, percent, percent_range, scale, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told

COMPLETE = "completeness"
SCORES = "scores"
HEIGHT = 320
ROW = 30
MOST_PEOPLE = 14
"""People whose columns fit beside each other; those with the most records come first."""


def completeness_of(answer: Answer) -> pd.DataFrame:
    """Completeness by field and trimmer: n records, share filled in, over the whole period."""
    table = answer.table
    if answer.empty:
        return pd.DataFrame(columns=["field", "trimmer", "n", "share"])
    table = table[(table["check"] == COMPLETE) & table["share"].notna()]
    if table["month"].isna().any():
        table = table[table["month"].isna()]
    everyone = _("all")
    table = table.assign(trimmer=table["trimmer"].fillna("").replace("", everyone), filled=table["share"] * table["n"])
    out = table.groupby(["field", "trimmer"], as_index=False, sort=False)[["n", "filled"]].sum()
    return out.assign(share=out["filled"] / out["n"]).drop(columns="filled")


def field_words(field: str) -> str:
    """A field or lesion of a check by name, in a sentence.

    Examples
    --------
    >>> field_words("sole_thickness_mm"), field_words("DD"), field_words("3 (0-3)")
    ('sole thickness, mm', 'digital dermatitis', '3 (0-3)')
    """
    if field in LESIONS:
        return lesion_label(field).lower()
    return column_label(field).lower() if field in COLUMNS or "_" in field else field


def sentence_words(row: dict[str, Any]) -> str:
    """The sentence of a check with names for fields and lesions.

    Examples
    --------
    >>> sentence_words({"sentence": Message("{n} readings of {field}.", n=9, field="sole_thickness_mm")})
    '9 readings of sole thickness, mm.'
    """
    return told(_with_names(row["sentence"]))


def _with_names(value: Any) -> Any:
    """A sentence, and those inside it, with names for fields and lesions; other values as they are."""
    if not isinstance(value, Message):
        return value
    named = {
        name: field_words(str(each)) if name in ("field", "lesion") else _with_names(each)
        for name, each in value.values.items()
    }
    return Message(value.template, **named)


def completeness(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Heat grid of the share of records that have a field filled in, by field and trimmer.

    Parameters
    ----------
    answer : Answer
        ``table``: check, trimmer, month, field, n, share; rows whose check is completeness are drawn.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Every tile says its percentage, so that shade alone says nothing.
    """
    title = _("How much of the records is filled in") if title is None else title
    cells = completeness_of(answer)
    if cells.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    people = cells.groupby("trimmer", sort=False)["n"].max().sort_values(ascending=False, kind="stable")
    shown = list(people.index[: 6 if narrow else MOST_PEOPLE])
    notes = []
    if len(people) > len(shown):
        notes.append(_("The {n} people with the most records are drawn; the table has all.", n=len(shown)))
    cells = cells[cells["trimmer"].isin(shown)]
    fields = list(cells.groupby("field", sort=False)["share"].mean().sort_values(kind="stable").index)
    x = {name: i for i, name in enumerate(shown)}
    y = {name: -i for i, name in enumerate(fields)}
    t = tokens(theme)
    shapes, words = [], []
    colours = sample_colorscale(scale(theme), cells["share"].clip(0.0, 1.0))
    for row, colour in zip(records(cells), map(str, colours), strict=True):
        at = (x[row["trimmer"]], y[row["field"]])
        shapes.append(_tile(*at, colour, t.raised))
        words.append(
            {
                "x": at[0],
                "y": at[1],
                "text": percent(row["share"], 0),
                "showarrow": False,
                "font": {"size": 11.5, "color": ink_on(colour)},
            }
        )
    hover = [
        f"<b>{column_label(row['field'])}, {value_label('trimmer', row['trimmer'])}</b><br>"
        + _("{share} of {n} records", share=percent(row["share"]), n=number(row["n"]))
        for row in records(cells)
    ]
    figure = plain.Figure(
        [
            plain.scatter(
                x=[x[name] for name in cells["trimmer"]],
                y=[y[name] for name in cells["field"]],
                mode="markers",
                marker={"size": 24, "opacity": 0, "symbol": "square"},
                hovertext=hover,
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(cells, drill),
            )
        ]
    )
    figure.update_xaxes(
        tickvals=list(x.values()),
        ticktext=[value_label("trimmer", name) for name in shown],
        side="top",
        showgrid=False,
        ticks="",
        range=[-0.5, len(shown) - 0.5],
    )
    figure.update_yaxes(
        tickvals=list(y.values()),
        ticktext=[column_label(name) for name in fields],
        showgrid=False,
        ticks="",
        range=[-len(fields) + 0.5, 0.5],
    )
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=ROW * len(fields) + 40,
        notes=notes,
        shown=N_("shares of all records, so without intervals"),
    )
    figure.update_layout(shapes=shapes, annotations=words, margin={"t": (figure.layout.margin.t or 14) + 28, "b": 12})
    return figure


def score_shares(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """How often each scorer gives each score, with intervals, beside each other.

    Parameters
    ----------
    answer : Answer
        ``table``: check, trimmer (who scored), field (the score and its scale), n, share, low, high; rows
        whose check is scores are drawn.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        One colour and marker a scorer.
    """
    title = _("How each scorer uses the scores") if title is None else title
    table = answer.table if answer.empty else answer.table[answer.table["check"] == SCORES]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    people = list(table.groupby("trimmer")["n"].max().sort_values(ascending=False, kind="stable").index)
    people = people[: len(MARKERS)]
    places = {name: i for i, name in enumerate(sorted(set(table["field"]), key=lambda f: (f[f.find("(") :], f)))}
    t = tokens(theme)
    figure = plain.Figure()
    for place, name in enumerate(people):
        part = table[table["trimmer"] == name]
        beside = (place - (len(people) - 1) / 2) * 0.8 / max(4, len(people))
        colour = t.series[place % len(t.series)]
        hover = [
            f"<b>{value_label('trimmer', name)}, {_('score {score}', score=row['field'])}</b><br>"
            f"{percent(row['share'])} ({percent_range(row['low'], row['high'])}) "
            + _("of {n} scorings", n=number(row["n"]))
            for row in records(part)
        ]
        figure.add_trace(
            plain.scatter(
                x=[places[field] + beside for field in part["field"]],
                y=part["share"],
                error_y=whiskers(part["share"], part["low"], part["high"], colour, thickness=1.6),
                mode="markers",
                marker={"size": 9, "symbol": MARKERS[place], "color": colour},
                name=value_label("trimmer", name),
                hovertext=hover,
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(part, drill),
            )
        )
    figure.update_xaxes(
        tickvals=list(places.values()),
        ticktext=_score_names(list(places)),
        title={"text": _("Score, on its scale")},
        range=[-0.6, len(places) - 0.4],
        showgrid=False,
        tickangle=0,
    )
    highest = top_of(table, "share", "high")
    figure.update_yaxes(**shares_axis(narrow, highest, _("Share of the person's scorings")))
    letters = sum(len(str(name)) + 6 for name in people)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=HEIGHT,
        legend_lines=1 + letters // (46 if narrow else 100),
    )


def _score_names(fields: list[str]) -> list[str]:
    """The score under each place, and the scale once under its middle, where there is room for it.

    Examples
    --------
    >>> _score_names(["0 (0-3)", "1 (0-3)", "2 (0-3)"])[1].replace(EN_DASH, "-")
    '1<br>scale 0-3'
    """
    scales = [field[field.find("(") :].strip("()") for field in fields]
    out = []
    for i, (field, scale_of) in enumerate(zip(fields, scales, strict=True)):
        first, count = scales.index(scale_of), scales.count(scale_of)
        middle = i == first + (count - 1) // 2
        name = field.partition(" (")[0]
        out.append(f"{name}<br>{_('scale {scale}', scale=scale_of.replace('-', EN_DASH))}" if middle else name)
    return out


def _tile(x: int, y: int, colour: str, edge: str) -> dict[str, Any]:
    return {
        "type": "rect",
        "x0": x - 0.48,
        "x1": x + 0.48,
        "y0": y - 0.46,
        "y1": y + 0.46,
        "fillcolor": colour,
        "line": {"color": edge, "width": 1},
        "layer": "below",
    }
