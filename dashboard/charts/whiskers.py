"""Intervals as plotly draws them: bars from a point to its limits."""

from __future__ import annotations

from typing import Any


def whiskers(
    value: Any, low: Any, high: Any, colour: str, *, thickness: float = 1.4, width: float = 3
) -> dict[str, Any]:
    """Error bars from *value* to its limits.

    Parameters
    ----------
    value, low, high : array_like
        Estimates and limits, on the scale of the axis.
    colour : str
    thickness, width : float
        Of the bar, and of its ends, in pixels.

    Returns
    -------
    dict
        For ``error_x`` or ``error_y`` of a trace.
    """
    return {
        "type": "data",
        "symmetric": False,
        "array": high - value,
        "arrayminus": value - low,
        "thickness": thickness,
        "width": width,
        "color": colour,
    }
