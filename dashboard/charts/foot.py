"""The foot, drawn: where on the four feet lesions are found, seen from below."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.colors import sample_colorscale, unlabel_rgb

from analytics.measures.answer import Answer
from analytics.trade.feet import CLAW_NAMES, FOOT_NAMES
from analytics.words import say
from dashboard.charts.claw import (
    DRAWN_ZONES,
    SHARED_ZONES,
    Key,
    Points,
    claw_outline,
    dewclaws,
    label_spot,
    side_of,
    spots,
    zone_polygons,
)
from dashboard.charts.frame import Drill, framed, nothing_to_show, records
from dashboard.charts.labels import zone_label
from dashboard.charts.theme import cases_of, estimate, percent, scale, tokens

FROM_BELOW = say("Seen from below, toes up: her left feet are at the right of the picture.")

WIDTH, HEIGHT = 2.34, 3.2
NARROW_HEIGHT = 3.5
"""Room of one foot with its words, in half claw lengths."""

SHOWN = "tap or point at a zone for its {level} interval"

LABEL = (0.25, 0.13)
NARROW_LABEL = (0.29, 0.15)
"""Room that a figure such as 12.3 needs, in half claw lengths."""

SPACING = 0.19


def place_feet(narrow: bool) -> dict[str, tuple[float, float]]:
    """Middle of each foot: four in a row, or front above hind on a phone."""
    if narrow:
        return {"RF": (0, 0), "LF": (WIDTH, 0), "RH": (0, -NARROW_HEIGHT), "LH": (WIDTH, -NARROW_HEIGHT)}
    gap = 0.35
    return {"RF": (0, 0), "LF": (WIDTH, 0), "RH": (2 * WIDTH + gap, 0), "LH": (3 * WIDTH + gap, 0)}


def draw_feet(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
    highest: float | None = None,
) -> go.Figure:
    """The four feet from below, every zone in the colour of its prevalence.

    Parameters
    ----------
    answer : Answer
        ``table`` with foot, claw, zone and cases, at_risk, prevalence, low, high; claw is missing for what
        both claws share (zones 0 and 10), as :func:`analytics.measures.foot_map.foot_map` gives it.
    theme, narrow, title, drill
        As in the other charts. ``drill`` is given foot, claw (``None`` where shared), zone and the figures.
    highest : float, optional
        Prevalence at the top of the colour scale, to draw two pictures on one scale.

    Returns
    -------
    plotly.graph_objects.Figure
        Hover and click points lie invisibly inside every zone.
    """
    title = str(say("Where on the feet")) if title is None else title
    found = zone_rows(answer)
    if answer.empty or not found:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    top = highest or round_top(max(row["prevalence"] for row in found.values()))
    looked_at = looked_at_by_foot(found)
    places = place_feet(narrow)
    outlines = AlikeZones()
    fills: list[go.Scatter] = []
    hits: list[go.Scatter] = []
    labels: list[dict[str, Any] | None] = []
    unit = answer.basis.unit
    for key, polygon in zone_polygons().items():
        foot = key[0]
        moved = polygon + np.array(places[foot])
        row = found.get(key)
        if row is not None:
            fills.append(filled(moved, colour_of(row["prevalence"], top, theme), theme))
            labels.append(zone_label_in(key, places[foot], row["prevalence"], top, theme, narrow))
        else:
            outlines.add("none" if foot in looked_at else "unknown", moved)
        hits.append(hit_points(key, places[foot], row, looked_at.get(foot), unit, drill))
    lines: list[go.Scatter] = []
    words: list[dict[str, Any]] = []
    for foot, at in places.items():
        lines += lines_of_foot(foot, at, theme)
        words += words_of_foot(foot, at, theme, narrow)
    bar = colour_bar(top, theme, narrow, str(say("Share of {unit}s", unit=unit)))
    figure = go.Figure([*outlines.traces(theme), *fills, *lines, *hits, bar])
    figure.update_layout(annotations=[*words, *(label for label in labels if label)])
    notes = [str(FROM_BELOW), *outlines.notes(), *_not_drawn(answer)]
    return _finish(figure, answer, places, title=title, theme=theme, narrow=narrow, notes=notes)


def _not_drawn(answer: Answer) -> list[str]:
    zones = pd.to_numeric(answer.table["zone"], errors="coerce")
    elsewhere = int(answer.table.loc[~zones.isin(DRAWN_ZONES), "cases"].sum())
    if not elsewhere:
        return []
    return [str(say("{n} cases in other zones are in the table only.", n=elsewhere))]


def _finish(
    figure: go.Figure,
    answer: Answer,
    places: Mapping[str, tuple[float, float]],
    *,
    title: str,
    theme: str,
    narrow: bool,
    notes: list[str],
) -> go.Figure:
    xs, ys = zip(*places.values(), strict=True)
    across = max(xs) - min(xs) + WIDTH
    down = max(ys) - min(ys) + HEIGHT + 0.1
    pixels = (372 if narrow else 1120) / across
    figure.update_xaxes(visible=False, range=[min(xs) - WIDTH / 2, max(xs) + WIDTH / 2], fixedrange=True)
    figure.update_yaxes(
        visible=False,
        range=[min(ys) - 1.74, max(ys) + HEIGHT - 1.64],
        fixedrange=True,
        scaleanchor="x",
        scaleratio=1,
    )
    height = math.ceil(down * pixels)
    notes = [" ".join(notes)]
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height, notes=notes, shown=SHOWN)
    figure.update_layout(margin={"l": 6, "r": 6, "b": 64}, hoverdistance=24, height=figure.layout.height + 20)
    return figure
