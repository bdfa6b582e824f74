"""The marks a drawn foot is made of: filled zones, their figures, outlines, words and the colour scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.colors import sample_colorscale, unlabel_rgb

from analytics.measures.answer import Answer
from analytics.trade.feet import CLAW_NAMES, FOOT_NAMES
from dashboard.charts.claw import (
    DRAWN_ZONES,
    SHARED_ZONES,
    Key,
    Points,
    claw_outline,
    dewclaws,
    discs,
    label_spot,
    side_of,
    zone_polygons,
)
from dashboard.charts.frame import records
from dashboard.charts.labels import zone_label
from dashboard.charts.theme import number, percent, points, rgba, scale, tokens
from dashboard.language import _, _n

LETTER = (0.53, 1.25)
"""Width and height of a letter as a share of the type size."""


@dataclass(frozen=True)
class ZoneLook:
    """How one zone is drawn.

    Attributes
    ----------
    figures : str
        What is said on pointing at it, after its place.
    colour : str, optional
        Its fill; without one it is drawn as ``kind`` says.
    kind : {"none", "unknown", "left out", "unclear"}
        Pale: none recorded. Hatched: nothing recorded on that foot, or not counted. Dotted: no clear difference.
    stripes : str
        A pattern over the fill, as a second sign beside its colour.
    label : str
        Written inside where there is room; lines between ``<br>``.
    carried : dict, optional
        What a click on it carries.
    """

    figures: str
    colour: str | None = None
    kind: str = "none"
    stripes: str = ""
    label: str = ""
    carried: dict[str, Any] | None = None


PATTERNS = {"unknown": "/", "left out": "/", "unclear": "."}


def paint(
    places: Mapping[str, tuple[float, float]],
    looks: Mapping[Key, ZoneLook],
    *,
    theme: str,
    type_size: float,
    pixels: float,
    named: bool = True,
) -> tuple[list[go.Scatter], list[dict[str, Any]]]:
    """Traces and words of the zones.

    Parameters
    ----------
    places : mapping
        Middle of each foot.
    looks : mapping
        How each zone is drawn.
    type_size, pixels : float
        Size of the figures in the zones, and pixels of half a claw length, by which it is known what fits.
    named : bool
        Whether places are said with their foot.
    """
    fills: list[go.Scatter] = []
    hits: list[go.Scatter] = []
    labels: list[dict[str, Any]] = []
    alike: dict[str, list[Points]] = {}
    for key, polygon in zone_polygons().items():
        look = looks.get(key)
        if look is None:
            continue
        at = np.array(places[key[0]])
        if look.colour is None:
            alike.setdefault(look.kind, []).append(polygon + at)
        else:
            fills.append(_filled(polygon + at, look.colour, look.stripes, theme))
        label = _label(key, places[key[0]], look, theme, type_size, pixels)
        if label is not None:
            labels.append(label)
        hits.append(_hit_points(key, at, look, pixels, named))
    pale = [_alike(kind, polygons, theme) for kind, polygons in alike.items()]
    lines = [line for foot, at in places.items() for line in _lines_of_foot(foot, at, theme)]
    return [*pale, *fills, *lines, *hits], labels


def _filled(polygon: Points, colour: str, stripes: str, theme: str) -> go.Scatter:
    line = np.vstack([polygon, polygon[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        fill="toself",
        fillcolor=colour,
        fillpattern=_pattern(stripes, colour, rgba(tokens(theme).raised, 0.55)) if stripes else None,
        line={"color": tokens(theme).raised, "width": 1},
        hoverinfo="skip",
    )


def _alike(kind: str, polygons: list[Points], theme: str) -> go.Scatter:
    """Zones that look the same, as one trace."""
    t = tokens(theme)
    gap = np.array([[np.nan, np.nan]])
    line = np.vstack([piece for p in polygons for piece in (p, p[:1], gap)]).astype(np.float32)
    shape = PATTERNS.get(kind)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        fill="toself",
        fillcolor=t.faint,
        fillpattern=_pattern(shape, t.faint, rgba(t.muted, 0.6)) if shape else None,
        line={"color": t.muted, "width": 0.7},
        hoverinfo="skip",
    )


def _pattern(shape: str, under: str, over: str) -> dict[str, Any]:
    return {"shape": shape, "size": 7, "solidity": 0.16, "fgcolor": over, "bgcolor": under}


def _label(
    key: Key, at: tuple[float, float], look: ZoneLook, theme: str, type_size: float, pixels: float
) -> dict[str, Any] | None:
    """The figure inside its zone, where there is room for it."""
    lines = look.label.replace("<b>", "").replace("</b>", "").split("<br>")
    width = (max(len(line) for line in lines) * LETTER[0] + 0.3) * type_size / pixels
    spot = label_spot(key, round(width, 2), round(len(lines) * LETTER[1] * type_size / pixels, 2))
    text = look.label
    if spot is None and len(lines) > 1:
        text = look.label.split("<br>")[0]
        width = (len(lines[0]) * LETTER[0] + 0.1) * type_size / pixels
        spot = label_spot(key, round(width, 2), round(type_size / pixels, 2))
    if spot is None or not text:
        return None
    return {
        "x": round(spot[0] + at[0], 3),
        "y": round(spot[1] + at[1], 3),
        "text": text,
        "showarrow": False,
        "font": {"size": type_size, "color": ink_on(look.colour) if look.colour else tokens(theme).muted},
    }


def _hit_points(key: Key, at: Points, look: ZoneLook, pixels: float, named: bool) -> go.Scatter:
    """Invisible discs that answer to the pointer and the finger nearly anywhere in the zone.

    Pointing is decided by the nearest disc's edge, so discs that stay inside their zones tell them apart.
    """
    x, y, radius = discs(key).T
    return go.Scatter(
        x=(x + at[0]).astype(np.float32),
        y=(y + at[1]).astype(np.float32),
        mode="markers",
        marker={"size": np.maximum(2 * radius * pixels, 2).round().astype(np.uint8), "opacity": 0},
        hovertemplate=f"<b>{place_words(*key, named=named)}</b><br>{look.figures}<extra></extra>",
        customdata=[look.carried] * len(x) if look.carried is not None else None,
    )


def notes_on(looks: Mapping[Key, ZoneLook]) -> list[str]:
    """What the pale and patterned zones mean, for those that occur."""
    words = {
        "none": _("Pale: none recorded."),
        "unknown": _("Hatched: nothing recorded on that foot."),
        "left out": _("Hatched: not in these figures."),
        "unclear": _("Dotted: no clear difference, the interval includes 0."),
    }
    kinds = {look.kind for look in looks.values() if look.colour is None}
    return [text for kind, text in words.items() if kind in kinds]


def not_drawn(answer: Answer) -> list[str]:
    """Cases in zones that are not on the drawing."""
    zones = pd.to_numeric(answer.table["zone"], errors="coerce")
    elsewhere = int(answer.table.loc[~zones.isin(DRAWN_ZONES), "cases"].sum())
    return (
        [
            _n(
                "{n} case in other zones is in the table only.",
                "{n} cases in other zones are in the table only.",
                elsewhere,
            )
        ]
        if elsewhere
        else []
    )


def zone_rows(answer: Answer, foot: str | None = None) -> dict[Key, dict[str, Any]]:
    """The row of the table that each polygon shows.

    Where a table gives a zone that both claws share claw by claw, the claw with more cases is shown: a lower
    bound of the foot, since cows cannot be added up over claws. *foot* stands in where the table has no feet.
    """
    out: dict[Key, dict[str, Any]] = {}
    for row in records(answer.table):
        zone = row.get("zone")
        if zone is None or pd.isna(zone) or int(zone) not in DRAWN_ZONES or not row["at_risk"]:
            continue
        shared = int(zone) in SHARED_ZONES
        claw = None if shared or pd.isna(row.get("claw")) else str(row["claw"])
        if claw is None and not shared:
            continue
        key = (foot or str(row["foot"]), claw, int(zone))
        if key not in out or row["cases"] > out[key]["cases"]:
            out[key] = {**row, "claw": claw, "zone": int(zone)}
    return out


def colour_of(prevalence: float, top: float, theme: str = "paper") -> str:
    """The colour of a prevalence on a scale from 0 to *top*."""
    return str(sample_colorscale(scale(theme), [min(1.0, max(0.0, prevalence / top))])[0])


def place_words(foot: str, claw: str | None, zone: int, *, named: bool = True) -> str:
    """A place on the foot in words.

    Examples
    --------
    >>> place_words("LH", "lateral", 6)
    'LH outer claw, zone 6, bulb of the heel'
    """
    where = [foot] if named else []
    where += [_(f"{CLAW_NAMES[claw]} claw")] if claw else []
    return ", ".join([" ".join(where), zone_label(zone)] if where else [zone_label(zone)])


def looked_at_by_foot(found: Mapping[Key, dict[str, Any]]) -> dict[str, float]:
    """How many were looked at on each foot, from any place on it with a row."""
    out: dict[str, float] = {}
    for (foot, _claw, _zone), row in found.items():
        out[foot] = max(out.get(foot, 0.0), row["at_risk"])
    return out


def ink_on(colour: str) -> str:
    """Black or white, whichever stands out more on an ``rgb(...)`` colour."""
    red, green, blue = unlabel_rgb(colour)
    return "#111111" if 0.299 * red + 0.587 * green + 0.114 * blue > 126 else "#FFFFFF"


def _lines_of_foot(foot: str, at: tuple[float, float], theme: str) -> list[go.Scatter]:
    """The outlines of both claws, and the dewclaws."""
    t = tokens(theme)
    out = []
    for claw in CLAW_NAMES:
        line = claw_outline(12) * np.array([float(side_of(foot, claw)), 1.0])
        out.append(_stroke(line + np.array(at), t.ink, 1.4))
    return out + [_stroke(line + np.array(at), t.rule, 1.2) for line in dewclaws()]


def words_of_foot(foot: str, at: tuple[float, float], theme: str, narrow: bool) -> list[dict[str, Any]]:
    """Which foot it is, and which claw is the outer one."""
    t = tokens(theme)
    name = {
        "x": at[0],
        "y": at[1] + (1.45 if narrow else 1.40),
        "text": f"<b>{foot}</b> {_(FOOT_NAMES[foot])}",
        "showarrow": False,
        "font": {"size": 12.5 if narrow else 14, "color": t.ink},
    }
    return [name] + [
        {
            "x": at[0] + side_of(foot, claw) * 0.55,
            "y": at[1] + 1.18,
            "text": _(word),
            "showarrow": False,
            "font": {"size": 11 if narrow else 12, "color": t.muted},
        }
        for claw, word in CLAW_NAMES.items()
    ]


def _stroke(line: Points, colour: str, width: float) -> go.Scatter:
    line = np.vstack([line, line[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0], y=line[:, 1], mode="lines", line={"color": colour, "width": width}, hoverinfo="skip"
    )


def colour_bar(
    top: float,
    theme: str,
    narrow: bool,
    words: str,
    *,
    ends: list[list[Any]] | None = None,
    lowest: float = 0.0,
    count: bool = False,
) -> go.Scatter:
    """The colour scale with its unit, carried by a point that is not drawn."""
    t = tokens(theme)
    ticks = np.linspace(lowest, top, 3 if narrow else 5)
    digits = 0 if top >= 0.04 else 1 if top >= 0.02 else 2
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
        "ticktext": [
            number(value) if count else points(value, digits) if ends else percent(value, digits) for value in ticks
        ],
        "tickfont": {"size": 11.5, "color": t.muted},
        "title": {"text": words, "side": "top", "font": {"size": 12, "color": t.muted}},
    }
    return go.Scatter(
        x=[None],
        y=[None],
        mode="markers",
        marker={
            "color": [0],
            "cmin": lowest,
            "cmax": top,
            "colorscale": ends or scale(theme),
            "showscale": True,
            "colorbar": bar,
        },
        hoverinfo="skip",
    )


def round_count(highest: float) -> float:
    """The end of the colour scale of a number of cases: the next even number that splits into four.

    Examples
    --------
    >>> round_count(3), round_count(37), round_count(260)
    (4.0, 40.0, 400.0)
    """
    power = 1.0
    while True:
        for step in (4.0, 8.0, 12.0, 20.0):
            if highest <= step * power:
                return step * power
        power *= 10.0


def round_top(highest: float) -> float:
    """The end of the colour scale: the next even percentage that splits into four."""
    steps = (0.01, 0.02, 0.04, 0.08, 0.12, 0.16, 0.2, 0.24, 0.32, 0.4, 0.48, 0.6, 0.8, 1.0)
    return next((step for step in steps if highest <= step), 1.0)
