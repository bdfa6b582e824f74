"""A drawn chart made into plotly's own figure, which knows what every property may be."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

from evenfoot.dashboard.charts import plain


def checked(figure: plain.Figure | go.Figure) -> go.Figure:
    """The figure as plotly has it, unless it is that already.

    Raises
    ------
    ValueError
        A property that does not exist or holds what it may not.
    AssertionError
        A property that plotly understands and the browser would not: written short, or in a form of its own.
    """
    if isinstance(figure, go.Figure):
        return figure
    own = figure.to_plotly_json()
    made = go.Figure({"data": own["data"], "layout": own["layout"]})
    short = missing(own, made.to_plotly_json())
    assert not short, short
    return made


def missing(own: Any, made: Any, place: str = "figure") -> list[str]:
    """Places of *own* that are not there, or of another kind, in what plotly *made* of it."""
    if isinstance(own, dict):
        if not isinstance(made, dict):
            return [place]
        return [
            found
            for name, each in own.items()
            for found in (
                missing(each, made[name], f"{place}.{name}") if name in made else [f"{place}.{name}"] if each else []
            )
        ]
    if isinstance(own, list) and own and isinstance(own[0], dict) and "to" not in own[0]:
        pairs = zip(own, made, strict=True)
        return [found for i, (a, b) in enumerate(pairs) for found in missing(a, b, f"{place}[{i}]")]
    # A property that plotly wants written out is a text here and a dictionary there, or a list.
    return [place] if isinstance(made, dict) or (isinstance(own, str) and not isinstance(made, str)) else []
