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
from dashboard.charts.frame import Drill, framed, nothing_to_show
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
    top = highest or _round_top(max(row["prevalence"] for row in found.values()))
    looked_at = _looked_at(found)
    places = place_feet(narrow)
    outlines = _Merged()
    fills: list[go.Scatter] = []
    hits: list[go.Scatter] = []
    labels: list[dict[str, Any] | None] = []
    unit = answer.basis.unit
    for key, polygon in zone_polygons().items():
        foot = key[0]
        moved = polygon + np.array(places[foot])
        row = found.get(key)
        if row is not None:
            fills.append(_filled(moved, colour_of(row["prevalence"], top, theme), theme))
            labels.append(_label(key, places[foot], row["prevalence"], top, theme, narrow))
        else:
            outlines.add("none" if foot in looked_at else "unknown", moved)
        hits.append(_hit(key, places[foot], row, looked_at.get(foot), unit, drill))
    lines: list[go.Scatter] = []
    words: list[dict[str, Any]] = []
    for foot, at in places.items():
        lines += _lines_of_foot(foot, at, theme)
        words += _words_of_foot(foot, at, theme, narrow)
    bar = _colour_bar(top, theme, narrow, str(say("Share of {unit}s", unit=unit)))
    figure = go.Figure([*outlines.traces(theme), *fills, *lines, *hits, bar])
    figure.update_layout(annotations=[*words, *(label for label in labels if label)])
    notes = [str(FROM_BELOW), *outlines.notes(), *_not_drawn(answer)]
    return _finish(figure, answer, places, title=title, theme=theme, narrow=narrow, notes=notes)


def zone_rows(answer: Answer) -> dict[Key, dict[str, Any]]:
    """The row of the table that each polygon shows.

    Where a table gives a zone that both claws share claw by claw, the claw with more cases is shown: a lower
    bound of the foot, since cows cannot be added up over claws.
    """
    out: dict[Key, dict[str, Any]] = {}
    for row in answer.table.to_dict("records"):
        zone = row.get("zone")
        if zone is None or pd.isna(zone) or int(zone) not in DRAWN_ZONES or not row["at_risk"]:
            continue
        shared = int(zone) in SHARED_ZONES
        claw = None if shared or pd.isna(row.get("claw")) else str(row["claw"])
        if claw is None and not shared:
            continue
        key = (str(row["foot"]), claw, int(zone))
        if key not in out or row["cases"] > out[key]["cases"]:
            out[key] = {**row, "claw": claw, "zone": int(zone)}
    return out


def colour_of(prevalence: float, top: float, theme: str = "paper") -> str:
    """The colour of a prevalence on a scale from 0 to *top*."""
    return str(sample_colorscale(scale(theme), [min(1.0, max(0.0, prevalence / top))])[0])


def place_words(foot: str, claw: str | None, zone: int) -> str:
    """A place on the foot in words.

    Examples
    --------
    >>> place_words("LH", "lateral", 6)
    'LH outer claw, zone 6, bulb of the heel'
    """
    where = f"{foot} {CLAW_NAMES[claw]} claw" if claw else foot
    return f"{where}, {zone_label(zone)}"


class _Merged:
    """Polygons that look alike, drawn as one trace."""

    def __init__(self) -> None:
        self.kept: dict[str, list[Points]] = {}

    def add(self, kind: str, polygon: Points) -> None:
        self.kept.setdefault(kind, []).append(polygon)

    def traces(self, theme: str) -> Iterator[go.Scatter]:
        t = tokens(theme)
        gap = np.array([[np.nan, np.nan]])
        for kind, polygons in self.kept.items():
            line = np.vstack([piece for p in polygons for piece in (p, p[:1], gap)])
            pattern = {"shape": "/", "size": 6, "solidity": 0.18, "fgcolor": t.muted, "bgcolor": t.faint}
            yield go.Scatter(
                x=line[:, 0].astype(np.float32),
                y=line[:, 1].astype(np.float32),
                mode="lines",
                fill="toself",
                fillcolor=t.faint,
                fillpattern=pattern if kind == "unknown" else None,
                line={"color": t.muted, "width": 0.7},
                hoverinfo="skip",
            )

    def notes(self) -> list[str]:
        out = []
        if "none" in self.kept:
            out.append(str(say("Pale: none recorded.")))
        if "unknown" in self.kept:
            out.append(str(say("Hatched: nothing recorded on that foot.")))
        return out


def _looked_at(found: Mapping[Key, dict[str, Any]]) -> dict[str, float]:
    """How many were looked at on each foot, from any place on it with a row."""
    out: dict[str, float] = {}
    for (foot, _, _), row in found.items():
        out[foot] = max(out.get(foot, 0.0), row["at_risk"])
    return out


