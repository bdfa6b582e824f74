"""A claw at every stage of shedding: what is gone, what is going, what still stands, and how many feet are there."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.horn import SHED_STAGES
from evenfoot.analytics.domain.shedding import HORN_ZONES, STANDING
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.claw import Points, zone_polygons
from evenfoot.dashboard.charts.frame import framed, records
from evenfoot.dashboard.charts.labels import zone_label
from evenfoot.dashboard.charts.theme import percent, percent_range, rgba, tokens
from evenfoot.dashboard.i18n.translation import _, told

FOOT, CLAW = "LH", "lateral"
"""The claw that stands for all: every other one is its mirror image."""

WIDE, TALL = 1.55, 3.1
"""Room of one claw with its words, in half claw lengths."""

PIXELS, NARROW_PIXELS = 104, 72
LOOKS = {"standing": say("standing"), "partly shed": say("partly shed"), "shed": say("shed")}


def look_of(zone: int, stage: int) -> str:
    """Whether a zone stands, is partly shed or is shed at a stage.

    Examples
    --------
    >>> look_of(4, 0), look_of(5, 2), look_of(4, 2)
    ('standing', 'partly shed', 'shed')
    """
    known = STANDING[stage]
    return "shed" if zone in known.shed else "partly shed" if zone in known.partly else "standing"


def shed_claws(
    answer: Answer | None = None, *, theme: str = "paper", narrow: bool = False, title: str | None = None
) -> plain.Figure:
    """Six claws seen from below, one a stage; under each the share of feet at it, where an answer is given.

    Parameters
    ----------
    answer : Answer, optional
        Shedding of one group (``by=()``), as :func:`evenfoot.analytics.measures.horn.shedding.shedding` gives it.
    theme, narrow, title
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        What is shed is hollow, what is going is striped, what stands is filled.
    """
    title = _("The stages of shedding") if title is None else title
    answer = answer or Answer("shedding", pd.DataFrame(), Basis())
    t = tokens(theme)
    shares = {} if answer.empty else {int(row["shed_stage"]): row for row in records(answer.table)}
    figure = plain.Figure()
    words = []
    across = 3 if narrow else 6
    for stage in SHED_STAGES:
        at = np.array([WIDE * (stage % across), -TALL * (stage // across)])
        for zone in HORN_ZONES:
            figure.add_trace(_zone(zone_polygons()[FOOT, CLAW, zone] - np.array([0.55, 0.0]) + at, zone, stage, theme))
        said = [f"<b>{stage}</b> {_two_lines(_(SHED_STAGES[stage].name))}"]
        if stage in shares:
            row = shares[stage]
            said.append(f"<b>{percent(row['share'])}</b> ({percent_range(row['low'], row['high'])})")
        words.append(
            {
                "x": float(at[0]),
                "y": float(at[1]) - 1.16,
                "text": "<br>".join(said),
                "showarrow": False,
                "yanchor": "top",
                "align": "center",
                "font": {"size": 10.5 if narrow else 12, "color": t.ink},
            }
        )
    for look in LOOKS:
        figure.add_trace(_key(look, theme))
    rows = math.ceil(len(SHED_STAGES) / across)
    pixels = NARROW_PIXELS if narrow else PIXELS
    figure.update_layout(annotations=words)
    figure.update_xaxes(visible=False, range=[-WIDE / 2, WIDE * (across - 0.5)], fixedrange=True)
    figure.update_yaxes(
        visible=False, range=[-TALL * (rows - 1) - TALL + 1.2, 1.2], fixedrange=True, scaleanchor="x", scaleratio=1
    )
    notes = [_("An outer claw seen from below, toe up. Horn goes first at the usual site of sole ulcer.")]
    framed(
        figure,
        answer,
        title=title,
        theme=theme,
        narrow=narrow,
        height=math.ceil(TALL * rows * pixels),
        notes=notes,
        legend_lines=1,
        shown=N_("shares with their {level} intervals"),
    )
    figure.update_layout(margin={"l": 6, "r": 6, "b": 20})
    return figure


def _two_lines(name: str) -> str:
    """A name on two lines of about the same length."""
    words = name.split()
    if len(name) <= 14:
        return name
    cut = min(range(1, len(words)), key=lambda n: abs(len(" ".join(words[:n])) - len(" ".join(words[n:]))))
    return " ".join(words[:cut]) + "<br>" + " ".join(words[cut:])


def _fill(look: str, theme: str) -> dict[str, object]:
    t = tokens(theme)
    if look == "standing":
        return {"fillcolor": rgba(t.accent, 0.62)}
    if look == "partly shed":
        pattern = {"shape": "/", "fgcolor": t.accent, "bgcolor": t.raised, "size": 6, "solidity": 0.35}
        return {"fillcolor": rgba(t.accent, 0.2), "fillpattern": pattern}
    return {"fillcolor": t.raised}


def _zone(polygon: Points, zone: int, stage: int, theme: str) -> plain.Part:
    look = look_of(zone, stage)
    x, y = np.vstack([polygon, polygon[:1]]).T
    return plain.scatter(
        x=x,
        y=y,
        mode="lines",
        fill="toself",
        line={"color": tokens(theme).muted, "width": 1, "dash": "dot" if look == "shed" else "solid"},
        hoveron="fills",
        hoverinfo="text",
        text=f"{zone_label(zone)}: {told(LOOKS[look])}",
        showlegend=False,
        **_fill(look, theme),
    )


def _key(look: str, theme: str) -> plain.Part:
    """A legend entry: a square of the fill, with the name that says the same."""
    t = tokens(theme)
    colour = {"standing": rgba(t.accent, 0.62), "partly shed": rgba(t.accent, 0.2), "shed": t.raised}[look]
    symbol = "square-cross" if look == "partly shed" else "square"
    return plain.scatter(
        x=[None],
        y=[None],
        mode="markers",
        name=told(LOOKS[look]),
        marker={"size": 14, "symbol": symbol, "color": colour, "line": {"color": t.muted, "width": 1.2}},
        hoverinfo="skip",
    )


def describe(answer: Answer) -> str:
    """What the drawing shows, for a screen reader."""
    parts = [
        _(
            "{stage}, {name}: zones {zones} stand",
            stage=stage,
            name=_(SHED_STAGES[stage].name),
            zones=", ".join(map(str, known.standing)),
        )
        if known.standing
        else _("{stage}, {name}: no zone stands", stage=stage, name=_(SHED_STAGES[stage].name))
        for stage, known in STANDING.items()
    ]
    text = _("A claw at each stage of shedding. {parts}.", parts="; ".join(parts))
    if answer.empty:
        return text
    shares = [
        f"{_('stage {n}', n=row['shed_stage'])} {percent(row['share'])} ({percent_range(row['low'], row['high'])})"
        for row in records(answer.table)
    ]
    return f"{text} {_('Share of feet: {shares}.', shares=', '.join(shares))}"
