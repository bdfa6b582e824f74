"""Figures put together as plain data, held against those that plotly's own classes make."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from evenfoot.dashboard.charts.plain import Figure, Part, bar, plain, scatter
from tests.charts.checked import checked


def test_lines_bands_words_and_axes_are_those_of_plotly() -> None:
    own, other = Figure([scatter(x=[1, 2], y=[3, 4])]), go.Figure(go.Scatter(x=[1, 2], y=[3, 4]))
    for figure in (own, other):
        figure.add_trace(bar(y=[1]) if figure is own else go.Bar(y=[1]))
        figure.update_xaxes(title={"text": "Month"}, range=[0, 3])
        figure.update_xaxes(range=[0, 4])
        figure.update_layout(margin={"t": 10, "l": 5})
        figure.update_layout(margin={"t": 20}, height=300)
        figure.add_vline(x=1, line={"color": "red"})
        figure.add_hline(y=2, line={"width": 2})
        figure.add_vrect(x0=0, x1=1, fillcolor="blue", layer="below")
        figure.add_shape(type="line", x0=0, x1=1, y0=0, y1=1)
        figure.add_annotation(text="Signal", x=1, y=2, showarrow=False)
    mine, its = checked(own).to_plotly_json(), other.to_plotly_json()
    del its["layout"]["template"]  # its own, where none is given
    mine["layout"].pop("template", None)
    assert mine == its


def _axes(figure: dict[str, dict[str, Part]]) -> list[tuple[str, Part]]:
    return [(name, axis) for name, axis in figure["layout"].items() if "axis" in name]


def test_what_is_merged_into_a_figure_is_not_shared_with_another() -> None:
    axis = {"title": {"text": "Share"}}
    one, other = Figure(), Figure()
    one.update_xaxes(**axis)
    other.update_xaxes(**axis)
    one.update_xaxes(title={"text": "Month"})
    assert other.layout.xaxis.title.text == "Share" == axis["title"]["text"]


def test_arrays_travel_as_lists_whatever_holds_them() -> None:
    days = pd.Series(pd.to_datetime(["2026-01-01", None]))
    assert plain(days) == ["2026-01-01T00:00:00", None]
    assert plain(np.array([1, 2])) == plain(pd.Index([1, 2])) == plain((1, 2)) == [1, 2]


def test_what_plotly_does_not_know_or_would_write_out_is_found() -> None:
    with pytest.raises(ValueError, match="colour"):
        checked(Figure([scatter(x=[1], marker={"colour": "red"})]))
    with pytest.raises(AssertionError, match="marker_color"):
        checked(Figure([scatter(x=[1], marker_color="red")]))
    with pytest.raises(AssertionError, match="colorscale"):
        checked(Figure([scatter(x=[1], marker={"colorscale": "Cividis_r"})]))