def _filled(polygon: Points, colour: str, theme: str) -> go.Scatter:
    line = np.vstack([polygon, polygon[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        fill="toself",
        fillcolor=colour,
        line={"color": tokens(theme).raised, "width": 1},
        hoverinfo="skip",
    )


def _label(
    key: Key, at: tuple[float, float], prevalence: float, top: float, theme: str, narrow: bool
) -> dict[str, Any] | None:
    """The figure inside its zone, where there is room for it."""
    spot = label_spot(key, *(NARROW_LABEL if narrow else LABEL))
    if spot is None:
        return None
    return {
        "x": round(spot[0] + at[0], 3),
        "y": round(spot[1] + at[1], 3),
        "text": f"{100 * prevalence:.1f}",
        "showarrow": False,
        "font": {"size": 10.5 if narrow else 12, "color": ink_on(prevalence, top, theme)},
    }


def ink_on(prevalence: float, top: float, theme: str) -> str:
    """Black or white, whichever stands out more on the colour of a prevalence."""
    red, green, blue = unlabel_rgb(colour_of(prevalence, top, theme))
    return "#111111" if 0.299 * red + 0.587 * green + 0.114 * blue > 126 else "#FFFFFF"


def _hit(
    key: Key,
    at: tuple[float, float],
    row: dict[str, Any] | None,
    looked_at: float | None,
    unit: str,
    drill: Drill | None,
) -> go.Scatter:
    """Invisible points that answer to the pointer and the finger anywhere in the zone."""
    foot, claw, zone = key
    points = (spots(key, SPACING) + np.array(at)).astype(np.float32)
    if row is not None:
        figures = estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)
    elif looked_at:
        figures = str(say("none recorded: {figures}", figures=cases_of(0, looked_at, unit)))
    else:
        figures = str(say("nothing recorded on this foot"))
    carried = drill({"foot": foot, "claw": claw, "zone": zone, **(row or {})}) if drill else None
    return go.Scatter(
        x=points[:, 0],
        y=points[:, 1],
        mode="markers",
        marker={"size": 16, "opacity": 0},
        hovertemplate=f"<b>{place_words(foot, claw, zone)}</b><br>{figures}<extra></extra>",
        customdata=[carried] * len(points) if carried is not None else None,
    )


def _lines_of_foot(foot: str, at: tuple[float, float], theme: str) -> list[go.Scatter]:
    """The outlines of both claws, and the dewclaws."""
    t = tokens(theme)
    out = []
    for claw in CLAW_NAMES:
        line = claw_outline(12) * np.array([float(side_of(foot, claw)), 1.0])
        out.append(_stroke(line + np.array(at), t.ink, 1.4))
    return out + [_stroke(line + np.array(at), t.muted, 0.8, t.faint) for line in dewclaws()]


def _words_of_foot(foot: str, at: tuple[float, float], theme: str, narrow: bool) -> list[dict[str, Any]]:
    """Which foot it is, and which claw is the outer one."""
    t = tokens(theme)
    name = {
        "x": at[0],
        "y": at[1] + (1.45 if narrow else 1.40),
        "text": f"<b>{foot}</b> {FOOT_NAMES[foot]}",
        "showarrow": False,
        "font": {"size": 12.5 if narrow else 14, "color": t.ink},
    }
    return [name] + [
        {
            "x": at[0] + side_of(foot, claw) * 0.55,
            "y": at[1] + 1.18,
            "text": word,
            "showarrow": False,
            "font": {"size": 11 if narrow else 12, "color": t.muted},
        }
        for claw, word in CLAW_NAMES.items()
    ]


def _stroke(line: Points, colour: str, width: float, fill: str | None = None) -> go.Scatter:
    line = np.vstack([line, line[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        line={"color": colour, "width": width},
        fill="toself" if fill else "none",
        fillcolor=fill,
        hoverinfo="skip",
    )


def _colour_bar(top: float, theme: str, narrow: bool, words: str) -> go.Scatter:
    """The colour scale with its unit, carried by a point that is not drawn."""
    t = tokens(theme)
    ticks = np.linspace(0, top, 3 if narrow else 5)
    bar = {
        "orientation": "h",
        "thickness": 10,
        "len": 0.9 if narrow else 0.4,
        "x": 0.5,
        "xanchor": "center",
        "y": 0,
        "yanchor": "top",
        "ypad": 4,
        "outlinewidth": 0,
        "tickvals": ticks,
        "ticktext": [percent(value, 0 if top >= 0.1 and (top * 25) % 1 < 1e-9 else 1) for value in ticks],
        "tickfont": {"size": 11.5, "color": t.muted},
        "title": {"text": words, "side": "top", "font": {"size": 12, "color": t.muted}},
    }
    return go.Scatter(
        x=[None],
        y=[None],
        mode="markers",
        marker={
            "color": [0],
            "cmin": 0,
            "cmax": top,
            "colorscale": scale(theme),
            "showscale": True,
            "colorbar": bar,
        },
        hoverinfo="skip",
    )


def _round_top(highest: float) -> float:
    """The end of the colour scale: the next even percentage that splits into four."""
    steps = (0.01, 0.02, 0.04, 0.08, 0.12, 0.16, 0.2, 0.24, 0.32, 0.4, 0.48, 0.6, 0.8, 1.0)
    return next((step for step in steps if highest <= step), 1.0)


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
