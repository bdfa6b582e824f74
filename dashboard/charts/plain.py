"""Figures as the browser takes them: plain data, put together by the few methods that the charts need.

plotly's own classes look every property up each time one is set, which takes two fifths of the time of a chart. Here
that is left to the tests: they make every chart that is drawn into a ``plotly.graph_objects.Figure`` and compare.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd


class Part(dict[str, Any]):
    """Properties of a trace, a layout or any part of one, to be read as attributes too; one that is not set is None.

    Examples
    --------
    >>> Part(marker=Part(size=8)).marker.size, Part().name
    (8, None)
    """

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return self.get(name)


_AS_IT_IS = frozenset((str, int, bool, type(None)))
_NUMBERS = frozenset((float, int, bool, type(None)))


def plain(value: Any) -> Any:
    """A value as JSON has it: arrays and series as lists, dates as text, numbers that are none, or too large, as None.

    What is not given of a dictionary is left out.

    Examples
    --------
    >>> plain({"size": pd.Series([1.0, float("nan")]), "name": None, "line": {"width": 1}})
    {'size': [1.0, None], 'line': {'width': 1}}
    >>> plain([pd.Timestamp("2026-01-01"), np.int64(3), pd.NaT])
    ['2026-01-01T00:00:00', 3, None]
    """
    if isinstance(value, (str, int)) or value is None:
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, dict):
        return Part((str(name), plain(each)) for name, each in value.items() if each is not None)
    if isinstance(value, (pd.Series, pd.Index, np.ndarray)):
        value = value.tolist()
    if isinstance(value, (list, tuple)):
        kinds = set(map(type, value))
        if kinds <= _AS_IT_IS:
            return list(value)
        if kinds <= _NUMBERS:  # thousands of places
            return [each if each is None or math.isfinite(each) else None for each in value]
        return [plain(each) for each in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if value is pd.NaT or value is pd.NA:
        return None
    return value.isoformat() if isinstance(value, dt.date) else value


def scatter(**properties: Any) -> Part:
    """A trace of points or lines."""
    return plain({"type": "scatter", **properties})  # type: ignore[no-any-return]


def bar(**properties: Any) -> Part:
    """A trace of bars."""
    return plain({"type": "bar", **properties})  # type: ignore[no-any-return]


class Figure:
    """A chart.

    Parameters
    ----------
    traces : iterable of Part, optional
        Made by :func:`scatter` or :func:`bar`.

    Attributes
    ----------
    data : list of Part
    layout : Part
        As the browser takes them.
    """

    def __init__(self, traces: Iterable[Part] = ()) -> None:
        self.data: list[Part] = list(traces)
        self.layout = Part()

    def add_trace(self, trace: Part, *, row: int = 1) -> None:
        """Draw a trace above those there are, in a row of :func:`stacked`."""
        self.add_traces([trace], row=row)

    def add_traces(self, traces: Iterable[Part], *, row: int = 1) -> None:
        """:meth:`add_trace`, of several."""
        for trace in traces:
            if "yaxis2" in self.layout:
                trace["xaxis"], trace["yaxis"] = (f"{axis}{_number(row)}" for axis in "xy")
            self.data.append(trace)

    def update_layout(self, **properties: Any) -> None:
        """Set properties; of parts that are there already only what is given."""
        template = properties.pop("template", None)
        if template is not None:
            self.layout["template"] = template  # as it is: every figure has the same
        _merge(self.layout, plain(properties))

    def update_xaxes(self, *, row: int | None = None, **properties: Any) -> None:
        """Set properties of the horizontal axes, or of that of one row."""
        self._update_axes("xaxis", row, properties)

    def update_yaxes(self, *, row: int | None = None, **properties: Any) -> None:
        """Set properties of the vertical axes, or of that of one row."""
        self._update_axes("yaxis", row, properties)

    def axes(self, letter: str) -> Iterator[Part]:
        """The axes there are of a letter, ``x`` or ``y``."""
        for name, part in self.layout.items():
            if name.startswith(f"{letter}axis"):
                yield part

    def add_annotation(self, *, row: int | None = None, **properties: Any) -> None:
        """Write words on the chart, on the axes of a row if it is given."""
        if row is not None:
            properties |= {"xref": f"x{_number(row)}", "yref": f"y{_number(row)}"}
        self.layout.setdefault("annotations", []).append(plain(properties))

    def add_shape(self, **properties: Any) -> None:
        """Draw a shape on the chart."""
        self.add_shapes([properties])

    def add_shapes(self, shapes: Iterable[Mapping[str, Any]]) -> None:
        """Draw several shapes."""
        self.layout.setdefault("shapes", []).extend(plain(dict(each)) for each in shapes)

    def add_vline(self, *, x: Any, **properties: Any) -> None:
        """A line over the whole height."""
        self.add_shape(type="line", xref="x", x0=x, x1=x, yref="y domain", y0=0, y1=1, **properties)

    def add_hline(self, *, y: Any, **properties: Any) -> None:
        """A line over the whole width."""
        self.add_shape(type="line", xref="x domain", x0=0, x1=1, yref="y", y0=y, y1=y, **properties)

    def add_vrect(self, *, x0: Any, x1: Any, **properties: Any) -> None:
        """A band over the whole height, of every row there is."""
        for row in range(1, 1 + max(1, len(list(self.axes("x"))))):
            number = _number(row)
            place = {"xref": f"x{number}", "x0": x0, "x1": x1, "yref": f"y{number} domain", "y0": 0, "y1": 1}
            self.add_shape(type="rect", **place, **properties)

    def to_plotly_json(self) -> dict[str, Any]:
        """The figure as Dash lets it travel."""
        return {"data": self.data, "layout": self.layout}

    def _update_axes(self, name: str, row: int | None, properties: dict[str, Any]) -> None:
        given = plain(properties)
        self.layout.setdefault(name, Part())
        for number in ("", "2") if row is None else (_number(row),):
            if f"{name}{number}" in self.layout:
                _merge(self.layout[f"{name}{number}"], given)


def _number(row: int) -> str:
    """How the axes of a row are numbered."""
    return "" if row == 1 else str(row)


def _merge(into: dict[str, Any], given: Mapping[str, Any]) -> None:
    for name, value in given.items():
        if isinstance(value, dict) and isinstance(into.get(name), dict):
            _merge(into[name], value)
        else:
            # What is merged into later must not be shared with whoever gave it.
            into[name] = plain(value) if isinstance(value, dict) else value
