"""Straight lines from one side of a chart to the other, put on all at once.

Every shape put on a figure by itself makes plotly look through all that are there already.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import plotly.graph_objects as go


def put_shapes(figure: go.Figure, shapes: Iterable[Mapping[str, Any]]) -> None:
    """Add shapes to those that a figure has."""
    figure.layout.shapes = [*figure.layout.shapes, *shapes]


def put_across(figure: go.Figure, heights: Iterable[float], line: Mapping[str, Any], layer: str = "below") -> None:
    """Lines over the whole width, at heights of the vertical axis."""
    whole = {"type": "line", "xref": "x domain", "x0": 0, "x1": 1, "yref": "y", "line": line, "layer": layer}
    put_shapes(figure, [{**whole, "y0": height, "y1": height} for height in heights])


def put_down(figure: go.Figure, places: Iterable[Any], line: Mapping[str, Any], layer: str = "below") -> None:
    """Lines over the whole height, at places of the horizontal axis."""
    whole = {"type": "line", "yref": "y domain", "y0": 0, "y1": 1, "xref": "x", "line": line, "layer": layer}
    put_shapes(figure, [{**whole, "x0": place, "x1": place} for place in places])
