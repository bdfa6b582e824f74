"""What stays as it is travels as text, and comes out of the browser as the same page."""

from __future__ import annotations

import json
from typing import Any

import pytest
from dash import dcc, html
from dash._utils import to_json

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.panel import Drawn, filled, shells
from evenfoot.dashboard.still import ATTRIBUTE, CHART, all_told, settled
from evenfoot.dashboard.view import View


def plain(parts: Any) -> Any:
    return json.loads(str(to_json(parts)))


def tree(part: Any) -> Any:
    """A part, whether component or told, as tag, attributes and contents."""
    if isinstance(part, str | int | float):
        return str(part)
    if isinstance(part, list):
        return [part[0], part[1], [tree(child) for child in part[2]]]
    props = {k: v for k, v in part["props"].items() if k != "children" and v is not None and v is not False}
    if part["type"] == "Graph":
        style = ";".join(f"{name}:{value}" for name, value in props["style"].items())
        return [CHART, {"figure": props["figure"], "config": props["config"], "style": style}, []]
    children = part["props"].get("children")
    inside = [child for child in (children if isinstance(children, list) else [children]) if child is not None]
    return [part["type"].lower(), props, [tree(child) for child in inside]]


def told_again(parts: list[Any]) -> list[Any]:
    """The parts of a settled panel with everything still taken out of its text."""
    out: list[Any] = []
    for part in parts:
        if isinstance(part, dict) and ATTRIBUTE in part["props"]:
            out += [tree(each) for each in json.loads(part["props"][ATTRIBUTE])]
            continue
        one = tree(part)
        children = part["props"].get("children") if isinstance(part, dict) else None
        if isinstance(children, list):
            one[2] = told_again(children)
        out.append(one)
    return out


def same_names(one: Any) -> Any:
    """Attributes under the names they have in the page."""
    if isinstance(one, str):
        return one
    names = {"className": "class", "tabIndex": "tabindex"}
    attributes = {names.get(k, k): "" if v is True else v if isinstance(v, dict) else str(v) for k, v in one[1].items()}
    return [one[0], attributes, [same_names(child) for child in one[2]]]


def test_nothing_is_lost_and_nothing_moves(demo_ledger: Ledger) -> None:
    view = View.read("/lesions", "?farms=Larkmoor")
    for name in ("lesion-types", "lesion-cows", "locomotion-trend", "records-agreement", "worklist-cows"):
        panel = PANELS[name]
        drawn = panel.draw(demo_ledger, view)
        before = plain(filled(panel, drawn) if isinstance(drawn, Drawn) else drawn)
        parts = [part for part in (before if isinstance(before, list) else [before]) if part is not None]
        assert [same_names(each) for each in told_again(settled(parts))] == [same_names(tree(each)) for each in parts]
        if not panel.live:
            assert all_told(parts) == [same_names(tree(each)) for each in parts]


def test_what_dash_must_know_stays_a_component() -> None:
    parts = plain(
        [
            html.P("before"),
            html.Div([html.Span("a"), dcc.Graph(figure={}, id="named"), html.Span("b")]),
            html.Button("Add", id="add"),
            html.P("named", title="said", key="n"),
            html.P("after"),
            html.Details([html.Summary("fold"), html.Button("Take back", id="back")]),
        ]
    )
    out = settled(parts)
    assert [each["type"] for each in out] == ["Section", "Div", "Button", "P", "Section", "Details"]
    assert [each["type"] for each in out[1]["props"]["children"]] == ["Section", "Graph", "Section"]
    assert [each["type"] for each in out[5]["props"]["children"]] == ["Summary", "Button"], (
        "a summary is its fold's own"
    )
    for part in parts[1:4]:
        with pytest.raises(ValueError, match="not to be told as text"):
            all_told([part])


def test_only_panels_that_are_live_are_left_to_dash() -> None:
    """A page is told as text but for those."""
    for page in PAGES.values():
        made = plain(shells(page.panels))
        bodies = json.dumps(made).count("panel-body")
        assert bodies == len(page.panels)
        components = [part for part in made if part["props"].get(ATTRIBUTE) is None]
        assert len(components) == sum(panel.live or panel.form is not None for panel in page.panels) <= 1
