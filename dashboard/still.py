"""Parts of a panel that stay as they are once they are there, told as plain text and built by the browser.

Every Dash component costs the browser a little whenever anything on the page changes, and a page has hundreds of
sentences, folds and links that never change by themselves. Neighbours of that kind travel as one component with
their contents in an attribute; ``evenfoot.js`` makes elements of it, texts as texts, so that no word of a sheet can
become markup. Charts are told so too, and drawn by ``panels.js``. What has a name, or anything else that Dash must
know, stays a component.
"""

from __future__ import annotations

import json
import re
from typing import Any

from dash._utils import to_json
from dash.development.base_component import Component

from evenfoot.dashboard.charts.plain import Figure, plain

PLAIN = "dash_html_components"

ATTRIBUTES = {
    "className": "class",
    "download": "download",
    "hidden": "hidden",
    "href": "href",
    "lang": "lang",
    "open": "open",
    "role": "role",
    "start": "start",
    "tabIndex": "tabindex",
    "target": "target",
    "title": "title",
}
"""Properties of a component and what they are called in the page; besides them ``aria-`` and ``data-``."""

ATTRIBUTE = "data-still"

CHART = "chart"
"""What stands for the tag of a chart; its attributes are its figure, settings and height."""

HOLDER = "Section"
"""Of a kind that no panel uses otherwise: React keeps an element where one of the same kind follows it, and with it
what the browser has built in it."""


def settled(parts: Any) -> Any:
    """The contents of a panel, as they travel, with all that stays as it is told as text.

    Parameters
    ----------
    parts : list, dict, str, number or None
        Components as plain data (``namespace``, ``type``, ``props``).

    Examples
    --------
    >>> settled({"namespace": "dash_html_components", "type": "P", "props": {"children": "12 cows."}})
    ... # doctest: +NORMALIZE_WHITESPACE
    [{'namespace': 'dash_html_components', 'type': 'Section',
      'props': {'className': 'still', 'data-still': '[["p",{},["12 cows."]]]'}}]
    """
    out: list[Any] = []
    waiting: list[Any] = []

    def put() -> None:
        if waiting:
            out.append(held(waiting))
            waiting.clear()

    for part in parts if isinstance(parts, list) else [parts]:
        if part is None:
            continue
        told = _told(part)
        if told is not None:
            waiting.append(told)
            continue
        put()
        inner = part["props"].get("children") if isinstance(part, dict) else None
        # Elsewhere a child has its meaning from where it stands, as the summary of a fold has.
        if isinstance(inner, list | dict) and part["namespace"] == PLAIN and part["type"] == "Div":
            part = {**part, "props": {**part["props"], "children": settled(inner)}}
        out.append(part)
    put()
    return out


def as_text(components: Any) -> list[Any]:
    """:func:`settled`, of components."""
    return settled(as_data(components))


def as_data(value: Any) -> Any:
    """Components as plain data, as they travel; of what Dash alone can write, what it writes."""
    if isinstance(value, Component):
        data = value.to_plotly_json()
        return {**data, "props": {name: as_data(each) for name, each in data["props"].items()}}
    if isinstance(value, (list, tuple)):
        return [as_data(each) for each in value]
    if isinstance(value, dict):
        return {name: as_data(each) for name, each in value.items()}
    if isinstance(value, Figure):
        return value.to_plotly_json()
    return plain(value) if value is None or isinstance(value, (str, int, float)) else json.loads(str(to_json(value)))


def held(parts: list[Any]) -> dict[str, Any]:
    """The one component that carries what is told as text."""
    text = json.dumps(parts, separators=(",", ":"), ensure_ascii=False)
    return {"namespace": PLAIN, "type": HOLDER, "props": {"className": "still", ATTRIBUTE: text}}


def all_told(parts: Any) -> list[Any]:
    """The contents of a panel as text alone: elements, texts and charts.

    Raises
    ------
    ValueError
        Something in it must stay a component: the panel has to be ``live``.
    """
    out = []
    for part in parts if isinstance(parts, list) else [parts]:
        if part is None:
            continue
        told = _told(part)
        if told is None:
            raise ValueError(f"not to be told as text: {json.dumps(part)[:300]}")
        out.append(told)
    return out


def _told(part: Any) -> Any:
    """An element as ``[tag, attributes, contents]``, a text as itself; None for what must stay a component."""
    if isinstance(part, str | int | float):
        return str(part)
    if not isinstance(part, dict):
        return None
    if part.get("type") == "Graph" and "id" not in part["props"]:
        props = part["props"]
        style = _style(props.get("style") or {})
        return [CHART, {"figure": props["figure"], "config": props.get("config") or {}, "style": style}, []]
    if part.get("namespace") != PLAIN:
        return None
    attributes: dict[str, str] = {}
    for name, value in part["props"].items():
        if name == "children" or value is None or value is False:
            continue
        if name == "style":
            attributes["style"] = _style(value)
            continue
        called = name if name.startswith(("aria-", "data-")) else ATTRIBUTES.get(name)
        if called is None:
            return None
        attributes[called] = "" if value is True else str(value)
    children = part["props"].get("children")
    contents = []
    for child in children if isinstance(children, list) else [children]:
        if child is None:
            continue
        told = _told(child)
        if told is None:
            return None
        contents.append(told)
    return [str(part["type"]).lower(), attributes, contents]


def _style(style: dict[str, Any]) -> str:
    """A style as the page writes it.

    Examples
    --------
    >>> _style({"flexWrap": "wrap", "height": None, "width": "12px"})
    'flex-wrap:wrap;width:12px'
    """
    names = {name: re.sub("[A-Z]", lambda letter: f"-{letter[0].lower()}", name) for name in style}
    return ";".join(f"{names[name]}:{value}" for name, value in style.items() if value is not None)
