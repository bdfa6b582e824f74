"""Straight lines from one side of a chart to the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from evenfoot.dashboard.charts import plain


def put_across(figure: plain.Figure, heights: Iterable[float], line: Mapping[str, Any], layer: str = "below") -> None:
    """Lines over the whole width, at heights of the vertical axis."""
    whole = {"type": "line", "xref": "x domain", "x0": 0, "x1": 1, "yref": "y", "line": line, "layer": layer}
    figure.add_shapes([{**whole, "y0": height, "y1": height} for height in heights])


def put_down(figure: plain.Figure, places: Iterable[Any], line: Mapping[str, Any], layer: str = "below") -> None:
    """Lines over the whole height, at places of the horizontal axis."""
    whole = {"type": "line", "yref": "y domain", "y0": 0, "y1": 1, "xref": "x", "line": line, "layer": layer}
    figure.add_shapes([{**whole, "x0": place, "x1": place} for place in places])
