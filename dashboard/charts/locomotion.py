"""How many cows are lame, period by period, and how scores moved from one scoring to the next."""

from __future__ import annotations

import pandas as pd
from plotly.colors import sample_colorscale

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dated import mark_changes
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, shares_axis, top_of
from evenfoot.dashboard.charts.labels import small, value_label
from evenfoot.dashboard.charts.periods import period_axis, period_kind, shifted, with_gaps
from evenfoot.dashboard.charts.shades import ink_on
from evenfoot.dashboard.charts.theme import DASHES, MARKERS, estimate, number, percent, plural, rgba, scale, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _

HEIGHT = 340
NARROW_HEIGHT = 300


def locomotion(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Share lame and severely lame by period, with intervals.

    Parameters
    ----------
    answer : Answer
        ``table``: period, scored, lame, lame_prevalence, lame_low, lame_high, and the same for severe.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("How many cows are lame") if title is None else title
    table = answer.table
    if answer.empty or not table["scored"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = table.loc[table["scored"] > 0]
    figure = plain.Figure()
    for place, (name, words) in enumerate((("lame", _("All lame")), ("severe", _("Severely lame")))):
        figure.add_traces(_line(table, name, words, place, theme, drill))
    letters = sum(len(trace.name) + 8 for trace in figure.data if trace.showlegend is not False)
    return _finish(figure, answer, table, title, theme, narrow, letters=letters)


def by_group(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Share lame by period, one line for each group of the second grouping in ``answer.by``.

    Parameters
    ----------
    answer : Answer
        ``table``: period, a grouping, scored, lame, lame_prevalence, lame_low, lame_high.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Groups lie a little beside each other, so that their intervals can be told apart.
    """
    title = _("How many cows are lame in each group") if title is None else title
    group = next((name for name in answer.by if name != "period"), None)
    table = answer.table
    if answer.empty or group is None or not table["scored"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = table.loc[table["scored"] > 0]
    groups = list(dict.fromkeys(table[group]))
    notes = []
    if len(groups) > len(MARKERS):
        size = table.groupby(group)["scored"].sum().sort_values(ascending=False)
        groups = [name for name in groups if name in set(size.index[: len(MARKERS)])]
        notes = [_("The {n} largest groups are drawn; the table has all.", n=len(groups))]
    figure = plain.Figure()
    for place, name in enumerate(groups):
        beside = place - (len(groups) - 1) / 2
        part = table[table[group] == name]
        figure.add_traces(_line(part, "lame", value_label(group, name), place, theme, drill, beside))
    letters = sum(len(value_label(group, name)) + 8 for name in groups)
    return _finish(figure, answer, table, title, theme, narrow, letters=letters, notes=notes)


def _finish(
    figure: plain.Figure,
    answer: Answer,
    table: pd.DataFrame,
    title: str,
    theme: str,
    narrow: bool,
    *,
    letters: int,
    notes: list[str] | None = None,
) -> plain.Figure:
    highest = top_of(table, "lame_high", "lame_prevalence")
    figure.update_yaxes(**shares_axis(narrow, highest, _("Share of cows scored")))
    period_axis(figure, table["period"], narrow)
    dates = mark_changes(figure, answer.extra.get("changes"), table["period"], theme)
    return framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=NARROW_HEIGHT if narrow else HEIGHT,
        notes=[*(notes or ()), *dates],
        legend_lines=1 + letters // (40 if narrow else 100),
    )


def _line(
    part: pd.DataFrame,
    name: str,
    words: str,
    place: int,
    theme: str,
    drill: Drill | None,
    beside: float = 0.0,
) -> list[plain.Part]:
    """One series: line broken where nothing was scored, dots, whiskers."""
    t = tokens(theme)
    colour = t.series[place % len(t.series)]
    part = part.sort_values("period").reset_index(drop=True)
    share, low, high = (part[f"{name}_{end}"] for end in ("prevalence", "low", "high"))
    hover, step = [], period_kind(part["period"])
    for row in records(part):
        figures = estimate(row[name], row["scored"], row[f"{name}_low"], row[f"{name}_high"], "scoring")
        hover.append(f"<b>{value_label(step, row['period'])}, {small(words)}</b><br>{figures}")
    at = shifted(part["period"], beside)
    x, y = with_gaps(at, share)
    kind = {"legendgroup": words, "name": words}
    return [
        plain.scatter(
            x=x,
            y=y,
            mode="lines",
            line={"color": rgba(colour, 0.75), "width": 2, "dash": DASHES[place % len(DASHES)]},
            hoverinfo="skip",
            showlegend=False,
            **kind,
        ),
        plain.scatter(
            x=at,
            y=share,
            error_y=whiskers(share, low, high, rgba(colour, 0.8)),
            mode="markers",
            marker={
                "color": colour,
                "size": 8,
                "symbol": MARKERS[place % len(MARKERS)],
                "line": {"color": t.raised, "width": 1},
            },
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(part, drill),
            **kind,
        ),
    ]


def transitions(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Where cows of each score were at their next scoring: one row a score before, one tile a score after.

    Parameters
    ----------
    answer : Answer
        ``table``: before, after (scores or words), cases (cows that moved so), at_risk (cows with that score
        before), prevalence (cases over at_risk), low, high.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Cows that stayed lie on the outlined diagonal, cows that got worse right of it.
    """
    title = _("From one scoring to the next") if title is None else title
    table = answer.table
    if answer.empty or not table["at_risk"].sum():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    t = tokens(theme)
    names = sorted(set(table["before"]) | set(table["after"]), key=lambda value: (isinstance(value, str), value))
    place = {name: i for i, name in enumerate(names)}
    looked = table.groupby("before")["at_risk"].max()
    figure = plain.Figure()
    annotations, shapes = [], []
    for row in records(table):
        x, y = place[row["after"]], -place[row["before"]]
        colour = str(sample_colorscale(scale(theme), [row["prevalence"]])[0])
        shapes.append(_tile(x, y, colour, t.ink if x == -y else t.raised, 2.5 if x == -y else 1))
        text = f"<b>{percent(row['prevalence'], 0)}</b>"
        if not narrow:
            text += f"<br>{number(row['cases'])}"
        annotations.append(
            {"x": x, "y": y, "text": text, "showarrow": False, "font": {"color": ink_on(colour), "size": 12}}
        )
    hover = [
        f"<b>{_('Score {a}, then {b}', a=_score(row['before']), b=_score(row['after']))}</b><br>"
        f"{estimate(row['cases'], row['at_risk'], row['low'], row['high'])}"
        for row in records(table)
    ]
    figure.add_trace(
        plain.scatter(
            x=[place[name] for name in table["after"]],
            y=[-place[name] for name in table["before"]],
            mode="markers",
            marker={"size": 34, "opacity": 0, "symbol": "square"},
            hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>",
            customdata=marks(table, drill),
        )
    )
    rows = [
        f"{_score(name)}  ({number(looked[name])} {plural('cow', looked[name])})" if name in looked else str(name)
        for name in names
    ]
    edge = [-0.5, len(names) - 0.5]
    figure.update_xaxes(
        tickvals=list(range(len(names))),
        ticktext=[_score(name) for name in names],
        title={"text": _("Score after")},
        range=edge,
        showgrid=False,
        ticks="",
    )
    figure.update_yaxes(
        tickvals=[-i for i in range(len(names))],
        ticktext=rows,
        title={"text": _("Score before")},
        range=[-len(names) + 0.5, 0.5],
        showgrid=False,
        ticks="",
    )
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=(44 if narrow else 52) * len(names),
        notes=[_("Each row adds up to 100%. Outlined: no change. Right of it: worse.")],
        shown=N_("point at a tile for its {level} interval"),
    )
    figure.update_layout(annotations=annotations, shapes=shapes)
    return figure


def _score(value: object) -> str:
    return value_label("score", value)


def _tile(x: int, y: int, colour: str, edge: str, width: float) -> dict[str, object]:
    return {
        "type": "rect",
        "x0": x - 0.47,
        "x1": x + 0.47,
        "y0": y - 0.46,
        "y1": y + 0.46,
        "fillcolor": colour,
        "line": {"color": edge, "width": width},
        "layer": "below",
    }
