"""A page's own choices; on a phone behind a line that says them, so that the answer comes first."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

FEW = 1
"""Choices that stand open on a phone too."""


def folding(choices: Any) -> Any:
    """The choices of a page under a line that opens them on a phone; few of them, or a sentence, as they are."""
    controls = _controls(choices)
    if len(controls) <= FEW:
        return choices
    said = ", ".join(words for words in map(_said, controls) if words)
    if not said:
        said = next((words for each in controls if (words := getattr(each, "placeholder", None))), "")
    line = html.Button(
        said, className="take choosing", **{"aria-expanded": "false", "aria-controls": "choices-of-page"}
    )
    return html.Div([line, html.Div(choices, id="choices-of-page")], className="own")


def _controls(part: Any) -> list[Any]:
    """Everything that is chosen or typed, in order."""
    if isinstance(part, list | tuple):
        return [control for each in part for control in _controls(each)]
    if not isinstance(part, Component):
        return []
    if hasattr(part, "value"):
        return [part]
    return _controls(getattr(part, "children", None))


def _said(control: Any) -> str:
    """What is chosen, in the words of the control."""
    names = {each["value"]: each["label"] for each in getattr(control, "data", None) or [] if isinstance(each, dict)}
    values = control.value if isinstance(control.value, list) else [control.value]
    chosen = ", ".join(
        words for words in (str(names.get(value, value)) for value in values if value is not None) if words
    )
    label = getattr(control, "label", None)
    return f"{label}: {chosen}" if label and chosen else chosen
