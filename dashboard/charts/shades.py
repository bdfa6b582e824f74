"""The colours of zones: from a share or a count to a shade, and the scale that says which is which."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from plotly.colors import get_colorscale, sample_colorscale, unlabel_rgb

from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.theme import number, percent, points, scale, tokens

SHADES = 40
"""Steps of a colour scale. [common practice, no source]"""


def colour_of(prevalence: float, top: float, theme: str = "paper") -> str:
    """The colour of a prevalence on a scale from 0 to *top*."""
    return _colour(shade_of(prevalence / top), theme)


@functools.cache
def _colour(shade: float, theme: str) -> str:
    # There are few; working one out takes a millisecond.
    return str(sample_colorscale(scale(theme), [shade])[0])


def shade_of(share: float) -> float:
    """A place on a colour scale in one of so many steps, finer than an eye tells apart: what has one shade is drawn
    together.

    Examples
    --------
    >>> shade_of(-0.2), shade_of(0.4999), shade_of(1.3)
    (0.0, 0.5, 1.0)
    """
    return round(min(1.0, max(0.0, share)) * SHADES) / SHADES


def ink_on(colour: str) -> str:
    """Black or white, whichever stands out more on an ``rgb(...)`` colour."""
    red, green, blue = unlabel_rgb(colour)
    return "#111111" if 0.299 * red + 0.587 * green + 0.114 * blue > 126 else "#FFFFFF"


def colour_bar(
    top: float,
    theme: str,
    narrow: bool,
    words: str,
    *,
    ends: list[list[Any]] | None = None,
    lowest: float = 0.0,
    count: bool = False,
) -> plain.Part:
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
    return plain.scatter(
        x=[None],
        y=[None],
        mode="markers",
        marker={
            "color": [0],
            "cmin": lowest,
            "cmax": top,
            "colorscale": ends or get_colorscale(scale(theme)),
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
